/*
 * Which entries stand in a part that is gone on with: a set of their paths, by a hash of 64 bits.
 *
 * Nothing bad comes of two paths with the same hash: a file would have the wrong mark as read-only,
 * or one that is not wanted any more would stay.
 */
#ifndef EXTRACT_STORED_PATHS_H
#define EXTRACT_STORED_PATHS_H

#include "extract/map.h"

#include <stdbool.h>
#include <stddef.h>

/* False: no memory. */
bool stored_paths_add(struct map *paths, const char *path, size_t length);
bool stored_paths_has(const struct map *paths, const char *path, size_t length);

#endif
