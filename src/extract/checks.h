/*
 * Notes on what arrived: proven is not good.
 *
 * A file can be copied faithfully and still have been bad on the old drive. While its bytes pass
 * by, three cheap things are looked at: whether all of them are zero, whether the content begins as
 * its kind should, and whether the end of the kind is there at all. Only what is certain is noted:
 * a missing note is no promise.
 */
#ifndef EXTRACT_CHECKS_H
#define EXTRACT_CHECKS_H

#include "base/kinds.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum note {
	NOTE_NONE,
	NOTE_ZEROS,     /* "all zeros" */
	NOTE_MISMATCH,  /* "content does not match its kind" */
	NOTE_TRUNCATED, /* "truncated" */
	NOTE_DAMAGED,   /* "described by a damaged file table" */
	NOTE_COUNT,
};
const char *note_text(enum note note); /* NULL for NOTE_NONE */

struct check {
	const struct kind *kind;
	uint64_t position;   /* bytes seen */
	bool has_data;       /* a byte that is not zero was seen */
	bool mismatch;
	bool has_end;        /* the kind's end was seen, or does not matter */
	uint64_t
	    end_after; /* an end before this position is not the file's own (a preview inside) */
	uint8_t tail[8];     /* the bytes just before, for an end across two pieces */
	size_t n_tail;
};

/* `name` decides the kind; NULL: none (a named stream). */
void check_start(struct check *check, const char *name);
void check_data(struct check *check, const uint8_t *data, size_t length);
void check_zeros(struct check *check, uint64_t length);
enum note check_result(const struct check *check);

#endif
