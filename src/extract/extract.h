/*
 * An extraction from beginning to end: checks of the destination, the job, its parts, and what
 * proves and explains them.
 */
#ifndef EXTRACT_EXTRACT_H
#define EXTRACT_EXTRACT_H

#include "base/finding.h"
#include "extract/head.h"
#include "extract/job.h"
#include "extract/outcome.h"
#include "extract/parts.h"
#include "extract/places.h"
#include "extract/stores.h"
#include "extract/sums.h"
#include "extract/unfinished.h"

#include <stdbool.h>
#include <stdint.h>

#define PART_LIMIT_LEAST UINT64_C(1000000) /* bytes: the smallest limit that may be asked for */

struct extract_options {
	const char *to;       /* folder at the destination */
	/*
	 * Folder at the next destination, or NULL: extract_resume() moves the job there; for
	 * extract_run() its room counts, too, since the caller will do that when the first is full.
	 */
	const char *then;
	const char *name;     /* of the job, NULL: made from the old PC's */
	enum format format;
	enum same_choice same;
	uint64_t part_limit;  /* bytes, 0: none */
	uint64_t checkpoint;  /* bytes from one checkpoint to the next; 0: the usual */
	const struct plan_options *choices; /* that the plan was made with, for the journal */
	bool quiet;           /* no progress */
	bool licence_keys;    /* the owner asked for the old systems' keys */
	bool careful;         /* the drives are failing: what is dear first, nothing read twice */
	/* Of the drives, from before they were surveyed; NULL: what is read is not kept. */
	struct stores *stores;
};

/* What an extraction made; to be looked at for the summary. */
struct extraction {
	struct job job;       /* job.folder is NULL when none was begun */
	struct parts parts;
	struct outcomes outcomes;
	struct sums sums;
	struct places places; /* that a job has left */
	bool complete;
};

/*
 * Runs it. Losses become findings. False with *error: nothing was begun (job.folder NULL), or the
 * job at the destination is incomplete and says so. extraction_free() is needed in either case.
 */
bool extract_run(struct extraction *extraction, const struct plan *plan,
    const struct extract_options *options, struct findings *findings, struct error *error);

/*
 * Goes on with a job that was cut off. The options that shape it are those of its head, from where
 * the plan must have been made, too; of `options` only `to`, `then`, `checkpoint`, `patience` and
 * `quiet` count. With `then` the job is moved there first, and *job becomes the one there. False with
 * *error as extract_run(), or because the plan is another one (STATUS_USAGE).
 * the plan must have been made, too; of `options` only `to`, `checkpoint`, `stores` and `quiet` count. False
 * with *error as extract_run(), or because the plan is another one (STATUS_USAGE).
 */
bool extract_resume(struct extraction *extraction, const struct plan *plan,
    struct unfinished_job *job, const struct extract_options *options,
    struct findings *findings, struct error *error);
void extraction_free(struct extraction *extraction);

/* STATUS_COMPLETE or STATUS_LOSSES, of a complete extraction. */
enum status extraction_status(const struct extraction *extraction, const struct findings *findings);

#endif
