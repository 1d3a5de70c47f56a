/*
 * Reading ahead over a list of files: a thread that reads the drive in its own order, one window of
 * the list after the other, while the window before is used.
 */
#ifndef EXTRACT_SWEEP_H
#define EXTRACT_SWEEP_H

#include "base/error.h"
#include "plan/plan.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* A piece of a file: the bytes [from, to) of the stream of plan.items[item]. */
struct segment {
	uint32_t item;
	uint64_t from, to;
};

struct sweep;

/*
 * Starts reading ahead over the streams of plan.items[list[0]], [list[1]], ... in this order. The
 * list must stay until sweep_close(). `again`: all of them will be read once more, so what a faulty
 * drive gives of them is kept. NULL with *error.
 */
struct sweep *sweep_open(const struct plan *plan, const uint32_t *list, size_t n_list, bool again,
    struct error *error);

/*
 * The next segments, from the first byte of the first file to the last of the last without a gap;
 * the bytes of those that were given before are forgotten. Returns their number; 0 at the end.
 */
size_t sweep_next(struct sweep *sweep, const struct segment **segments);

/* Stops, also in the middle. NULL is allowed. */
void sweep_close(struct sweep *sweep);

#endif
