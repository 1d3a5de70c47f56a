/*
 * Where a sparse stream holds data: tar wants to know before the first byte.
 */
#ifndef EXTRACT_SPARSE_MAP_H
#define EXTRACT_SPARSE_MAP_H

#include "base/arena.h"
#include "disk/hole.h"
#include "plan/plan.h"

#include <stdbool.h>
#include <stddef.h>

/*
 * Sets *map (in `arena`) to the ranges that hold data, gaps that are too small to matter closed;
 * NULL when the stream is not sparse enough to be worth it. False when memory runs out.
 */
bool sparse_map(const struct plan *plan, const struct item *item, struct arena *arena,
    const struct hole **map, size_t *n_map);

#endif
