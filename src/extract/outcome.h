/*
 * What became of every item: the plan says what should happen, this says what did.
 *
 * One small entry for each item that was not simply left; the record, the proof, the account and
 * the findings of loss are all made from plan and outcomes.
 */
#ifndef EXTRACT_OUTCOME_H
#define EXTRACT_OUTCOME_H

#include "base/buf.h"
#include "disk/hole.h"
#include "extract/checks.h"
#include "extract/digest.h"
#include "plan/plan.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum outcome_flag {
	OUTCOME_STORED = 1,     /* stands in a part under its archive path */
	OUTCOME_DIGEST = 2,     /* `digest` is that of its bytes as archived */
	OUTCOME_BY_CONTENT = 4, /* same: found by its content, not by the old system's own link */
	OUTCOME_DONE = 8,       /* taken, or found that it cannot be: nothing more to do */
	OUTCOME_WAITED = 16,    /* did not read at the first try */
	OUTCOME_ALL = 31,
};

struct outcome {
	struct digest digest;
	uint32_t same_as;     /* item with the same bytes; NONE */
	uint32_t part;        /* index in parts; NONE: not stored */
	uint32_t first_piece; /* index in outcomes.pieces; NONE: whole */
	uint32_t n_pieces;
	uint32_t ranges;      /* index in outcomes.ranges; NONE: no holes and nothing missing */
	uint8_t state, reason, note, flags;
};

/* A piece of a file that is larger than a part may be. */
struct piece {
	struct digest digest;
	uint64_t size;
	uint32_t part;
};

/* What does not hold the old bytes in a file that arrived. */
struct ranges {
	struct holes holes;   /* could not be read */
	struct holes missing; /* only in the cloud */
};

struct outcomes {
	const struct plan *plan;
	struct outcome *items; /* of plan.items[0 .. n_items): those behind are left as planned */
	size_t n_items;
	struct piece *pieces;
	size_t n_pieces, pieces_capacity;
	struct ranges *ranges;
	size_t n_ranges, ranges_capacity;
	/* Items that have changed since the last checkpoint, for the journal; some twice. */
	bool notes_changes;
	uint32_t *changed;
	size_t n_changed, changed_capacity;
};

/* As planned: nothing has been read yet. False when memory runs out. */
bool outcomes_start(struct outcomes *outcomes, const struct plan *plan);
void outcomes_free(struct outcomes *outcomes);

/* What the item's outcome is before anything has been read. */
struct outcome outcome_planned(const struct outcomes *outcomes, size_t item);

/* The outcome of any item: as planned when it was left. */
struct outcome outcome_of(const struct outcomes *outcomes, size_t item);

/* To be called behind every change of an item. False when memory runs out. */
bool outcomes_note_change(struct outcomes *outcomes, uint32_t item);

/* Keeps the ranges of an item (taking them over). False when memory runs out. */
bool outcomes_set_ranges(struct outcomes *outcomes, uint32_t item, struct ranges *ranges);
bool outcomes_add_piece(struct outcomes *outcomes, uint32_t item, const struct piece *piece);
/* The item, whose pieces were added last, is not stored after all. */
void outcomes_drop_pieces(struct outcomes *outcomes, uint32_t item);

/*
 * The item's path in the archive. A file that was cut has pieces with these endings behind it, see
 * piece_path() in pieces.h. Appends.
 */
void outcome_path(const struct outcomes *outcomes, size_t item, struct buf *path);

#endif
