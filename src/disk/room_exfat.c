/*
 * Label and free room of exFAT.
 *
 * Source: Microsoft "exFAT file system specification": 3.1 (main boot sector), 4.1 (FAT), 6
 * (directory structure), 7.1 (allocation bitmap), 7.3 (volume label).
 */
#include "disk/room_inner.h"

#include "base/bits.h"
#include "base/bytes.h"
#include "base/utf.h"

#define LABEL_UNITS 11u

enum { ENTRY_BITMAP = 0x81, ENTRY_LABEL = 0x83 };

struct exfat {
	struct room_chain chain;
	uint32_t root;
	uint8_t active; /* which FAT and bitmap are in use: 0 or 1 */
	/* Out of the root folder: */
	uint8_t label[2 * LABEL_UNITS];
	size_t label_units;
	bool has_bitmap;
	uint32_t bitmap;      /* first cluster */
	uint64_t bitmap_size; /* bytes */
};

static bool understand(struct exfat *exfat, const uint8_t *boot)
{
	unsigned sector_shift = boot[108], cluster_shift = boot[109];
	uint64_t table = get_u32(boot + 80), table_size = get_u32(boot + 84);
	uint32_t clusters = get_u32(boot + 92);

	if (sector_shift < 9 || sector_shift > 12 || cluster_shift > 25 - sector_shift ||
	    clusters == 0 || clusters > 0xFFFFFFF5 ||
	    ((uint64_t)clusters + 2) * 4 > table_size << sector_shift)
		return false;
	exfat->active = boot[106] & 1 & (boot[110] == 2);
	exfat->chain.table = (table + exfat->active * table_size) << sector_shift;
	exfat->chain.entries = clusters;
	exfat->chain.mask = 0xFFFFFFFF;
	exfat->chain.heap = (uint64_t)get_u32(boot + 88) << sector_shift;
	exfat->chain.cluster = 1u << (sector_shift + cluster_shift);
	exfat->root = get_u32(boot + 96);
	return true;
}

static bool look_at_entry(void *context, const uint8_t *entry)
{
	struct exfat *exfat = context;

	if (entry[0] == 0)
		return false;
	if (entry[0] == ENTRY_LABEL && entry[1] <= LABEL_UNITS) {
		exfat->label_units = entry[1];
		for (size_t i = 0; i < sizeof(exfat->label); i++)
			exfat->label[i] = entry[2 + i];
	}
	if (entry[0] == ENTRY_BITMAP && (entry[1] & 1) == exfat->active) {
		exfat->has_bitmap = true;
		exfat->bitmap = get_u32(entry + 20);
		exfat->bitmap_size = get_u64(entry + 24);
	}
	return true;
}

/* Zero bits of the bitmap, cluster by cluster of its chain. */
static bool count_free(struct exfat *exfat, uint64_t *unused)
{
	struct room_chain *chain = &exfat->chain;
	uint64_t left = chain->entries; /* bits */
	uint32_t at = exfat->bitmap;
	uint8_t bytes[4096];

	*unused = 0;
	if (!exfat->has_bitmap || exfat->bitmap_size < (left + 7) / 8 || left / 8 > ROOM_COUNT_MAX)
		return false;
	for (; left > 0; at = room_chain_next(chain, at)) {
		uint64_t begin, skip = 0;

		if (at < 2 || at - 2 >= chain->entries || !room_may_count(chain->volume))
			return false;
		begin = chain->heap + (uint64_t)(at - 2) * chain->cluster;
		for (; skip < chain->cluster && left > 0; skip += sizeof(bytes)) {
			uint64_t room = chain->cluster - skip;
			size_t length = room < sizeof(bytes) ? (size_t)room : sizeof(bytes);
			uint64_t bits = left < 8 * length ? left : 8 * length;

			if (!room_bytes(chain->volume, begin + skip, bytes, (size_t)(bits + 7) / 8))
				return false;
			*unused += bits_count_zeros(bytes, bits);
			left -= bits;
		}
	}
	return true;
}

void room_read_exfat(const struct room_volume *volume, struct room *room)
{
	struct exfat exfat = {.chain = {.volume = volume}};
	struct buf text = {0};
	uint64_t unused;
	uint8_t boot[512];
	bool read;

	if (!room_bytes(volume, 0, boot, sizeof(boot)) || !understand(&exfat, boot))
		return;
	read = room_walk_chain(&exfat.chain, exfat.root, look_at_entry, &exfat);
	if (read || exfat.label_units > 0) {
		utf_from_utf16(&text, exfat.label, exfat.label_units);
		room->label = room_label(volume, &text);
		buf_free(&text);
	}
	if (count_free(&exfat, &unused))
		room->free = unused * exfat.chain.cluster;
}
