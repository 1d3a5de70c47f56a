/*
 * Partition tables. The references: sfdisk makes the tables, libblkid reads them too; layouts by
 * the UEFI Specification 2.10, section 5.3. Lost tables: test_lost.c.
 */
#include "unit.h"

#include "table_result.h"

#include "base/bytes.h"
#include "disk/partition.h"

#include <blkid/blkid.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const struct partition *numbered(const struct table *table, unsigned number)
{
	for (size_t i = 0; i < table->count; i++)
		if (table->items[i].number == number)
			return &table->items[i];
	return NULL;
}

/* GUIDs as libblkid prints them: lower-case, no braces. */
static void check_guid(const struct guid *guid, const char *wanted)
{
	struct guid other;

	assert_non_null(wanted);
	assert_true(guid_from_text(wanted, &other));
	assert_true(guid_equal(guid, &other));
}

static void compare_entry(const struct table *table, blkid_partition entry)
{
	const struct partition *partition =
	    numbered(table, (unsigned)blkid_partition_get_partno(entry));
	const char *name = blkid_partition_get_name(entry);

	assert_non_null(partition);
	/* libblkid counts in 512 bytes always. */
	assert_int_equal(partition->offset, (uint64_t)blkid_partition_get_start(entry) * 512);
	assert_int_equal(partition->length, (uint64_t)blkid_partition_get_size(entry) * 512);
	if (table->kind == TABLE_GPT) {
		check_guid(&partition->id, blkid_partition_get_uuid(entry));
		check_guid(&partition->type, blkid_partition_get_type_string(entry));
		assert_string_equal(partition->name, name != NULL ? name : "");
	} else {
		assert_int_equal(partition->mbr_type, blkid_partition_get_type(entry));
	}
}

/* Everything that libblkid's own parser says about the table must be what ours says. */
static void compare_with_blkid(const struct table *table, const char *path, unsigned sector_size)
{
	blkid_probe probe = blkid_new_probe_from_filename(path);
	blkid_partlist list;
	size_t extended = 0;
	int count;

	assert_non_null(probe);
	if (sector_size != 512)
		assert_int_equal(blkid_probe_set_sectorsize(probe, sector_size), 0);
	blkid_probe_enable_partitions(probe, 1);
	list = blkid_probe_get_partitions(probe);
	assert_non_null(list);
	assert_string_equal(blkid_parttable_get_type(blkid_partlist_get_table(list)),
	    table->kind == TABLE_GPT ? "gpt" : "dos");
	if (table->kind == TABLE_GPT)
		check_guid(&table->disk_id, blkid_parttable_get_id(blkid_partlist_get_table(list)));
	else
		assert_int_equal(
		    strtoul(blkid_parttable_get_id(blkid_partlist_get_table(list)), NULL, 16),
		    table->disk_signature);
	count = blkid_partlist_numof_partitions(list);
	for (int i = 0; i < count; i++) {
		blkid_partition entry = blkid_partlist_get_partition(list, i);

		if (blkid_partition_is_extended(entry))
			extended++;
		else
			compare_entry(table, entry);
	}
	assert_int_equal(table->count, (size_t)count - extended);
	blkid_free_probe(probe);
}

static void check_ascending(const struct table *table)
{
	for (size_t i = 1; i < table->count; i++)
		assert_true(table->items[i - 1].offset <= table->items[i].offset);
}

#define GPT_SCRIPT                                                                                 \
	"label: gpt\nlabel-id: 6D1B4A2E-93C5-4F0B-8E77-0A1C52D3F901\n"                             \
	"start=%u, size=%u, type=C12A7328-F81F-11D2-BA4B-00A0C93EC93B, name=\"EFI\"\n"             \
	"size=%u, type=E3C9E316-0B5C-4DB8-817D-F92DF00215AE\n"                                     \
	"size=%u, type=EBD0A0A2-B9E5-4433-87C0-68B6B72699C7, name=\"Gem\u00fcse \u2014 data\"\n"   \
	"type=DE94BBA4-06D1-4D40-A16A-BFD50179D6AC, name=\"recovery\"\n"

static struct drive_image make_gpt(unsigned sector_size)
{
	struct drive_image image = image_make(64 * MIB);
	char script[1000];
	unsigned mib = MIB / sector_size;

	snprintf(script, sizeof(script), GPT_SCRIPT, mib, 4 * mib, 2 * mib, 40 * mib);
	image_sfdisk(&image, sector_size, script);
	return image;
}

static const unsigned sector_sizes[] = {512, 4096};

static void test_gpt(void **state)
{
	(void)state;
	for (size_t i = 0; i < 2; i++) {
		struct drive_image image = make_gpt(sector_sizes[i]);
		struct result result;
		const struct table *table = &result.table;

		read_table(&result, image.path, i == 0 ? "" : "sector 4096");
		assert_int_equal(table->kind, TABLE_GPT);
		assert_int_equal(table->sector_size, sector_sizes[i]);
		assert_false(table->from_backup);
		assert_int_equal(table->count, 4);
		check_ascending(table);
		compare_with_blkid(table, image.path, sector_sizes[i]);
		assert_string_equal(table->items[2].name, "Gem\u00fcse \u2014 data");
		assert_string_equal(partition_type_name(table, &table->items[0]), "EFI system");
		assert_true(partition_is_system(table, &table->items[0]));
		assert_true(partition_is_system(table, &table->items[1]));
		assert_false(partition_is_system(table, &table->items[2]));
		assert_true(partition_is_system(table, &table->items[3]));
		assert_int_equal(result.findings.count, 0);
		drop(&result);
		image_drop(&image);
	}
}

/* Seen through an adapter that shows another sector size than the table was written for. */
static void test_gpt_other_sector_size(void **state)
{
	(void)state;
	for (size_t i = 0; i < 2; i++) {
		struct drive_image image = make_gpt(sector_sizes[i]);
		struct result result;

		read_table(&result, image.path, i == 0 ? "sector 4096" : "sector 512");
		assert_int_equal(result.table.kind, TABLE_GPT);
		assert_int_equal(result.table.sector_size, sector_sizes[i]);
		compare_with_blkid(&result.table, image.path, sector_sizes[i]);
		drop(&result);
		image_drop(&image);
	}
}

/* Whatever is broken: all four partitions are found, with a finding. */
static void check_broken(
    struct drive_image *image, const char *script, bool backup, const char *finding)
{
	struct result result;

	read_table(&result, image->path, script);
	assert_int_equal(result.table.kind, TABLE_GPT);
	assert_int_equal(result.table.count, 4);
	assert_int_equal(result.table.from_backup, backup);
	assert_int_equal(numbered(&result.table, 3)->offset, 7 * MIB);
	assert_int_equal(numbered(&result.table, 3)->length, 40 * MIB);
	if (finding != NULL)
		assert_true(findings_have(&result.findings, finding));
	else
		assert_int_equal(result.findings.count, 0);
	drop(&result);
}

static void test_gpt_broken(void **state)
{
	static const uint8_t zeros[8192];
	uint8_t byte = 0x99;

	(void)state;
	for (size_t i = 0; i < 2; i++) {
		unsigned size = sector_sizes[i];
		struct drive_image image = make_gpt(size);
		uint8_t saved[8192];

		image_read(&image, 0, saved, sizeof(saved));
		/* The protective MBR is zeroed: libblkid stops here, we do not. */
		image_write(&image, 0, zeros, 512);
		check_broken(&image, "", false, "protective-mbr-lost");
		/* The main header is zeroed as well. */
		image_write(&image, size, zeros, 512);
		check_broken(&image, "", true, "gpt-from-backup");
		image_write(&image, 0, saved, sizeof(saved));
		check_broken(&image, "", false, NULL);
		/* One wrong byte in the header: its checksum fails, the entries are proven. */
		image_write(&image, size + 40, &byte, 1);
		check_broken(&image, "", true, "gpt-from-backup");
		image_write(&image, 0, saved, sizeof(saved));
		/* One wrong byte in the entries. */
		image_write(&image, 2 * size + 60, &byte, 1);
		check_broken(&image, "", true, "gpt-from-backup");
		/* And the backup is gone too: the entries as they stand, with a caution. */
		image_write(&image, image.size - size, zeros, size);
		check_broken(&image, "", false, "gpt-damaged");
		/* Sound again, but for the backup. */
		image_write(&image, 0, saved, sizeof(saved));
		image_write(&image, 2 * size, saved + 2 * size, sizeof(saved) - 2 * size);
		image_drop(&image);
	}
}

static void test_gpt_unreadable(void **state)
{
	struct drive_image image = make_gpt(512);

	(void)state;
	check_broken(&image, "fail 0 512", false, "protective-mbr-lost");
	check_broken(&image, "fail 512 512", true, "gpt-from-backup");
	check_broken(&image, "fail 0 8192", true, "gpt-from-backup");
	check_broken(&image, "fail 1024 512", true, "gpt-from-backup");
	check_broken(&image, "fail 67108352 512", false, "gpt-backup-broken");
	image_drop(&image);
}

static void test_gpt_header_damaged_everywhere(void **state)
{
	struct drive_image image = make_gpt(512);
	uint8_t byte = 0x99;

	(void)state;
	image_write(&image, 512 + 40, &byte, 1);
	image_write(&image, image.size - 512 + 40, &byte, 1);
	check_broken(&image, "", false, "gpt-damaged");
	image_drop(&image);
}

static void test_truncated_image(void **state)
{
	struct drive_image image = make_gpt(512);
	struct result result;

	(void)state;
	assert_int_equal(ftruncate(image.fd, 30 * MIB), 0);
	read_table(&result, image.path, "");
	assert_int_equal(result.table.kind, TABLE_GPT);
	/* The fourth begins behind the end, the third reaches over it. */
	assert_int_equal(result.table.count, 3);
	assert_true(findings_have(&result.findings, "drive-truncated"));
	assert_true(findings_have(&result.findings, "drive-shorter-than-table"));
	assert_true(findings_have(&result.findings, "partition-outside"));
	drop(&result);
	image_drop(&image);
}

/* Writes the fields of entry `index` of the main table. */
static void set_entry(struct drive_image *image, unsigned index, uint64_t first, uint64_t last)
{
	uint8_t range[16];

	put_u64(range, first);
	put_u64(range + 8, last);
	image_write(image, 1024 + 128 * index + 32, range, sizeof(range));
}

static void test_gpt_hostile_entries(void **state)
{
	struct drive_image image = make_gpt(512);
	struct result result;

	(void)state;
	set_entry(&image, 0, 5000, 4000);                 /* ends before it begins */
	set_entry(&image, 1, UINT64_MAX - 1, UINT64_MAX); /* far outside, and overflowing */
	set_entry(&image, 2, 3000, UINT64_MAX - 1);       /* over the end */
	set_entry(&image, 3, 4000, 5000);                 /* inside the third */
	image_fix_gpt(&image, 512, 512);
	read_table(&result, image.path, "");
	assert_int_equal(result.table.kind, TABLE_GPT);
	assert_int_equal(result.table.count, 2);
	assert_true(findings_have(&result.findings, "partition-range"));
	assert_true(findings_have(&result.findings, "partition-overlap"));
	assert_true(findings_have(&result.findings, "drive-truncated"));
	assert_true(result.table.items[0].offset + result.table.items[0].length >
		    result.table.items[0].offset);
	drop(&result);
	image_drop(&image);
}

/* Headers with valid checksums and impossible fields: the backup is used instead. */
static void test_gpt_hostile_headers(void **state)
{
	static const struct {
		unsigned at;
		uint64_t value;
		unsigned width;
	} changes[] = {
	    {80, 0xFFFFFFFF, 4},
	    {80, 0, 4},
	    {84, 0, 4},
	    {84, 64, 4},
	    {84, 0xFFFFFFF8, 4},
	    {84, 129, 4},
	    {72, UINT64_MAX, 8},
	    {72, 0, 8},
	    {24, 77, 8},
	    {12, 0, 4},
	    {12, 513, 4},
	    {12, 0xFFFFFFFF, 4},
	};

	(void)state;
	for (size_t i = 0; i < sizeof(changes) / sizeof(changes[0]); i++) {
		struct drive_image image = make_gpt(512);
		uint8_t bytes[8];

		put_u64(bytes, changes[i].value);
		image_write(&image, 512 + changes[i].at, bytes, changes[i].width);
		image_fix_gpt(&image, 512, 512);
		check_broken(&image, "", true, "gpt-from-backup");
		image_drop(&image);
	}
}

static void test_mbr(void **state)
{
	struct drive_image image = image_make(64 * MIB);
	struct result result;

	(void)state;
	image_sfdisk(&image, 512,
	    "label: dos\nlabel-id: 0x5EED1234\nstart=2048, size=20480, type=7, bootable\n"
	    "size=10240, type=27\ntype=f\nsize=8192, type=7\nsize=10240, type=b\n"
	    "size=4096, type=7\nsize=8192, type=83\n");
	read_table(&result, image.path, "");
	assert_int_equal(result.table.kind, TABLE_MBR);
	assert_int_equal(result.table.disk_signature, 0x5EED1234);
	assert_int_equal(result.table.count, 6);
	check_ascending(&result.table);
	compare_with_blkid(&result.table, image.path, 512);
	assert_non_null(numbered(&result.table, 8));
	assert_true(partition_is_system(&result.table, numbered(&result.table, 2)));
	assert_int_equal(result.findings.count, 0);
	drop(&result);
	image_drop(&image);
}

static void test_mbr_4096(void **state)
{
	struct drive_image image = image_make(64 * MIB);
	struct result result;

	(void)state;
	image_sfdisk(
	    &image, 4096, "label: dos\nstart=256, size=2560, type=7\ntype=f\nsize=512, type=7\n");
	read_table(&result, image.path, "sector 4096");
	assert_int_equal(result.table.kind, TABLE_MBR);
	compare_with_blkid(&result.table, image.path, 4096);
	drop(&result);
	/* As an image file it has 512; what lies where the entries lead decides. */
	put_ntfs(&image, MIB, 512, 10 * MIB / 512 - 1);
	read_table(&result, image.path, "");
	assert_int_equal(result.table.sector_size, 4096);
	assert_int_equal(numbered(&result.table, 1)->offset, MIB);
	compare_with_blkid(&result.table, image.path, 4096);
	drop(&result);
	image_drop(&image);
}

/* Puts one entry into the table in the sector at `offset`. */
static void put_mbr_entry(struct drive_image *image, uint64_t offset, unsigned index, uint8_t type,
    uint32_t start, uint32_t count)
{
	static const uint8_t signature[2] = {0x55, 0xAA};
	uint8_t entry[16] = {0};

	entry[4] = type;
	put_u32(entry + 8, start);
	put_u32(entry + 12, count);
	image_write(image, offset + 446 + 16 * index, entry, sizeof(entry));
	image_write(image, offset + 510, signature, sizeof(signature));
}

static void check_chain(struct drive_image *image, size_t count, bool broken)
{
	struct result result;

	read_table(&result, image->path, "");
	assert_int_equal(result.table.kind, TABLE_MBR);
	assert_int_equal(result.table.count, count);
	assert_int_equal(findings_have(&result.findings, "mbr-chain-broken"), broken);
	drop(&result);
}

static void test_mbr_hostile_chains(void **state)
{
	struct drive_image image = image_make(64 * MIB);

	(void)state;
	put_mbr_entry(&image, 0, 0, 0x07, 64, 64);
	put_mbr_entry(&image, 0, 1, 0x05, 128, 10000);
	check_chain(&image, 1, true); /* no table at the first link */
	put_mbr_entry(&image, 128 * 512, 0, 0x07, 1, 10);
	check_chain(&image, 2, false);
	put_mbr_entry(&image, 128 * 512, 1, 0x05, 0, 10); /* the first link is its own next */
	check_chain(&image, 2, true);
	put_mbr_entry(&image, 128 * 512, 1, 0x05, 100, 10);
	put_mbr_entry(&image, 228 * 512, 0, 0x07, 1, 10);
	put_mbr_entry(&image, 228 * 512, 1, 0x85, 0, 10); /* back to the first */
	check_chain(&image, 3, true);
	put_mbr_entry(&image, 228 * 512, 1, 0x0F, 0xFFFFFFF0, 10); /* over the end */
	check_chain(&image, 3, true);
	image_drop(&image);
}

/* A chain of 300 links: more than any real one has. */
static void test_mbr_long_chain(void **state)
{
	struct drive_image image = image_make(64 * MIB);

	(void)state;
	put_mbr_entry(&image, 0, 0, 0x05, 100, 100000);
	for (unsigned i = 0; i < 300; i++) {
		uint64_t offset = (100 + 10 * i) * 512ull;

		put_mbr_entry(&image, offset, 0, 0x07, 1, 5);
		put_mbr_entry(&image, offset, 1, 0x05, 10 * (i + 1), 10);
	}
	check_chain(&image, 256, true);
	image_drop(&image);
}

/* One volume without a table, although its boot sector carries the signature of an MBR too. */
static void test_single_volume(void **state)
{
	struct drive_image image = image_make(8 * MIB);
	struct result result;
	char command[160];

	(void)state;
	put_ntfs(&image, 0, 512, 8 * MIB / 512 - 1);
	put_ntfs(&image, 8 * MIB - 512, 512, 8 * MIB / 512 - 1);
	read_table(&result, image.path, "");
	assert_int_equal(result.table.kind, TABLE_NONE);
	assert_int_equal(result.table.count, 1);
	assert_int_equal(result.table.items[0].length, 8 * MIB);
	assert_int_equal(result.findings.count, 0);
	drop(&result);
	/* Its first sector cannot be read: the copy at the end tells. */
	read_table(&result, image.path, "fail 0 512");
	assert_int_equal(result.table.count, 1);
	assert_int_equal(filesystem_recognise(result.source, 0, 8 * MIB), FILESYSTEM_NTFS);
	assert_int_equal(filesystem_recognise(result.source, 0, 7 * MIB), FILESYSTEM_NONE);
	drop(&result);
	image_drop(&image);

	image = image_make(8 * MIB);
	snprintf(command, sizeof(command), "PATH=$PATH:/usr/sbin:/sbin mkfs.fat %s >/dev/null",
	    image.path);
	assert_int_equal(system(command), 0);
	read_table(&result, image.path, "");
	assert_int_equal(result.table.kind, TABLE_NONE);
	assert_int_equal(result.table.count, 1);
	assert_int_equal(filesystem_recognise(result.source, 0, 8 * MIB), FILESYSTEM_FAT);
	drop(&result);
	image_drop(&image);
}

static void test_nothing(void **state)
{
	struct drive_image image = image_make(700);
	struct result result;

	(void)state;
	read_table(&result, image.path, "");
	assert_int_equal(result.table.kind, TABLE_NONE);
	assert_int_equal(result.table.count, 0);
	assert_true(findings_have(&result.findings, "table-none"));
	drop(&result);
	image_drop(&image);
}

/* A drive that was set up anew with an MBR, over a GPT that still stands behind it. */
static void test_mbr_over_old_gpt(void **state)
{
	struct drive_image image = make_gpt(512);
	struct result result;

	(void)state;
	put_mbr_entry(&image, 0, 0, 0x07, 4096, 8192);
	image_write(&image, 440, "\x12\x34\x56\x78", 4); /* libblkid gives no id for zero */
	read_table(&result, image.path, "");
	assert_int_equal(result.table.kind, TABLE_MBR);
	assert_int_equal(result.table.count, 1);
	compare_with_blkid(&result.table, image.path, 512);
	drop(&result);
	image_drop(&image);
}

/*
 * A drive that was one volume and then got a table: tools write the table's 66 bytes and leave the
 * boot sector around them. A table that leads nowhere is taken for a part of the boot sector.
 */
static void test_mbr_in_old_boot_sector(void **state)
{
	struct drive_image image = image_make(16 * MIB);
	struct result result;

	(void)state;
	put_ntfs(&image, 0, 512, 16 * MIB / 512 - 1);
	put_mbr_entry(&image, 0, 0, 0x07, 2048, 8192);
	read_table(&result, image.path, "");
	assert_int_equal(result.table.kind, TABLE_NONE);
	assert_int_equal(result.table.count, 1);
	assert_int_equal(result.table.items[0].length, 16 * MIB);
	drop(&result);
	put_ntfs(&image, 2048 * 512, 512, 8191);
	read_table(&result, image.path, "");
	assert_int_equal(result.table.kind, TABLE_MBR);
	assert_int_equal(result.table.count, 1);
	assert_int_equal(result.table.items[0].offset, 2048 * 512);
	drop(&result);
	image_drop(&image);
}

static void test_dynamic_disk(void **state)
{
	struct drive_image image = image_make(8 * MIB);
	struct result result;

	(void)state;
	put_mbr_entry(&image, 0, 0, 0x42, 63, 4096);
	read_table(&result, image.path, "");
	assert_int_equal(result.table.count, 1);
	assert_true(findings_have(&result.findings, "partition-of-pieces"));
	drop(&result);
	image_drop(&image);
}

/*
 * The type name strings come from Microsoft's and the UEFI forum's documents; see partition_type.c.
 */
static void test_filesystems(void **state)
{
	static const struct {
		unsigned at;
		const char *bytes;
		size_t length;
		enum filesystem wanted;
	} cases[] = {
	    {3, "EXFAT   ", 8, FILESYSTEM_EXFAT},
	    {3, "-FVE-FS-", 8, FILESYSTEM_ENCRYPTED},
	    {3, "ReFS\0\0\0\0\0\0\0\0\0FSRS", 17, FILESYSTEM_REFS},
	    {1080, "\x53\xEF", 2, FILESYSTEM_EXT},
	    {32769, "CD001", 5, FILESYSTEM_OTHER},
	    {0, "nothing", 7, FILESYSTEM_NONE},
	};

	(void)state;
	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		struct drive_image image = image_make(MIB);
		struct result result;

		image_write(&image, cases[i].at, cases[i].bytes, cases[i].length);
		read_table(&result, image.path, "");
		assert_int_equal(filesystem_recognise(result.source, 0, MIB), cases[i].wanted);
		assert_non_null(filesystem_name(cases[i].wanted));
		drop(&result);
		image_drop(&image);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_gpt),
	    cmocka_unit_test(test_gpt_other_sector_size),
	    cmocka_unit_test(test_gpt_broken),
	    cmocka_unit_test(test_gpt_unreadable),
	    cmocka_unit_test(test_gpt_header_damaged_everywhere),
	    cmocka_unit_test(test_truncated_image),
	    cmocka_unit_test(test_gpt_hostile_entries),
	    cmocka_unit_test(test_gpt_hostile_headers),
	    cmocka_unit_test(test_mbr),
	    cmocka_unit_test(test_mbr_4096),
	    cmocka_unit_test(test_mbr_hostile_chains),
	    cmocka_unit_test(test_mbr_long_chain),
	    cmocka_unit_test(test_single_volume),
	    cmocka_unit_test(test_nothing),
	    cmocka_unit_test(test_mbr_over_old_gpt),
	    cmocka_unit_test(test_filesystems),
	    cmocka_unit_test(test_mbr_in_old_boot_sector),
	    cmocka_unit_test(test_dynamic_disk),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
