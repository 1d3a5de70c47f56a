/*
 * The sector stores of a job's drives (disk/salvage.h), from before the drives are looked at to the
 * job's end.
 *
 * What the survey reads of a failing drive is not asked for again: not by the job that follows, and
 * not by a run that goes on with it, which surveys once more and must see the same while the drive
 * gets worse. So each drive gets its store before anything is read. Until there is a job the stores
 * lie beside where it will be, in the folder STORES_EARLY; then they move into the job. Files are
 * made when the first bytes are kept: of healthy drives there are none. Without a job nothing is
 * left; after a power cut the next run removes the folder, since nobody knows what became of the
 * drive in between.
 *
 * A drive is a faulty one from its first failure on, from the beginning when it says that it is
 * failing, or when it was asked for with care. Of what a drive gave before its first failure
 * STORES_MEMORY at most is kept in memory; beyond that a run that goes on asks for it once more.
 * That run also asks once more for the first two sectors of the drive, and two places of each of its
 * volumes: they tell another drive, and one that something has written to.
 */
#ifndef EXTRACT_STORES_H
#define EXTRACT_STORES_H

#include "base/error.h"
#include "extract/job.h"
#include "system/survey.h"

#include <stdbool.h>
#include <stdint.h>

#define STORES_EARLY "coldlift-survey.unfinished"
#define STORES_FOLDER "salvage" /* in the job, while it is unfinished */
/*
 * Bytes, for all drives; less on small computers. More would break the promise of 96 MiB for the
 * whole program and 256 MiB for each million files.
 */
#define STORES_MEMORY (UINT64_C(16) << 20)

struct stores_options {
	const char *to;      /* folder at the destination */
	const char *job;     /* folder of the job to go on with; NULL: a new one will be made */
	bool careful;        /* the drives count as faulty from the beginning */
	uint64_t patience;   /* milliseconds for each drive, for what does not read at once; 0: no end */
};

struct stores {
	struct stores_options options;
	char *folder; /* where they are now */
	bool is_early;
};

/* Nothing happens yet. */
void stores_start(struct stores *stores, const struct stores_options *options);

/*
 * Gives every drive its store; `context` is the struct stores: this is for survey_way.opened. Again
 * for a further survey, after the earlier one was freed. False with *error: the destination is on
 * one of the drives, a store of the job cannot be read or is in use, no memory.
 */
bool stores_open(void *context, const struct survey *survey, struct error *error);

/*
 * Are the surveyed drives still as they were when the job was begun, as far as the stores say
 * something else than they? What does not read says nothing.
 */
bool stores_agree(const struct survey *survey);

/* The survey is done and the job's folder is there: the stores move into it, and last. */
bool stores_settle(struct stores *stores, const struct survey *survey, const struct job *job,
    struct error *error);

/*
 * The job's folder is another one now, and everything in the stores was copied there: they go on with
 * the copies.
 */
bool stores_follow(const struct survey *survey, const struct job *job, struct error *error);

/* Removes what is left where no job was begun. After survey_free(). */
void stores_end(struct stores *stores);

/* Removes the files of stores in the folder that no run works with, and the folder if it is empty. */
void stores_remove(const char *folder);

#endif
