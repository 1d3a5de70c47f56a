/*
 * Copying files from one destination of a job to another.
 */
#ifndef EXTRACT_CARRY_H
#define EXTRACT_CARRY_H

#include "base/error.h"
#include "base/progress.h"

#include <stdbool.h>
#include <stdint.h>

struct carry {
	struct progress progress;
	uint64_t done; /* bytes */
};

/*
 * Copies the first `length` bytes (UINT64_MAX: all) of the plain file `from` into the new file `to`,
 * which is synced; its folder is not. *whole is false, and nothing is at `to`, when there is no such
 * file of that length to copy. False with *error (STATUS_DESTINATION, or STATUS_OTHER when somebody
 * asked to stop); `to` may be there then.
 */
bool carry_file(struct carry *carry, const char *from, const char *to, uint64_t length, bool *whole,
    struct error *error);

/*
 * Copies all plain files in the folder `from` into the folder `to`, which is made; all of it is
 * synced but the folder above. Nothing to do when there is no folder `from`.
 */
bool carry_folder(struct carry *carry, const char *from, const char *to, struct error *error);

#endif
