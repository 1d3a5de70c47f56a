/*
 * Fuzzes the partition tables and the recognising of file systems, over a drive in memory.
 *
 * The input is a byte of choices and then either the drive's first sectors themselves, or patches
 * of three bytes (offset, value) to a drive with a whole GPT, or MBR with a chain, on it. The
 * checksums of a GPT are put right afterwards when the input asks for it: otherwise no change would
 * get past them.
 */
#include "base/bytes.h"
#include "disk/partition.h"
#include "disk/room.h"

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

static void fill(uint8_t *drive, const uint8_t *data, size_t size)
{
	unsigned sector = data[0] & CHOOSE_SECTOR_4096 ? 4096 : 512;
	uint64_t last = DRIVE_SIZE / sector - 1;

	if (data[0] & CHOOSE_GPT)
		put_gpt(drive, sector);
	else
		put_mbr(drive);
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
	if (table_read(source, &arena, &findings, &table, &error))
		check_table(source, &table);
	findings_free(&findings);
	arena_free(&arena);
	source_close(source);
	return 0;
}
