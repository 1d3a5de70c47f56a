/* A map of numbers: see map.h. */
#include "extract/map.h"

#include <stdlib.h>

/* Steele, Lea, Flood, "Fast splittable pseudorandom number generators" (2014): the mixing step. */
static uint64_t mix(uint64_t key)
{
	key = (key ^ key >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
	key = (key ^ key >> 27) * UINT64_C(0x94D049BB133111EB);
	return key ^ key >> 31;
}

/* The slot that holds the key, or the free one where it belongs. */
static struct map_slot *find(const struct map *map, uint64_t key)
{
	size_t at = (size_t)mix(key) & (map->n_slots - 1);

	while (map->slots[at].value != MAP_NONE && map->slots[at].key != key)
		at = (at + 1) & (map->n_slots - 1);
	return &map->slots[at];
}

static bool grow(struct map *map)
{
	struct map bigger = {.n_slots = map->n_slots == 0 ? 64 : map->n_slots * 2,
	    .count = map->count};

	bigger.slots = calloc(bigger.n_slots, sizeof(*bigger.slots));
	if (bigger.slots == NULL)
		return false;
	for (size_t i = 0; i < bigger.n_slots; i++)
		bigger.slots[i].value = MAP_NONE;
	for (size_t i = 0; i < map->n_slots; i++)
		if (map->slots[i].value != MAP_NONE)
			*find(&bigger, map->slots[i].key) = map->slots[i];
	free(map->slots);
	*map = bigger;
	return true;
}

void map_free(struct map *map)
{
	free(map->slots);
	*map = (struct map){0};
}

bool map_put(struct map *map, uint64_t key, uint32_t value)
{
	struct map_slot *slot;

	if ((map->count + 1) * 4 > map->n_slots * 3 && !grow(map))
		return false;
	slot = find(map, key);
	map->count += slot->value == MAP_NONE;
	*slot = (struct map_slot){key, value};
	return true;
}

uint32_t map_get(const struct map *map, uint64_t key)
{
	return map->n_slots == 0 ? MAP_NONE : find(map, key)->value;
}
