/*
 * What the command line of `extract --resume` has to agree with: the job that was begun.
 */
#ifndef CMD_RESUME_H
#define CMD_RESUME_H

#include "extract/extract.h"

/* Which options the command line gave. */
struct given {
	bool format, same, part_size, careful;
};

/*
 * The options that shape a job come from its head; those of the command line must be the same, or
 * not be given. False with *error (STATUS_USAGE).
 */
bool resume_agrees(const struct head *head, const struct given *given,
    const struct extract_options *options, const struct plan_options *choices,
    struct error *error);

/*
 * Are the surveyed drives the job's? Then *paths (in `arena`) become theirs, in the job's order,
 * and *same_order says that they were surveyed so. With `more`, other drives do not matter. False
 * with *error.
 */
bool resume_sources(const struct head *head, const struct survey *survey, bool more,
    struct arena *arena, const char *const **paths, bool *same_order, struct error *error);

#endif
