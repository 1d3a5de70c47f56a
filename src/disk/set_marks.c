/*
 * Members of sets of other controllers, known by a mark at a fixed place, and of Linux software
 * RAID; see sets.h. What kind of set it is cannot be told for most.
 *
 * Sources: marks and places as libblkid 2.38 (util-linux) knows them, its superblock types
 * nvidia_raid_member, promise_fasttrack_raid_member, silicon_medley_raid_member, via_raid_member,
 * jmicron_raid_member, lsi_mega_raid_member, hpt45x_ and hpt37x_raid_member, adaptec_raid_member;
 * Linux RAID: kernel documentation, Documentation/admin-guide/md.rst and
 * include/uapi/linux/raid/md_p.h.
 */
#include "disk/sets.h"

#include "base/bytes.h"

#include <stdio.h>
#include <string.h>

#define SECTOR 512u

/* --- single marks --- */

struct mark {
	enum set_kind kind;
	int sector; /* from the start; negative: from the end, -1 is the last */
	unsigned offset, length;
	const char *bytes;
};

static const struct mark marks[] = {
    {SET_NVIDIA, -2, 0, 6, "NVIDIA"},
    {SET_LSI, -1, 0, 6, "$XIDE$"},
    {SET_JMICRON, -1, 0, 2, "JM"},
    {SET_HIGHPOINT, -11, 0, 4, "\xF3\x16\x78\x5A"},
    {SET_HIGHPOINT, -11, 0, 4, "\xFD\x16\x78\x5A"},
    {SET_HIGHPOINT, 9, 32, 4, "\xF0\x16\x78\x5A"},
    {SET_HIGHPOINT, 9, 32, 4, "\xFD\x16\x78\x5A"},
};

static const char promise[] = "Promise Technology, Inc.";
static const int promise_sectors[] = {
    63, 255, 256, 16, 399, 591, 675, 735, 911, 974, 991, 951, 3087};

/* Reads one sector of 512 bytes, counted from the end where negative. */
static bool read_sector(struct source *source, int sector, uint8_t *out)
{
	uint64_t sectors = source_size(source) / SECTOR;
	uint64_t distance = (uint64_t)(sector < 0 ? -(int64_t)sector : sector);

	if (distance >= sectors)
		return false;
	return source_read(
	    source, (sector < 0 ? sectors - distance : distance) * SECTOR, out, SECTOR, NULL);
}

/* Two letters are no proof: the version behind them has to be a small number, too. */
static bool is_jmicron(const uint8_t *sector)
{
	return sector[2] < 16 && sector[3] < 16;
}

static bool find_mark(struct source *source, struct set *set)
{
	uint8_t sector[SECTOR];

	for (size_t i = 0; i < sizeof(marks) / sizeof(marks[0]); i++) {
		const struct mark *mark = &marks[i];

		if (!read_sector(source, mark->sector, sector) ||
		    memcmp(sector + mark->offset, mark->bytes, mark->length) != 0)
			continue;
		if (mark->kind == SET_JMICRON && !is_jmicron(sector))
			continue;
		set->kind = mark->kind;
		return true;
	}
	for (size_t i = 0; i < sizeof(promise_sectors) / sizeof(promise_sectors[0]); i++) {
		if (!read_sector(source, -promise_sectors[i], sector) ||
		    memcmp(sector, promise, sizeof(promise) - 1) != 0)
			continue;
		set->kind = SET_PROMISE;
		return true;
	}
	return false;
}

/* --- marks with a checksum in the last sector --- */

static bool is_silicon(const uint8_t *sector)
{
	unsigned sum = 0;

	if (get_u32(sector + 0x60) != 0x2F000000u || sector[0x116] >= 8)
		return false;
	for (unsigned i = 0; i < 0x13E; i += 2)
		sum += get_u16(sector + i);
	return ((sum + get_u16(sector + 0x13E)) & 0xFFFF) == 0;
}

static bool is_via(const uint8_t *sector)
{
	uint8_t sum = 0;

	if (get_u16(sector) != 0xAA55 || sector[2] > 2)
		return false;
	for (unsigned i = 0; i < 50; i++)
		sum = (uint8_t)(sum + sector[i]);
	return sum == sector[50];
}

static bool is_adaptec(const uint8_t *sector)
{
	return get_u32_be(sector) == 0x37FC4D1Eu && get_u32_be(sector + 0x100) == 0x4450544Du;
}

static bool find_last(struct source *source, struct set *set)
{
	uint8_t sector[SECTOR];

	if (!read_sector(source, -1, sector))
		return false;
	if (is_silicon(sector))
		set->kind = SET_SILICON;
	else if (is_via(sector))
		set->kind = SET_VIA;
	else if (is_adaptec(sector))
		set->kind = SET_ADAPTEC;
	return set->kind != SET_NONE;
}

/* --- Linux RAID --- */

#define LINUX_MAGIC 0xA92B4EFCu

static void take_linux_level(uint32_t level, struct set *set)
{
	switch ((int32_t)level) {
	case -1:
		set->level = SET_SPAN;
		break;
	case 0:
	case 10:
		set->level = SET_STRIPE;
		break;
	case 1:
		set->level = SET_MIRROR;
		break;
	case 4:
	case 5:
	case 6:
		set->level = SET_PARITY;
		break;
	default:
		set->level = SET_UNKNOWN;
	}
}

static bool read_linux_1(struct source *source, uint64_t offset, struct set *set)
{
	uint8_t block[256];

	if (offset + 4096 > source_size(source) ||
	    !source_read(source, offset, block, sizeof(block), NULL) ||
	    get_u32(block) != LINUX_MAGIC || get_u32(block + 4) != 1 ||
	    get_u64(block + 144) != offset / SECTOR)
		return false;
	set->kind = SET_LINUX;
	take_linux_level(get_u32(block + 72), set);
	set_text(set->name, sizeof(set->name), block + 32, 32);
	for (unsigned i = 0; i < 16; i++)
		snprintf(set->id + 2 * i, sizeof(set->id) - 2 * i, "%02x", block[16 + i]);
	set->members = get_u32(block + 92);
	set->generation = get_u64(block + 200);
	/* Where the data begins behind the description, no volume is found at the drive's start. */
	set->readable_alone = set->level == SET_MIRROR && get_u64(block + 128) == 0;
	return true;
}

static bool read_linux_0(struct source *source, struct set *set)
{
	uint64_t size = source_size(source);
	uint8_t block[256];

	if (size < 128 * 1024 ||
	    !source_read(source, (size & ~UINT64_C(0xFFFF)) - 0x10000, block, sizeof(block), NULL))
		return false;
	if (get_u32(block) != LINUX_MAGIC || get_u32(block + 4) != 0)
		return false;
	set->kind = SET_LINUX;
	take_linux_level(get_u32(block + 28), set);
	snprintf(set->id, sizeof(set->id), "%08x%08x%08x%08x", get_u32(block + 20),
	    get_u32(block + 52), get_u32(block + 56), get_u32(block + 60));
	set->members = get_u32(block + 40);
	set->readable_alone = set->level == SET_MIRROR;
	return true;
}

static bool find_linux(struct source *source, struct set *set)
{
	uint64_t size = source_size(source);

	if (size < 64 * 1024)
		return false;
	return read_linux_1(source, (size / SECTOR - 16) / 8 * 8 * SECTOR, set) ||
	       read_linux_1(source, 0, set) || read_linux_1(source, 4096, set) ||
	       read_linux_0(source, set);
}

bool set_read_marks(struct source *source, struct set *set)
{
	return find_last(source, set) || find_mark(source, set) || find_linux(source, set);
}
