/*
 * Checkpoints: what the journal says of a job's progress, so that it can go on after it was cut
 * off.
 *
 * Between two files now and then, everything that was written is synced, and then the journal gets
 * lines with what has happened since the last time, the last of which makes the others count:
 *   {"part":[name, group]}                a part was begun; parts count from 0, group -1: none
 *   {"ranges":1}                          the next entry of outcomes.ranges begins, with
 *   {"holes":[[offset, length],...]} and {"missing":[...]}
 *   {"pieces":[[part, size, sha256],...]} the next entries of outcomes.pieces
 *   {"items":[[item, state, reason, note, flags, part, same_as, first_piece, n_pieces, ranges,
 *             sha256],...]}               outcomes, with -1 for NONE
 *   {"finished":[part, files, bytes, size, sha256]}
 *   {"checkpoint":{"stored":bytes,"open":[[part, files, bytes, length, entries],...]}}
 * When that happens depends on bytes and time, what the job becomes does not depend on it.
 */
#ifndef EXTRACT_CHECKPOINT_H
#define EXTRACT_CHECKPOINT_H

#include "extract/journal.h"
#include "extract/outcome.h"
#include "extract/parts.h"

#include <stdbool.h>
#include <stdint.h>

#define CHECKPOINT_BYTES (UINT64_C(1) << 30) /* read since the last one */
#define CHECKPOINT_SECONDS 60
/* After a part was finished: it need not be read again then, but many may be small. */
#define CHECKPOINT_PART_BYTES (UINT64_C(64) << 20)

struct checkpoints {
	struct journal *journal;
	struct parts *parts;
	struct outcomes *outcomes;
	uint64_t every;      /* bytes */
	uint64_t at;         /* bytes that were done at the last one */
	int64_t at_seconds;  /* of the system's steady clock */
	size_t n_parts, n_ranges, n_pieces; /* that the journal knows */
	size_t n_finished;   /* parts that it knows as finished */
	struct buf line;
};

/* Begins; what parts and outcomes hold already is in the journal. `every` 0: the usual. */
void checkpoints_start(struct checkpoints *checkpoints, struct journal *journal,
    struct parts *parts, struct outcomes *outcomes, uint64_t every);
void checkpoints_free(struct checkpoints *checkpoints);

/*
 * Between two entries, when `done` bytes were read: makes a checkpoint if it is time. False with
 * *error when the destination failed or memory ran out.
 */
bool checkpoints_pass(struct checkpoints *checkpoints, uint64_t done, struct error *error);
/* Makes one now. */
bool checkpoints_make(struct checkpoints *checkpoints, uint64_t done, struct error *error);

#endif
