/*
 * Taking: every file of the plan is read, hashed, looked at and written into its part.
 */
#ifndef EXTRACT_TAKE_H
#define EXTRACT_TAKE_H

#include "base/progress.h"
#include "extract/checkpoint.h"
#include "extract/outcome.h"
#include "extract/parts.h"
#include "extract/pipeline.h"
#include "extract/rounds.h"
#include "extract/same.h"

struct take {
	const struct plan *plan;
	struct parts *parts;
	struct outcomes *outcomes;
	struct same same;
	struct progress *progress;
	struct checkpoints *checkpoints;
	uint64_t done;       /* bytes read, for the progress */
	uint32_t *aside;     /* items that wait for the rounds (rounds.h) */
	size_t n_aside, aside_capacity;
	bool is_last_try;    /* the rounds are over */
	bool careful;
	bool waits;          /* for a drive that is gone */
	uint8_t *held;       /* content of a file that may be the same as another */
	struct arena arena;  /* of the file in work */
};

/*
 * Files up to this size are held in memory until it is known whether they are the same as another.
 */
#define TAKE_HELD ((size_t)8 << 20)

/* Bytes that will be read, for the progress. */
uint64_t take_bytes(const struct plan *plan);

/*
 * Takes everything that is not done yet, and completes the parts. False with *error when the
 * destination failed, somebody asked to stop or a drive is gone (STATUS_OTHER), or memory ran out;
 * the open parts are given up then.
 */
struct take_choices {
	bool once;    /* equal bytes are stored once */
	bool careful; /* what is dear first, on every drive */
	bool waits;   /* for a drive that is gone: the job stops, so that it can go on with it */
};
bool take_all(const struct plan *plan, struct checkpoints *checkpoints,
    const struct take_choices *choices, struct progress *progress, struct rounds_result *rounds,
    struct error *error);

#endif
