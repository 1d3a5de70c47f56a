/*
 * Drives that do not read well: what a job keeps of them, and the rounds in which it goes back to
 * what did not read at first.
 *
 * While files are taken each drive is asked in first tries only (disk/source.h). A file that meets
 * a range that was put off is set aside: nothing of it goes into its part, and what was read of it
 * is kept in the drive's store (stores.h). When everything else is taken, rounds
 * go over what the files that were set aside need; then they are taken, served from the store. What
 * does not read even then is a hole.
 */
#ifndef EXTRACT_ROUNDS_H
#define EXTRACT_ROUNDS_H

#include "base/finding.h"
#include "base/progress.h"
#include "extract/job.h"
#include "extract/stores.h"
#include "plan/plan.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct rounds_options {
	struct stores *stores; /* of the drives, from before they were surveyed; NULL: there are none */
	bool careful;          /* the drives count as faulty from the beginning */
};

/*
 * The survey is done, and the job's folder is there: the stores move into it, and first tries begin.
 * False with *error.
 */
bool rounds_start(const struct survey *survey, const struct job *job,
    const struct rounds_options *options, struct findings *findings, struct error *error);
/* So much room at the destination is needed by others. */
void rounds_set_reserve(const struct survey *survey, uint64_t bytes);
/* What the stores keep lasts. False with *error. */
bool rounds_sync(const struct survey *survey, struct error *error);
/* What did not read of the drive in the end, see account.h, is added to *holes. */
void rounds_holes(const struct survey *survey, size_t drive, struct holes *holes);
/* Everything was taken: was something read again that could not be kept? */
void rounds_tell(const struct survey *survey, struct findings *findings);
/* The job is complete: removes the stores. */
void rounds_remove(const struct survey *survey, const struct job *job);

/* Does anything that the file needs stand over to a later round? */
bool rounds_concern(const struct plan *plan, const struct item *item);
/*
 * The file is in its part, or will not be: what the store kept of it is not needed any more, unless
 * it is one that is read again (again.h).
 */
void rounds_forget(const struct plan *plan, const struct item *item);

/* What the rounds did. */
struct rounds_result {
	uint64_t left; /* bytes that the files set aside need and that did not read */
	bool weary;    /* the time given for a drive was used up */
};

/*
 * Goes over what the files plan.items[list[0]], ... need, round after round; from then on what is
 * still unread is given up. `done`: bytes, for the progress. False with *error when memory ran out, or somebody asked to stop.
 */
bool rounds_run(const struct plan *plan, const uint32_t *list, size_t n_list,
    struct progress *progress, uint64_t done, struct rounds_result *result, struct error *error);

#endif
