/*
 * Fuzzes the partition tables and the recognising of file systems, over a drive in memory.
 *
 * The input is a byte of choices and then either the drive's first sectors themselves, or patches
 * of three bytes (offset, value) to a drive with a whole GPT, or MBR with a chain, on it. The
 * checksums of a GPT, and of the description of a set, are put right afterwards when the input asks
 * for it: otherwise no change would get past them.
 */
#include "base/bytes.h"
#include "disk/partition.h"
#include "disk/room.h"
#include "disk/sets.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#define DRIVE_SIZE (256u * 1024)

enum choice {
	CHOOSE_PATCHES = 1,
	CHOOSE_GPT = 2,
	CHOOSE_SECTOR_4096 = 4,
	CHOOSE_MEND = 8,
	CHOOSE_SHORT = 16, /* the drive ends in the middle of everything */
	CHOOSE_SET = 32,   /* the drive belongs to a set of Intel RST */
	CHOOSE_DYNAMIC = 64,
};

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static ssize_t memory_read(struct device *device, uint64_t offset, void *buffer, size_t length)
{
	if (offset >= device->size)
		return 0;
	if (length > device->size - offset)
		length = (size_t)(device->size - offset);
	memcpy(buffer, (const uint8_t *)device->state + offset, length);
	return (ssize_t)length;
}

static void memory_close(struct device *device)
{
	free(device->state);
}

static const struct device_ops memory_ops = {memory_read, memory_close};

static void put_mbr_entry(
    uint8_t *sector, unsigned index, uint8_t type, uint32_t start, uint32_t count)
{
	sector[446 + 16 * index + 4] = type;
	put_u32(sector + 446 + 16 * index + 8, start);
	put_u32(sector + 446 + 16 * index + 12, count);
	put_u16(sector + 510, 0xAA55);
}

static void put_mbr(uint8_t *drive)
{
	put_mbr_entry(drive, 0, 0x07, 64, 64);
	memcpy(drive + 64 * 512 + 3, "NTFS    ", 8);
	put_u16(drive + 64 * 512 + 11, 512);
	put_mbr_entry(drive, 1, 0x0F, 200, 200);
	for (unsigned i = 0; i < 4; i++) {
		put_mbr_entry(drive + (200 + 40 * i) * 512, 0, 0x07, 1, 20);
		put_mbr_entry(drive + (200 + 40 * i) * 512, 1, 0x05, 40 * (i + 1), 40);
	}
}

static void put_gpt_header(
    uint8_t *drive, unsigned sector, uint64_t own, uint64_t other, uint64_t entries)
{
	uint8_t *header = drive + own * sector;
	uint8_t *entry = drive + entries * sector;

	memcpy(header, "EFI PART", 8);
	put_u32(header + 8, 0x10000);
	put_u32(header + 12, 92);
	put_u64(header + 24, own);
	put_u64(header + 32, other);
	put_u64(header + 72, entries);
	put_u32(header + 80, 8);
	put_u32(header + 84, 128);
	for (unsigned i = 0; i < 3; i++, entry += 128) {
		memset(entry, 0x11 * (int)(i + 1), 32);
		put_u64(entry + 32, 10 + 10 * i);
		put_u64(entry + 40, 19 + 10 * i);
		put_u16(entry + 56, 'A');
	}
}

static void put_gpt(uint8_t *drive, unsigned sector)
{
	uint64_t last = DRIVE_SIZE / sector - 1;

	put_mbr_entry(drive, 0, 0xEE, 1, 0xFFFFFFFF);
	put_gpt_header(drive, sector, 1, last, 2);
	put_gpt_header(drive, sector, last, 1, last - 2);
}

static void mend_header(uint8_t *drive, unsigned sector, uint64_t own)
{
	uint8_t *header = drive + own * sector;
	uint64_t entries = get_u64(header + 72);
	uint64_t length = (uint64_t)get_u32(header + 80) * get_u32(header + 84);
	uint32_t size = get_u32(header + 12);

	if (entries < DRIVE_SIZE / sector && length <= DRIVE_SIZE - entries * sector)
		put_u32(header + 88, (uint32_t)crc32(0, drive + entries * sector, (uInt)length));
	put_u32(header + 16, 0);
	if (size <= sector)
		put_u32(header + 16, (uint32_t)crc32(0, header, size));
}

/* Two drives and a mirror of them; see src/disk/set_rst.c. */
static void put_set(uint8_t *drive)
{
	uint8_t *block = drive + DRIVE_SIZE - 1024, *volume = block + 0xD8 + 2 * 48;

	memcpy(block, "Intel Raid ISM Cfg Sig. 1.1.00", 30);
	put_u32(block + 0x24, 0xD8 + 2 * 48 + 168);
	block[0x38] = 2;
	block[0x39] = 1;
	memcpy(block + 0xD8, "FERN", 4);
	volume[112 + 15] = 1;
	volume[112 + 16] = 2;
}

static void mend_set(uint8_t *drive)
{
	uint8_t *block = drive + DRIVE_SIZE - 1024;
	uint32_t sum = 0;

	put_u32(block + 0x20, 0);
	for (uint32_t i = 0; i + 4 <= get_u32(block + 0x24) && i < 512; i += 4)
		sum += get_u32(block + i);
	put_u32(block + 0x20, sum);
}

static void put_be(uint8_t *at, uint32_t value)
{
	for (int i = 0; i < 4; i++)
		at[i] = (uint8_t)(value >> (24 - 8 * i));
}

/* A volume in one piece on the only disk; see src/disk/ldm.c. */
static void put_dynamic(uint8_t *drive)
{
	static const uint8_t disk[] = {0, 0, 0, 0x34, 0, 0, 0, 40, 1, 10, 0, 36};
	static const uint8_t volume[] = {0, 0, 0, 0x51, 0, 0, 0, 60, 1, 20, 1, 'V', 3, 'g', 'e',
	    'n', 0, 'A', [38] = 1, 1, [56] = 1, 100};
	static const uint8_t component[] = {
	    0, 0, 0, 0x32, 0, 0, 0, 40, 1, 30, 0, 0, 2, 0, 0, 0, 0, 1, 1, [35] = 1, 20};
	static const uint8_t piece[] = {0, 0, 0, 0x33, 0, 0, 0, 40, 1, 40, 0, [30] = 64, [39] = 1, 100,
	    1, 30, 1, 10};
	static const struct {
		const uint8_t *data;
		size_t length;
	} records[] = {{disk, sizeof(disk)}, {volume, sizeof(volume)},
	    {component, sizeof(component)}, {piece, sizeof(piece)}};
	uint32_t start = DRIVE_SIZE / 512 - 60;
	uint8_t *head = drive + 6 * 512, *database = drive + start * 512 + 17 * 512;

	put_mbr_entry(drive, 0, 0x42, 63, 400);
	memcpy(head, "PRIVHEAD", 8);
	memset(head + 0x30, '0', 36);
	put_be(head + 0x11F, 63);
	put_be(head + 0x12F, start);
	put_be(head + 0x137, 60);
	memcpy(drive + start * 512 + 512, "TOCBLOCK", 8);
	memcpy(drive + start * 512 + 512 + 0x24, "config", 6);
	drive[start * 512 + 512 + 0x35] = 17;
	memcpy(database, "VMDB", 4);
	put_be(database + 8, 128);
	put_be(database + 12, 512);
	for (unsigned i = 0; i < 4; i++) {
		uint8_t *block = database + 512 + 128 * i;

		memcpy(block, "VBLK", 4);
		put_be(block + 8, i + 1);
		block[15] = 1;
		memcpy(block + 16, records[i].data, records[i].length);
	}
	memcpy(database + 512 + 28, "00000000-0000-0000-0000-000000000000", 36);
	memcpy(head + 0x30, "00000000-0000-0000-0000-000000000000", 36);
}

static void fill(uint8_t *drive, const uint8_t *data, size_t size)
{
	unsigned sector = data[0] & CHOOSE_SECTOR_4096 ? 4096 : 512;
	uint64_t last = DRIVE_SIZE / sector - 1;

	if (data[0] & CHOOSE_GPT)
		put_gpt(drive, sector);
	else
		put_mbr(drive);
	if (data[0] & CHOOSE_SET)
		put_set(drive);
	if (data[0] & CHOOSE_DYNAMIC)
		put_dynamic(drive);
	if (data[0] & CHOOSE_PATCHES) {
		for (size_t i = 1; i + 3 <= size; i += 3) {
			uint32_t at = get_u16(data + i);

			/* The first and the last 32 KiB, where everything lies. */
			drive[at < 32768 ? at : DRIVE_SIZE - 65536 + at] = data[i + 2];
		}
	} else {
		memcpy(drive, data + 1, size - 1 < DRIVE_SIZE ? size - 1 : DRIVE_SIZE);
	}
	if (data[0] & CHOOSE_MEND) {
		mend_header(drive, sector, 1);
		mend_header(drive, sector, last);
		if (data[0] & CHOOSE_SET)
			mend_set(drive);
	}
}

static void check_room(struct source *source, const struct partition *partition)
{
	enum filesystem filesystem =
	    filesystem_recognise(source, partition->offset, partition->length);
	struct arena arena = {0};
	struct room room;

	filesystem_name(filesystem);
	/* Also where it was not recognised: the readers must stand anything. */
	for (unsigned i = FILESYSTEM_NONE; i <= FILESYSTEM_OTHER; i++) {
		room = room_read(
		    source, partition->offset, partition->length, (enum filesystem)i, &arena);
		if (room.free != ROOM_UNKNOWN && room.free > partition->length)
			abort();
	}
	arena_free(&arena);
}

static void check_table(struct source *source, const struct table *table)
{
	for (size_t i = 0; i < table->count; i++) {
		const struct partition *partition = &table->items[i];

		if (partition->offset >= source_size(source) || partition->length == 0 ||
		    partition->length > INT64_MAX || partition->name == NULL)
			abort();
		if (i > 0 && table->items[i - 1].offset > partition->offset)
			abort();
		partition_type_name(table, partition);
		partition_is_system(table, partition);
		check_room(source, partition);
	}
}

static void check_set(struct source *source, const struct table *table)
{
	struct findings findings;
	struct set set;
	struct set_member member = {.path = "drive", .set = &set, .table = table};

	set_recognise(source, "FERN", table, &set);
	if (strnlen(set.name, sizeof(set.name)) == sizeof(set.name) ||
	    strnlen(set.others, sizeof(set.others)) == sizeof(set.others))
		abort();
	for (size_t i = 0; i < table->count; i++)
		set_shows_whole(&set, source, &table->items[i]);
	findings_init(&findings);
	sets_say(&member, 1, SETS_CHOSEN, &findings);
	/* A drive that belongs to something is never passed over in silence. */
	if (set.kind != SET_NONE && !set.readable_alone && findings.count == 0)
		abort();
	findings_free(&findings);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct findings findings;
	struct arena arena = {0};
	struct table table;
	struct error error;
	struct device *device;
	struct source *source;

	if (size < 1)
		return 0;
	device = device_new(&memory_ops, "drive");
	if (device == NULL)
		return 0;
	device->state = calloc(1, DRIVE_SIZE);
	if (device->state == NULL)
		abort();
	device->size = data[0] & CHOOSE_SHORT ? DRIVE_SIZE / 3 + 100 : DRIVE_SIZE;
	device->sector_size = data[0] & CHOOSE_SECTOR_4096 ? 4096 : 512;
	fill(device->state, data, size);
	source = source_open(device, &error);
	if (source == NULL)
		return 0;
	findings_init(&findings);
	if (table_read(source, &arena, &findings, &table, &error)) {
		check_table(source, &table);
		check_set(source, &table);
	}
	findings_free(&findings);
	arena_free(&arena);
	source_close(source);
	return 0;
}
