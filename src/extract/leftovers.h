/*
 * What a job that was cut off has written behind its last checkpoint: taken away before it goes on.
 *
 * Only names that a job gives its own files; anything else in the folder is somebody's and stays.
 */
#ifndef EXTRACT_LEFTOVERS_H
#define EXTRACT_LEFTOVERS_H

#include "base/error.h"
#include "extract/parts.h"

#include <stdbool.h>
#include <stdint.h>

/*
 * Removes the papers and the parts that `parts` do not know. False with *error
 * (STATUS_DESTINATION).
 */
bool leftovers_remove(const struct parts *parts, struct error *error);

/*
 * Makes sure that the part has its unfinished name, also when it was finished in the meantime.
 * *whole: it is there with at least `length` bytes; else nothing is there under either name. False
 * with *error (STATUS_DESTINATION).
 */
bool leftovers_take_back(const struct parts *parts, const struct part *part, uint64_t length,
    bool *whole, struct error *error);

/* Is there an unfinished folder of this name in the job? */
bool leftovers_has_folder(const struct parts *parts, const char *name);

#endif
