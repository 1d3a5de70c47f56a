/*
 * A map from 64-bit numbers to 32-bit numbers; later values replace earlier ones.
 */
#ifndef EXTRACT_MAP_H
#define EXTRACT_MAP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define MAP_NONE UINT32_MAX

struct map_slot {
	uint64_t key;
	uint32_t value; /* MAP_NONE: the slot is free */
};

struct map {
	struct map_slot *slots; /* open addressing, a power of two of them */
	size_t n_slots, count;
};

/* All zeros is a valid empty map. */
void map_free(struct map *map);
/* `value` must not be MAP_NONE. False when memory runs out. */
bool map_put(struct map *map, uint64_t key, uint32_t value);
/* MAP_NONE when there is none. */
uint32_t map_get(const struct map *map, uint64_t key);

#endif
