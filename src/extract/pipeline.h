/*
 * The reading side of an extraction: a thread that reads streams in order, a few buffers ahead of
 * the one who hashes and writes them, out of what a sweep has read ahead of it.
 *
 * What comes out does not depend on timing: the same list gives the same pieces in the same order.
 */
#ifndef EXTRACT_PIPELINE_H
#define EXTRACT_PIPELINE_H

#include "base/buf.h"
#include "base/error.h"
#include "disk/hole.h"
#include "plan/plan.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define PIPELINE_CHUNK ((size_t)1 << 20) /* bytes; a chunk of data is at most that long */
#define PIPELINE_ROOM ((size_t)8 << 20)  /* bytes of data that are read and not yet used */
#define PIPELINE_DEPTH 256               /* chunks; most files are small */

struct pipeline;

/* A piece of a stream. */
struct chunk {
	uint32_t item;        /* index in plan.items */
	const uint8_t *data;  /* NULL: `length` zeros that nobody stored (a sparse range) */
	uint64_t length;      /* 0 only for an empty stream */
	bool last;            /* of its stream */
	struct holes holes;   /* in this chunk, by offset in the stream; the bytes there are zero */
};

/*
 * Starts reading the streams of plan.items[list[0]], [list[1]], ... The list must stay until
 * pipeline_close(). `again`: as in sweep_open(). NULL with *error.
 */
struct pipeline *pipeline_open(const struct plan *plan, const uint32_t *list, size_t n_list,
    bool again, struct error *error);

/*
 * The next chunk, valid until the next call; *chunk is NULL behind the last one. False with *error
 * when memory ran out.
 */
bool pipeline_next(struct pipeline *pipeline, const struct chunk **chunk, struct error *error);

/* Stops the thread, also in the middle. NULL is allowed. */
void pipeline_close(struct pipeline *pipeline);

#endif
