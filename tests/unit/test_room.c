/*
 * Labels and free room. The references: mkfs.fat, mkfs.exfat and mke2fs make the volumes, libblkid
 * reads their labels; how much is free on volumes with files is compared with the file systems' own
 * tools in tests/run/room.py. What fields mean: the sources named in src/disk/room.h.
 */
#include "unit.h"

#include "drive_image.h"

#include "base/bits.h"
#include "base/bytes.h"
#include "disk/room.h"

#include <blkid/blkid.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define KIB 1024u
#define MIB (1024u * 1024)

static struct room look(
    const char *path, const char *script, struct arena *arena, enum filesystem *filesystem)
{
	struct error error;
	struct device *device = device_open_test(path, script, &error);
	struct source *source;
	struct room room;

	assert_non_null(device);
	source = source_open(device, &error);
	assert_non_null(source);
	*filesystem = filesystem_recognise(source, 0, source_size(source));
	room = room_read(source, 0, source_size(source), *filesystem, arena);
	source_close(source);
	return room;
}

static struct drive_image make(uint64_t size, const char *command)
{
	struct drive_image image = image_make(size);
	char line[500];

	snprintf(line, sizeof(line), "PATH=$PATH:/usr/sbin:/sbin; %s %s >/dev/null 2>&1", command,
	    image.path);
	assert_int_equal(system(line), 0);
	return image;
}

static void blkid_label(const char *path, char *out, size_t size)
{
	blkid_probe probe = blkid_new_probe_from_filename(path);
	const char *label;

	assert_non_null(probe);
	blkid_probe_enable_superblocks(probe, 1);
	blkid_probe_set_superblocks_flags(probe, BLKID_SUBLKS_LABEL);
	assert_int_equal(blkid_do_safeprobe(probe), 0);
	snprintf(out, size, "%s",
	    blkid_probe_lookup_value(probe, "LABEL", &label, NULL) == 0 ? label : "");
	blkid_free_probe(probe);
}

static const struct kind {
	const char *command;
	uint32_t size;
	enum filesystem filesystem;
} kinds[] = {
    {"mkfs.vfat -F 12 -n 'PLOT 12'", 3 * MIB, FILESYSTEM_FAT},
    {"mkfs.vfat -F 12 -s 1", 720 * KIB, FILESYSTEM_FAT},
    {"mkfs.vfat -F 16 -n FERNHILL", 20 * MIB, FILESYSTEM_FAT},
    {"mkfs.vfat -F 32 -n COLDLIFT", 40 * MIB, FILESYSTEM_FAT},
    {"mkfs.vfat -F 32 -S 4096 -s 1 -f 1", 300 * MIB, FILESYSTEM_FAT},
    {"mkfs.exfat -L 'Beete \xC3\xBC \xE2\x80\x94 2'", 8 * MIB, FILESYSTEM_EXFAT},
    {"mkfs.exfat -c 4096", 40 * MIB, FILESYSTEM_EXFAT},
    {"mke2fs -q -F -t ext2 -b 1024 -L allotments", 4 * MIB, FILESYSTEM_EXT},
    {"mke2fs -q -F -t ext3", 12 * MIB, FILESYSTEM_EXT},
    {"mke2fs -q -F -t ext4 -O 64bit -L 'G\xC3\xA4rten der Gemei'", 20 * MIB, FILESYSTEM_EXT},
};
#define KINDS (sizeof(kinds) / sizeof(kinds[0]))

static void test_labels(void **state)
{
	(void)state;
	for (size_t i = 0; i < KINDS; i++) {
		struct drive_image image = make(kinds[i].size, kinds[i].command);
		enum filesystem filesystem;
		struct arena arena = {0};
		struct room room = look(image.path, "", &arena, &filesystem);
		char wanted[100];

		blkid_label(image.path, wanted, sizeof(wanted));
		assert_int_equal(filesystem, kinds[i].filesystem);
		assert_non_null(room.label);
		assert_string_equal(room.label, wanted);
		assert_true(room.free > kinds[i].size / 3 && room.free <= kinds[i].size);
		arena_free(&arena);
		image_drop(&image);
	}
}

/* Cut off anywhere, a volume tells less and never anything else. */
static void test_truncated(void **state)
{
	static const uint32_t sizes[] = {512, 1024, 1536, 2048, 4096, 9000, 16384, 40000, 100000,
	    262144, 600000, 1048576, 2000000};

	(void)state;
	for (size_t i = 0; i < KINDS; i++) {
		struct drive_image image = make(kinds[i].size, kinds[i].command);
		enum filesystem filesystem;
		struct arena arena = {0};
		struct room whole = look(image.path, "", &arena, &filesystem);

		for (size_t k = 0; k < sizeof(sizes) / sizeof(sizes[0]); k++) {
			char script[40];
			struct room room;

			snprintf(script, sizeof(script), "size %u\n", sizes[k]);
			room = look(image.path, script, &arena, &filesystem);
			if (room.label != NULL && *room.label != '\0')
				assert_string_equal(room.label, whole.label);
			if (room.free != ROOM_UNKNOWN)
				assert_int_equal(room.free, whole.free);
		}
		arena_free(&arena);
		image_drop(&image);
	}
}

/* The boot sector's fields of a FAT volume: Microsoft FAT specification 1.03. */
static void fat_places(struct drive_image *image, uint64_t *table, uint64_t *root, uint64_t *heap)
{
	uint8_t boot[512];

	image_read(image, 0, boot, sizeof(boot));
	*table = (uint64_t)get_u16(boot + 14) * get_u16(boot + 11);
	*root = *table + (uint64_t)boot[16] * get_u16(boot + 11) *
			     (get_u16(boot + 22) != 0 ? get_u16(boot + 22) : get_u32(boot + 36));
	*heap = *root + get_u16(boot + 17) * 32u;
}

static void test_fat_holes(void **state)
{
	struct drive_image image = make(20 * MIB, "mkfs.vfat -F 16 -n FERNHILL");
	uint64_t table, root, heap;
	enum filesystem filesystem;
	struct arena arena = {0};
	struct room room;
	char script[80];

	(void)state;
	fat_places(&image, &table, &root, &heap);
	/* Without its root folder the boot sector's copy of the label has to do. */
	snprintf(script, sizeof(script), "fail %llu 512\n", (unsigned long long)root);
	room = look(image.path, script, &arena, &filesystem);
	assert_string_equal(room.label, "FERNHILL");
	assert_true(room.free == ROOM_UNKNOWN); /* nothing more is asked of such a drive */
	snprintf(script, sizeof(script), "fail %llu 512\n", (unsigned long long)table + 512);
	room = look(image.path, script, &arena, &filesystem);
	assert_string_equal(room.label, "FERNHILL");
	assert_true(room.free == ROOM_UNKNOWN);
	image_write(&image, 43, "NO NAME    ", 11);
	snprintf(script, sizeof(script), "fail %llu 512\n", (unsigned long long)root);
	assert_null(look(image.path, script, &arena, &filesystem).label);
	arena_free(&arena);
	image_drop(&image);
}

static const char *fat_label(struct drive_image *image, struct arena *arena)
{
	enum filesystem filesystem;

	return look(image->path, "", arena, &filesystem).label;
}

/* Entries that only resemble a label: FAT specification 1.03, "FAT Directory Structure". */
static void test_fat_entries(void **state)
{
	struct drive_image image = make(20 * MIB, "mkfs.vfat -F 16");
	uint8_t entries[3][32] = {{0}};
	uint64_t table, root, heap;
	struct arena arena = {0};

	(void)state;
	fat_places(&image, &table, &root, &heap);
	memcpy(entries[0], "\xE5LD NAME   \x08", 12); /* deleted */
	memcpy(entries[1], "AS.TXT     \x0F", 12);    /* a piece of a long name */
	memcpy(entries[2], "\x05LOT\x84 \x1B 7  \x08", 12);
	image_write(&image, root, entries, sizeof(entries));
	assert_string_equal(
	    fat_label(&image, &arena), "\xEF\xBF\xBDLOT\xEF\xBF\xBD \xEF\xBF\xBD 7");
	entries[1][0] = 0; /* the end: nothing counts behind it */
	image_write(&image, root, entries, sizeof(entries));
	assert_string_equal(fat_label(&image, &arena), "");
	/* All of it folders and long names. */
	for (uint64_t at = root; at < heap; at += sizeof(entries)) {
		memcpy(entries[0], "BEETE      \x10", 12);
		memcpy(entries[1], "AS.TXT     \x0F", 12);
		memcpy(entries[2], "PLANS      \x18", 12); /* both bits: nothing that may be */
		image_write(&image, at, entries,
		    heap - at < sizeof(entries) ? (size_t)(heap - at) : sizeof(entries));
	}
	assert_string_equal(fat_label(&image, &arena), "");
	arena_free(&arena);
	image_drop(&image);
}

/* FSInfo is believed when it can be, and the table counted otherwise. */
static void test_fat_note(void **state)
{
	struct drive_image image = make(40 * MIB, "mkfs.vfat -F 32 -s 1");
	uint64_t table, root, heap;
	enum filesystem filesystem;
	struct arena arena = {0};
	struct room room = look(image.path, "", &arena, &filesystem);
	uint8_t number[4];
	uint64_t free = room.free;

	(void)state;
	fat_places(&image, &table, &root, &heap);
	put_u32(number, 1000);
	image_write(&image, 512 + 488, number, 4);
	assert_int_equal(look(image.path, "", &arena, &filesystem).free, 1000 * 512);
	put_u32(number, 0xFFFFFFFF);
	image_write(&image, 512 + 488, number, 4);
	assert_int_equal(look(image.path, "", &arena, &filesystem).free, free);
	put_u32(number, 0x10000000); /* more clusters than there are */
	image_write(&image, 512 + 488, number, 4);
	assert_int_equal(look(image.path, "", &arena, &filesystem).free, free);
	/* Not put away properly: the note is old. */
	put_u32(number, 1000);
	image_write(&image, 512 + 488, number, 4);
	put_u32(number, 0x07FFFFFF);
	image_write(&image, table + 4, number, 4);
	assert_int_equal(look(image.path, "", &arena, &filesystem).free, free);
	/* One cluster more in use; the four upper bits of an entry do not count. */
	put_u32(number, 0xF0000000);
	image_write(&image, table + 4 * 1000, number, 4);
	assert_int_equal(look(image.path, "", &arena, &filesystem).free, free);
	put_u32(number, 0x0FFFFFFF);
	image_write(&image, table + 4 * 1000, number, 4);
	assert_int_equal(look(image.path, "", &arena, &filesystem).free, free - 512);
	arena_free(&arena);
	image_drop(&image);
}

/* A root folder whose chain leads back into itself, or nowhere. */
static void test_chain_loops(void **state)
{
	struct drive_image image = make(40 * MIB, "mkfs.vfat -F 32 -s 1");
	uint8_t entry[32] = "BEETE      \x10", number[4];
	uint64_t table, root, heap;
	struct arena arena = {0};

	(void)state;
	fat_places(&image, &table, &root, &heap);
	for (unsigned i = 0; i < 16; i++)
		image_write(&image, root + 32 * i, entry, sizeof(entry));
	put_u32(number, 2);
	image_write(&image, table + 8, number, 4);
	assert_null(fat_label(&image, &arena));
	put_u32(number, 0x0FFFFFF0);
	image_write(&image, table + 8, number, 4);
	assert_null(fat_label(&image, &arena));
	put_u32(number, 0x0FFFFFF8);
	image_write(&image, table + 8, number, 4);
	assert_string_equal(fat_label(&image, &arena), "");
	arena_free(&arena);
	image_drop(&image);
}

/* Every byte of the first kilobytes wrong in turn: no crash, no more room than the volume has. */
static void test_wrong_bytes(void **state)
{
	(void)state;
	for (size_t i = 0; i < KINDS; i += 3) {
		struct drive_image image = make(kinds[i].size, kinds[i].command);
		enum filesystem filesystem;
		struct arena arena = {0};

		for (unsigned at = 0; at < 1400; at += at < 130 || at > 1000 ? 1 : 37) {
			uint8_t old, wrong;
			struct room room;

			image_read(&image, at, &old, 1);
			for (unsigned k = 0; k < 3; k++) {
				wrong = k == 0 ? 0xFF : k == 1 ? 0 : old ^ 0x40;
				image_write(&image, at, &wrong, 1);
				room = look(image.path, "", &arena, &filesystem);
				assert_true(
				    room.free == ROOM_UNKNOWN || room.free <= kinds[i].size);
			}
			image_write(&image, at, &old, 1);
		}
		arena_free(&arena);
		image_drop(&image);
	}
}

static void test_bits(void **state)
{
	uint8_t bytes[40];

	(void)state;
	for (unsigned count = 0; count <= 8 * sizeof(bytes); count++) {
		unsigned zeros = 0;

		for (size_t i = 0; i < sizeof(bytes); i++)
			bytes[i] = (uint8_t)(0xA7 * i + count);
		for (unsigned i = 0; i < count; i++)
			zeros += (bytes[i / 8] >> i % 8 & 1) == 0;
		assert_int_equal(bits_count_zeros(bytes, count), zeros);
	}
}

int main(void)
{
	static const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_labels),
	    cmocka_unit_test(test_truncated),
	    cmocka_unit_test(test_fat_holes),
	    cmocka_unit_test(test_fat_entries),
	    cmocka_unit_test(test_fat_note),
	    cmocka_unit_test(test_chain_loops),
	    cmocka_unit_test(test_wrong_bytes),
	    cmocka_unit_test(test_bits),
	};

	return cmocka_run_group_tests_name("room", tests, NULL, NULL);
}
