/*
 * Members of sets in the Common RAID Disk Data Format, which several makers of RAID controllers
 * use; see sets.h. All numbers are big-endian.
 *
 * Source: SNIA, Common RAID Disk Data Format Specification 2.0: DDF header (anchor in the drive's
 * last block), physical disk data, virtual disk records, virtual disk configuration record with
 * primary RAID levels.
 */
#include "disk/sets.h"

#include "base/bytes.h"

#include <stdio.h>
#include <string.h>
#include <zlib.h>

#define BLOCK 512u
#define SIGNATURE_HEADER 0xDE11DE11u
#define SIGNATURE_DISK_DATA 0x33333333u
#define SIGNATURE_DISKS 0xDDDDDDDDu /* virtual disk records */
#define SIGNATURE_CONFIGURATION 0xEEEEEEEEu
#define GUID_SIZE 24u

#define RECORDS_MAX 64u
#define ENTRIES_MAX 4096u
#define MEMBERS_MAX 128u /* of one set; more are nobody's PC */

struct ddf {
	struct source *source;
	uint32_t sector_size;
	uint64_t primary; /* where its sections count from, in sectors */
	uint8_t header[BLOCK];
	uint32_t disk; /* this drive's reference number */
};

/*
 * The checksum begins with zero and is not inverted, as the Linux md tools have it; zlib's own is
 * the other way round, and is let pass too.
 */
static bool crc_fits(const uint8_t *header)
{
	uint32_t stored = get_u32_be(header + 4);
	uint8_t copy[BLOCK];

	memcpy(copy, header, sizeof(copy));
	memset(copy + 4, 0xFF, 4);
	return stored == (crc32(0xFFFFFFFFu, copy, sizeof(copy)) ^ 0xFFFFFFFFu) ||
	       stored == crc32(0, copy, sizeof(copy));
}

/* Reads a block of a section; `at` in bytes from the section's start. */
static bool read_block(
    const struct ddf *ddf, unsigned section_field, uint64_t at, void *out, size_t length)
{
	uint64_t start = ddf->primary + get_u32_be(ddf->header + section_field);
	uint64_t size = source_size(ddf->source);

	if (start > size / ddf->sector_size || at > size - start * ddf->sector_size ||
	    length > size - start * ddf->sector_size - at)
		return false;
	return source_read(ddf->source, start * ddf->sector_size + at, out, length, NULL);
}

enum section { /* fields of the header */
	SECTION_VIRTUAL_DISKS = 208,
	SECTION_CONFIGURATION = 216,
	SECTION_DISK_DATA = 224,
};

static void level_of(const uint8_t *record, struct set *set)
{
	unsigned elements = get_u16_be(record + 64);
	unsigned secondary = record[69];

	switch (record[67]) {
	case 0x00:
		set->level = elements == 1 && secondary <= 1 ? SET_SINGLE : SET_STRIPE;
		break;
	case 0x01:
		set->level = secondary <= 1 ? SET_MIRROR : SET_STRIPE;
		break;
	case 0x03:
	case 0x04:
	case 0x05:
	case 0x06:
	case 0x15: /* RAID-5E, 5EE, 5R */
	case 0x25:
	case 0x35:
		set->level = SET_PARITY;
		break;
	case 0x0F:
		set->level = SET_SINGLE;
		break;
	case 0x11: /* RAID-1E: of two drives it is a mirror */
		set->level = elements == 2 && secondary <= 1 ? SET_MIRROR : SET_STRIPE;
		break;
	case 0x1F:
		set->level = elements == 1 && secondary <= 1 ? SET_SINGLE : SET_SPAN;
		break;
	default:
		set->level = SET_UNKNOWN;
	}
	set->members = elements * (secondary > 1 ? secondary : 1);
}

/* The virtual disk with this GUID: its name. */
static void take_name(const struct ddf *ddf, const uint8_t *guid, struct set *set)
{
	uint8_t head[64], entry[64];
	unsigned count;

	if (!read_block(ddf, SECTION_VIRTUAL_DISKS, 0, head, sizeof(head)) ||
	    get_u32_be(head) != SIGNATURE_DISKS)
		return;
	count = get_u16_be(head + 10);
	for (unsigned i = 0; i < count && i < ENTRIES_MAX; i++) {
		if (!read_block(
			ddf, SECTION_VIRTUAL_DISKS, 64 * (1 + (uint64_t)i), entry, sizeof(entry)))
			return;
		if (memcmp(entry, guid, GUID_SIZE) != 0)
			continue;
		set_text(set->name, sizeof(set->name), entry + 48, 16);
		return;
	}
}

/* Where this drive stands among the record's elements, and where its data begins there. */
static bool place_own(const struct ddf *ddf, uint64_t at, const uint8_t *record, struct set *set)
{
	uint8_t number[8];
	unsigned elements = get_u16_be(record + 64);
	unsigned room = get_u16_be(ddf->header + 136);

	for (unsigned i = 0; i < elements && i < room && i < MEMBERS_MAX; i++) {
		if (!read_block(ddf, SECTION_CONFIGURATION, at + BLOCK + 4ull * i, number, 4))
			return false;
		if (get_u32_be(number) != ddf->disk)
			continue;
		set->member = i + 1;
		return read_block(ddf, SECTION_CONFIGURATION, at + BLOCK + 4ull * room + 8ull * i,
			   number, 8) &&
		       get_u64_be(number) == 0;
	}
	return false;
}

static void take_guid(const uint8_t *guid, struct set *set)
{
	for (unsigned i = 0; i < GUID_SIZE; i++)
		snprintf(set->id + 2 * i, sizeof(set->id) - 2 * i, "%02x", guid[i]);
}

/* The configuration record of the volume at the drive's start. */
static void take_configuration(const struct ddf *ddf, struct set *set)
{
	unsigned count = get_u16_be(ddf->header + 132);
	uint64_t step = (uint64_t)get_u16_be(ddf->header + 134) * ddf->sector_size;
	uint8_t record[BLOCK];

	for (unsigned i = 0; i < count && i < RECORDS_MAX; i++) {
		struct set found = {.kind = SET_DDF};
		uint64_t at = i * step;

		if (!read_block(ddf, SECTION_CONFIGURATION, at, record, sizeof(record)))
			return;
		if (get_u32_be(record) != SIGNATURE_CONFIGURATION)
			continue;
		level_of(record, &found);
		take_guid(record + 8, &found);
		found.generation = get_u32_be(record + 36);
		take_name(ddf, record + 8, &found);
		if (place_own(ddf, at, record, &found)) {
			found.readable_alone =
			    found.level == SET_MIRROR || found.level == SET_SINGLE;
			if (found.readable_alone &&
			    get_u64_be(record + 72) <= source_size(ddf->source) / ddf->sector_size)
				found.data_size = get_u64_be(record + 72) * ddf->sector_size;
			*set = found;
			return;
		}
		/* Kept in case that no better one comes. */
		if (set->id[0] == '\0')
			*set = found;
	}
}

static bool read_at(struct source *source, uint32_t sector_size, uint64_t sector, struct set *set)
{
	struct ddf ddf = {.source = source, .sector_size = sector_size};
	uint8_t own[64];

	if (!source_read(source, sector * sector_size, ddf.header, BLOCK, NULL) ||
	    (get_u32_be(ddf.header) != SIGNATURE_HEADER && get_u32(ddf.header) != SIGNATURE_HEADER))
		return false;
	set->kind = SET_DDF;
	ddf.primary = get_u64_be(ddf.header + 96);
	/* Some old controllers wrote it in the other byte order; those are only named. */
	if (get_u32_be(ddf.header) != SIGNATURE_HEADER || !crc_fits(ddf.header) ||
	    ddf.primary >= source_size(source) / sector_size)
		return true;
	if (read_block(&ddf, SECTION_DISK_DATA, 0, own, sizeof(own)) &&
	    get_u32_be(own) == SIGNATURE_DISK_DATA)
		ddf.disk = get_u32_be(own + 32);
	take_configuration(&ddf, set);
	return true;
}

bool set_read_ddf(struct source *source, struct set *set)
{
	const uint32_t sizes[] = {source_sector_size(source), 512};
	static const unsigned from_end[] = {1, 257}; /* the second: some controllers */

	for (size_t i = 0; i < 2; i++)
		for (size_t k = 0; k < 2; k++) {
			uint64_t sectors = source_size(source) / sizes[i];

			if (sectors > 1024 && read_at(source, sizes[i], sectors - from_end[k], set))
				return true;
		}
	return false;
}
