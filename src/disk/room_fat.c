/*
 * Label and free room of FAT12, FAT16 and FAT32.
 *
 * Source: Microsoft "FAT: General Overview of On-Disk Format" 1.03: "Boot Sector and BPB", "FAT
 * Data Structure", "FAT32 FSInfo Sector Structure", "FAT Directory Structure".
 */
#include "disk/room_inner.h"

#include "base/bytes.h"
#include "base/utf.h"

#include <string.h>

#define LABEL 11u
#define NO_LABEL "NO NAME    "

enum { ATTRIBUTE_VOLUME_ID = 0x08, ATTRIBUTE_LONG_NAME = 0x0F, ATTRIBUTE_MASK = 0x3F };

struct fat {
	const struct room_volume *volume;
	uint8_t boot[512];
	unsigned bits;            /* of an entry: 12, 16 or 32 */
	uint32_t sector, cluster; /* sizes, bytes */
	uint32_t clusters;        /* numbered from 2 */
	uint64_t table;           /* offset of the first FAT */
	uint64_t table_size;      /* bytes */
	uint64_t root, heap; /* offsets; root: where it has a place of its own, FAT12 and FAT16 */
	uint32_t root_entries;
};

/* The formulas of "FAT Type Determination"; which layout it is, is told by BPB_FATSz16 alone. */
static bool understand(struct fat *fat)
{
	const uint8_t *boot = fat->boot;
	uint64_t sectors = get_u16(boot + 19) != 0 ? get_u16(boot + 19) : get_u32(boot + 32);
	uint64_t table = get_u16(boot + 22) != 0 ? get_u16(boot + 22) : get_u32(boot + 36);
	uint64_t before, count;

	fat->sector = get_u16(boot + 11);
	fat->root_entries = get_u16(boot + 17);
	if (fat->sector < 512 || fat->sector > 4096 || (fat->sector & (fat->sector - 1)) != 0 ||
	    boot[13] == 0)
		return false;
	fat->cluster = fat->sector * boot[13];
	fat->table = (uint64_t)get_u16(boot + 14) * fat->sector;
	fat->table_size = table * fat->sector;
	fat->root = fat->table + boot[16] * fat->table_size;
	before = get_u16(boot + 14) + boot[16] * table +
		 ((uint64_t)fat->root_entries * ROOM_ENTRY + fat->sector - 1) / fat->sector;
	if (before >= sectors)
		return false;
	fat->heap = before * fat->sector;
	count = (sectors - before) / boot[13];
	fat->bits = get_u16(boot + 22) == 0 ? 32 : count < 4085 ? 12 : 16;
	/* The table has to have an entry for each. */
	if (count == 0 || count >= 0x0FFFFFF5 || count + 2 > fat->table_size * 8 / fat->bits)
		return false;
	fat->clusters = (uint32_t)count;
	return true;
}

static const char *make_label(const struct room_volume *volume, const uint8_t *name)
{
	struct buf text = {0};
	const char *label;

	/* The code page of what is not ASCII stands nowhere. */
	for (size_t i = 0; i < LABEL; i++)
		utf_add(&text, name[i] >= 0x20 && name[i] < 0x7F ? name[i] : UTF_REPLACEMENT);
	label = room_label(volume, &text);
	buf_free(&text);
	return label;
}

struct label_search {
	uint8_t name[LABEL];
	bool found;
};

static bool look_for_label(void *context, const uint8_t *entry)
{
	struct label_search *search = context;
	uint8_t attributes = entry[11] & ATTRIBUTE_MASK;

	if (entry[0] == 0)
		return false;
	if (entry[0] == 0xE5 || attributes == ATTRIBUTE_LONG_NAME ||
	    (attributes & (ATTRIBUTE_VOLUME_ID | 0x10)) != ATTRIBUTE_VOLUME_ID)
		return true;
	memcpy(search->name, entry, LABEL);
	if (search->name[0] == 0x05) /* stands for 0xE5 */
		search->name[0] = 0xE5;
	search->found = true;
	return false;
}

/* False when the root folder could not be read to where the label stands. */
static bool search_root(const struct fat *fat, struct label_search *search)
{
	struct room_chain chain = {.volume = fat->volume,
	    .table = fat->table,
	    .entries = fat->clusters,
	    .mask = 0x0FFFFFFF,
	    .heap = fat->heap,
	    .cluster = fat->cluster};
	bool ended;

	if (fat->bits == 32)
		return room_walk_chain(&chain, get_u32(fat->boot + 44), look_for_label, search);
	return room_walk(fat->volume, fat->root, fat->root_entries, look_for_label, search, &ended);
}

/* The boot sector repeats the label; not everything that changes one changes both. */
static const uint8_t *boot_label(const struct fat *fat)
{
	const uint8_t *extended = fat->boot + (fat->bits == 32 ? 64 : 36);

	if (extended[2] != 0x29 || memcmp(extended + 7, NO_LABEL, LABEL) == 0)
		return NULL;
	return extended + 7;
}

static const char *read_label(const struct fat *fat)
{
	struct label_search search = {0};
	bool read = search_root(fat, &search);
	const uint8_t *boot = boot_label(fat);

	if (search.found)
		return make_label(fat->volume, search.name);
	if (boot != NULL)
		return make_label(fat->volume, boot);
	return read ? "" : NULL;
}

/* The FSInfo sector's note, if it can be believed. */
static bool noted_free(const struct fat *fat, uint64_t *clusters)
{
	uint64_t at = (uint64_t)get_u16(fat->boot + 48) * fat->sector;
	uint8_t info[512], second[4];

	if (fat->bits != 32 || at == 0 || !room_bytes(fat->volume, at, info, sizeof(info)) ||
	    get_u32(info) != 0x41615252 || get_u32(info + 484) != 0x61417272 ||
	    get_u32(info + 508) != 0xAA550000)
		return false;
	*clusters = get_u32(info + 488);
	/* Bit 27 of the table's second entry: the volume was put away properly. */
	return *clusters <= fat->clusters &&
	       room_bytes(fat->volume, fat->table + 4, second, sizeof(second)) &&
	       (get_u32(second) & 0x08000000) != 0;
}

/* Free entries among the `count` whose bytes are given, from an even one on. */
static uint32_t count_entries(const uint8_t *bytes, unsigned bits, uint32_t count)
{
	uint32_t unused = 0;

	for (uint32_t i = 0; i < count; i++) {
		if (bits == 32)
			unused += (get_u32(bytes + 4 * (size_t)i) & 0x0FFFFFFF) == 0;
		else if (bits == 16)
			unused += get_u16(bytes + 2 * (size_t)i) == 0;
		else if (i % 2 == 0)
			unused += (get_u16(bytes + i / 2 * 3) & 0x0FFF) == 0;
		else
			unused += get_u16(bytes + i / 2 * 3 + 1) >> 4 == 0;
	}
	return unused;
}

static bool count_free(const struct fat *fat, uint64_t *clusters)
{
	/* A multiple of 3 bytes, so that no pair of 12-bit entries is torn. */
	uint8_t bytes[ROOM_PIECE / 12 * 12];
	const uint32_t per_piece = sizeof(bytes) * 8 / fat->bits;
	uint32_t entries = fat->clusters + 2;

	*clusters = 0;
	if ((uint64_t)entries * fat->bits / 8 > ROOM_COUNT_MAX)
		return false;
	/* The first two entries stand for no cluster, and are never 0. */
	for (uint32_t i = 0; i < entries;) {
		uint32_t now = entries - i < per_piece ? entries - i : per_piece;
		size_t length = ((size_t)now * fat->bits + 7) / 8;

		if (!room_may_count(fat->volume) ||
		    !room_bytes(
			fat->volume, fat->table + (uint64_t)i * fat->bits / 8, bytes, length))
			return false;
		*clusters += count_entries(bytes, fat->bits, now);
		if (i == 0)
			*clusters -= count_entries(bytes, fat->bits, 2);
		i += now;
	}
	return true;
}

void room_read_fat(const struct room_volume *volume, struct room *room)
{
	struct fat fat = {.volume = volume};
	uint64_t clusters;

	if (!room_bytes(volume, 0, fat.boot, sizeof(fat.boot)) || !understand(&fat))
		return;
	room->label = read_label(&fat);
	if (noted_free(&fat, &clusters) || count_free(&fat, &clusters))
		room->free = clusters * fat.cluster;
}
