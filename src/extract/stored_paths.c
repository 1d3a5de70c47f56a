/* Paths of entries that stand in a part: see stored_paths.h. */
#include "extract/stored_paths.h"

/* FNV-1a, by Fowler, Noll and Vo (draft-eastlake-fnv), with the constants for 64 bits. */
static uint64_t key_of(const char *path, size_t length)
{
	uint64_t hash = UINT64_C(0xCBF29CE484222325);

	for (size_t i = 0; i < length; i++)
		hash = (hash ^ (uint8_t)path[i]) * UINT64_C(0x100000001B3);
	return hash;
}

bool stored_paths_add(struct map *paths, const char *path, size_t length)
{
	return map_put(paths, key_of(path, length), 1);
}

bool stored_paths_has(const struct map *paths, const char *path, size_t length)
{
	return map_get(paths, key_of(path, length)) != MAP_NONE;
}
