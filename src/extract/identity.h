/*
 * Whether the drives, and what is planned to be taken off them, are those that a job was begun
 * with.
 *
 * A drive is known by its contents: its table, and what the boot sectors of its NTFS volumes say.
 * Not by its serial number, since an adapter may show its own: a job may go on with the drive
 * behind another one. A copy of the drive, or the same drive after something else has written to
 * it, is told by the plan: it holds the times of everything.
 */
#ifndef EXTRACT_IDENTITY_H
#define EXTRACT_IDENTITY_H

#include "base/error.h"
#include "extract/digest.h"
#include "plan/plan.h"

#include <stdbool.h>
#include <stddef.h>

/* One source of a job. */
struct identity {
	const char *path, *model, *serial; /* for people; "" when unknown */
	uint64_t size;                     /* bytes */
	struct digest digest;              /* of table and volumes */
};

/* The texts are the survey's. */
struct identity identity_of(const struct survey *survey, size_t drive);

/*
 * Puts `order[i]` (of `count`) to the surveyed drive that is known[i]. A surveyed drive that is
 * none of them is an error unless `more` are allowed. False with *error (STATUS_USAGE), one
 * sentence that names the drive.
 */
bool identity_match(const struct survey *survey, const struct identity *known, size_t count,
    bool more, size_t *order, struct error *error);

/* Of everything that decides what is taken, and in which order. */
struct digest identity_of_plan(const struct plan *plan);

#endif
