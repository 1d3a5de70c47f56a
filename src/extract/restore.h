/*
 * Taking up a job that was cut off: parts and outcomes as the last checkpoint in its journal says,
 * and the job's folder as it was then.
 */
#ifndef EXTRACT_RESTORE_H
#define EXTRACT_RESTORE_H

#include "extract/head.h"
#include "extract/outcome.h"
#include "extract/parts.h"

/* A part that was unfinished at the checkpoint. */
struct unfinished_part {
	uint32_t part;
	uint64_t files, bytes;
	struct writer_mark mark;
};

/*
 * Only reads what the journal says, and makes sure that the finished parts at the job's present
 * destination are there as they were. *open is to be freed in any case. False with *error.
 */
bool restore_read(const struct head_read *read, struct parts *parts, struct outcomes *outcomes,
    struct unfinished_part **open, size_t *n_open, struct error *error);

/*
 * Fills parts and outcomes, which were just started, up to the checkpoint; removes what the job
 * wrote after it, and opens the parts that were unfinished at that time to go on. One that cannot
 * be gone on with, because the destination has lost some of it, is begun anew, and its files are to
 * be taken again. False with *error: the destination failed, a finished part is not there as it
 * was, the journal is damaged, or memory ran out.
 */
bool restore_job(const struct head_read *read, struct parts *parts, struct outcomes *outcomes,
    struct error *error);

#endif
