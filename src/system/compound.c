/* Compound files: see compound.h. */
#include "system/compound.h"

#include "base/bytes.h"
#include "base/utf.h"

#include <string.h>

#define HEADER 512u
#define N_HEADER_FAT 109u /* places of FAT sectors that the header itself lists */
#define ENTRY_SIZE 128u
#define SMALL_SHIFT 6u
#define NO_SECTOR 0xFFFFFFFAu /* from here on: ends and marks, no sectors */
#define ENTRY_LIMIT 65536u

static size_t sector_size(const struct compound *compound)
{
	return (size_t)1 << compound->sector_shift;
}

/* The bytes of a sector, or NULL. The last one may be cut: it counts only when whole. */
static const uint8_t *sector(const struct compound *compound, uint32_t number)
{
	if (number >= compound->n_sectors)
		return NULL;
	return compound->data + ((size_t)number + 1) * sector_size(compound);
}

/* Copies one sector of the FAT to its place. */
static void take_fat(struct compound *compound, size_t index, uint32_t number)
{
	size_t per_sector = sector_size(compound) / 4;
	const uint8_t *bytes = sector(compound, number);

	for (size_t i = 0; bytes && i < per_sector; i++)
		if (index * per_sector + i < compound->n_sectors)
			compound->next[index * per_sector + i] = get_u32(bytes + 4 * i);
}

/* The FAT, from the places in the header and in the chain of further places (DIFAT). */
static bool read_fat(struct compound *compound, struct arena *arena)
{
	size_t per_sector = sector_size(compound) / 4, index = 0;
	size_t needed = compound->n_sectors / per_sector + 1;
	uint32_t more = get_u32(compound->data + 68);

	compound->next = arena_array(arena, compound->n_sectors + 1, sizeof(*compound->next));
	if (!compound->next)
		return false;
	memset(compound->next, 0xFF, compound->n_sectors * sizeof(*compound->next));
	for (; index < N_HEADER_FAT && index < needed; index++)
		take_fat(compound, index, get_u32(compound->data + 76 + 4 * index));
	while (index < needed && more < NO_SECTOR) {
		const uint8_t *places = sector(compound, more);

		if (!places)
			break;
		for (size_t i = 0; i + 1 < per_sector && index < needed; i++)
			take_fat(compound, index++, get_u32(places + 4 * i));
		more = get_u32(places + 4 * (per_sector - 1));
	}
	return true;
}

/*
 * The bytes of a chain of sectors, at most `size`. A chain that comes back to itself is cut by
 * the number of sectors that there are.
 */
static uint8_t *load_chain(const struct compound *compound, uint32_t first, uint64_t size,
    struct arena *arena, size_t *length)
{
	size_t step = sector_size(compound), most = compound->n_sectors * step;
	uint32_t number = first;
	uint8_t *bytes;

	*length = 0;
	if (size < most)
		most = (size_t)size;
	bytes = arena_alloc(arena, most + 1);
	while (bytes && *length < most) {
		const uint8_t *from = sector(compound, number);
		size_t count = most - *length < step ? most - *length : step;

		if (!from)
			break;
		memcpy(bytes + *length, from, count);
		*length += count;
		number = compound->next[number];
	}
	return bytes;
}

static bool read_entries(struct compound *compound, struct arena *arena)
{
	size_t length, count;
	struct arena work = {0};
	const uint8_t *bytes =
	    load_chain(compound, get_u32(compound->data + 48), UINT64_MAX, &work, &length);
	bool good = bytes != NULL;

	count = length / ENTRY_SIZE < ENTRY_LIMIT ? length / ENTRY_SIZE : ENTRY_LIMIT;
	if (good)
		compound->entries = arena_array(arena, count + 1, sizeof(*compound->entries));
	good = good && compound->entries;
	for (size_t i = 0; good && i < count; i++) {
		const uint8_t *from = bytes + i * ENTRY_SIZE;
		struct compound_entry *entry = &compound->entries[compound->n_entries];
		size_t name_bytes = get_u16(from + 64);

		if (from[66] == COMPOUND_UNUSED || name_bytes < 2 || name_bytes > 64)
			continue;
		entry->name = utf_arena_from_utf16(arena, from, name_bytes / 2 - 1, NULL);
		entry->kind = from[66];
		entry->first = get_u32(from + 116);
		entry->size = get_u64(from + 120);
		if (compound->sector_shift == 9)
			entry->size &= UINT32_MAX; /* 2.6.1: the upper half may be anything */
		good = entry->name != NULL;
		compound->n_entries++;
	}
	arena_free(&work);
	return good && compound->n_entries > 0;
}

/* The small sectors: they lie in the root's own stream, and have a FAT of their own. */
static bool read_small(struct compound *compound, struct arena *arena)
{
	const struct compound_entry *root = NULL;
	struct arena work = {0};
	size_t length;
	const uint8_t *fat;

	for (size_t i = 0; i < compound->n_entries && !root; i++)
		if (compound->entries[i].kind == COMPOUND_ROOT)
			root = &compound->entries[i];
	if (!root)
		return true;
	compound->small =
	    load_chain(compound, root->first, root->size, arena, &compound->small_length);
	fat = load_chain(compound, get_u32(compound->data + 60), UINT64_MAX, &work, &length);
	compound->n_small = compound->small_length >> SMALL_SHIFT;
	if (length / 4 < compound->n_small)
		compound->n_small = length / 4;
	compound->small_next =
	    arena_array(arena, compound->n_small + 1, sizeof(*compound->small_next));
	for (size_t i = 0; fat && compound->small_next && i < compound->n_small; i++)
		compound->small_next[i] = get_u32(fat + 4 * i);
	arena_free(&work);
	return compound->small && compound->small_next;
}

bool compound_open(
    const uint8_t *data, size_t length, struct arena *arena, struct compound *compound)
{
	static const uint8_t magic[8] = {0xD0, 0xCF, 0x11, 0xE0, 0xA1, 0xB1, 0x1A, 0xE1};

	*compound = (struct compound){.data = data, .length = length};
	if (length < HEADER || memcmp(data, magic, sizeof(magic)) != 0)
		return false;
	compound->sector_shift = get_u16(data + 30);
	compound->cutoff = get_u32(data + 56);
	if ((compound->sector_shift != 9 && compound->sector_shift != 12) ||
	    get_u16(data + 32) != SMALL_SHIFT)
		return false;
	if (length >> compound->sector_shift > 1)
		compound->n_sectors = (length >> compound->sector_shift) - 1;
	if (compound->n_sectors >= NO_SECTOR)
		return false;
	return read_fat(compound, arena) && read_entries(compound, arena) &&
	       read_small(compound, arena);
}

const struct compound_entry *compound_find(const struct compound *compound, const char *name)
{
	for (size_t i = 0; i < compound->n_entries; i++)
		if (compound->entries[i].kind == COMPOUND_STREAM &&
		    utf_equal_fold(compound->entries[i].name, name))
			return &compound->entries[i];
	return NULL;
}

static uint8_t *load_small(const struct compound *compound, const struct compound_entry *entry,
    struct arena *arena, size_t *length)
{
	size_t step = (size_t)1 << SMALL_SHIFT;
	uint32_t number = entry->first;
	uint8_t *bytes = arena_alloc(arena, (size_t)entry->size + 1);

	*length = 0;
	while (bytes && *length < entry->size && number < compound->n_small) {
		size_t left = (size_t)entry->size - *length;
		size_t count = left < step ? left : step;

		memcpy(bytes + *length, compound->small + ((size_t)number << SMALL_SHIFT), count);
		*length += count;
		number = compound->small_next[number];
	}
	return bytes;
}

uint8_t *compound_load(const struct compound *compound, const struct compound_entry *entry,
    size_t limit, struct arena *arena, size_t *length)
{
	uint8_t *bytes;

	*length = 0;
	if (entry->kind != COMPOUND_STREAM || entry->size == 0 || entry->size > limit ||
	    entry->size > compound->length)
		return NULL;
	bytes = entry->size < compound->cutoff
		    ? load_small(compound, entry, arena, length)
		    : load_chain(compound, entry->first, entry->size, arena, length);
	return *length > 0 ? bytes : NULL;
}
