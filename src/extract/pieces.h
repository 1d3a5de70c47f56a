/*
 * Writing one file into the parts, cut into pieces where it is larger than a part may be.
 *
 * The pieces of "x.iso" are called "x.iso.piece-01-of-03" and so on, and each stands in a part of
 * its own. `cat x.iso.piece-*` (or `copy /b`) joins them.
 */
#ifndef EXTRACT_PIECES_H
#define EXTRACT_PIECES_H

#include "base/buf.h"
#include "extract/outcome.h"
#include "extract/parts.h"

#include <stdbool.h>
#include <stdint.h>

/* One file on its way into the parts. */
struct sink {
	struct parts *parts;
	struct outcomes *outcomes;
	uint32_t item;
	struct member member;  /* of the whole file */
	struct buf path;       /* of the entry in work */
	size_t base_length;    /* of the path without a piece's ending */
	uint64_t done;         /* bytes of the whole file */
	uint64_t piece_size;   /* bytes of every piece but the last; 0: not cut */
	uint64_t left;         /* bytes that the piece in work still takes */
	unsigned n_pieces, piece;
	struct sha256_ctx hash;  /* of the piece in work */
	struct hole *data;       /* the piece's own map of data */
	struct parts_mark start; /* of a file that is cut: where its first piece begins */
};

/*
 * Begins the file with member.path and member.size in the group's part; sets the item's part. The
 * sink needs sink_free() in any case. False with *error.
 */
bool sink_begin(struct sink *sink, struct parts *parts, struct outcomes *outcomes, uint32_t item,
    const struct member *member, struct error *error);
/* NULL data: zeros, stored sparsely where that is possible. */
bool sink_add(struct sink *sink, const uint8_t *data, uint64_t length, struct error *error);
/* All bytes are there. */
bool sink_end(struct sink *sink, struct error *error);
/*
 * Instead: the file was none, its part is as it was before, and parts that hold pieces of it are
 * gone.
 */
bool sink_go_back(struct sink *sink, struct error *error);
void sink_free(struct sink *sink);

/* Appends the ending of piece `number` (from 1) of `count`. */
void piece_ending(struct buf *path, unsigned number, unsigned count);

/*
 * Cuts the last name of the path (which starts at `start` in the buffer) so that a piece's ending
 * keeps it within NAME_LIMIT; most names stay as they are.
 */
void piece_shorten(struct buf *path, size_t start);

#endif
