/*
 * Tests of src/ntfs: boot sectors, fixups, records and their attributes, attribute lists.
 *
 * Sources: linux-ntfs documentation, "$Boot", "Fixup" (with its worked example), "File record",
 * "Attribute header", "$ATTRIBUTE_LIST". The code for large clusters in the boot sector (0xF4 for
 * 4,096 sectors and the like): common practice, no source.
 */
#include "unit.h"

#include "base/bytes.h"
#include "ntfs/attrlist.h"
#include "ntfs/boot.h"
#include "ntfs/record.h"
#include "ntfs/reparse.h"

#include <string.h>

static void make_boot(uint8_t *bytes, unsigned sector, uint8_t cluster, uint8_t record)
{
	memset(bytes, 0, BOOT_SIZE);
	memcpy(bytes + 3, "NTFS    ", 8);
	put_u16(bytes + 0x0B, (uint16_t)sector);
	bytes[0x0D] = cluster;
	put_u64(bytes + 0x28, 1 << 20);
	put_u64(bytes + 0x30, 4);
	put_u64(bytes + 0x38, 2);
	bytes[0x40] = record;
	put_u64(bytes + 0x48, 0x1122334455667788);
}

static void check_boot(
    unsigned sector, uint8_t cluster, uint8_t record, uint32_t cluster_size, uint32_t record_size)
{
	uint8_t bytes[BOOT_SIZE];
	struct boot boot;

	make_boot(bytes, sector, cluster, record);
	assert_true(boot_parse(&boot, bytes));
	assert_int_equal(boot.sector_size, sector);
	assert_int_equal(boot.cluster_size, cluster_size);
	assert_int_equal(boot.record_size, record_size);
	assert_true(boot.clusters == (UINT64_C(1) << 20) * sector / cluster_size);
}

static void test_boot(void **state)
{
	uint8_t bytes[BOOT_SIZE];
	struct boot boot;

	(void)state;
	check_boot(512, 8, 0xF6, 4096, 1024);
	check_boot(512, 1, 2, 512, 1024);
	check_boot(512, 128, 0xF6, 65536, 1024);
	check_boot(512, 0xF8, 0xF6, 131072, 1024);
	check_boot(512, 0xF4, 0xF6, 2097152, 1024);
	check_boot(4096, 1, 1, 4096, 4096);
	check_boot(4096, 1, 0xF4, 4096, 4096);
	static const uint8_t bad_clusters[] = {0, 3, 127, 129, 0xF3, 0x80 + 1};

	for (size_t i = 0; i < sizeof(bad_clusters); i++) {
		make_boot(bytes, 512, bad_clusters[i], 0xF6);
		assert_false(boot_parse(&boot, bytes));
	}
	make_boot(bytes, 512, 8, 0);
	assert_false(boot_parse(&boot, bytes));
	make_boot(bytes, 512, 8, 0xE0);
	assert_false(boot_parse(&boot, bytes));
	make_boot(bytes, 511, 8, 0xF6);
	assert_false(boot_parse(&boot, bytes));
	make_boot(bytes, 512, 8, 0xF6);
	put_u64(bytes + 0x28, UINT64_MAX);
	assert_false(boot_parse(&boot, bytes));
	make_boot(bytes, 512, 8, 0xF6);
	put_u64(bytes + 0x30, UINT64_C(1) << 40);
	assert_false(boot_parse(&boot, bytes));
}

static void test_backups(void **state)
{
	(void)state;
	assert_true(boot_backup_offset(1 << 20, 0) == (1 << 20) - 512);
	assert_true(boot_backup_offset((1 << 20) + 100, 0) == (1 << 20) - 512);
	assert_true(boot_backup_offset(1 << 20, 2) == (1 << 20) - 4096);
	assert_true(boot_backup_offset(1 << 20, 1) == 1 << 19);
	assert_true(boot_backup_offset(1 << 20, 8) == UINT64_MAX);
	assert_true(boot_backup_offset(100, 0) == UINT64_MAX);
}

/* A record of 1,024 bytes in the making. */
struct maker {
	uint8_t bytes[1024];
	size_t used;
};

static void start(struct maker *maker)
{
	memset(maker, 0, sizeof(*maker));
	memcpy(maker->bytes, "FILE", 4);
	put_u16(maker->bytes + 4, 0x30);
	put_u16(maker->bytes + 6, 3);
	put_u16(maker->bytes + 0x10, 7);
	put_u16(maker->bytes + 0x14, 0x38);
	put_u16(maker->bytes + 0x16, 1);
	maker->used = 0x38;
}

static uint8_t *add_resident(struct maker *maker, uint32_t type, const char *value)
{
	uint8_t *at = maker->bytes + maker->used;
	size_t length = (0x18 + strlen(value) + 7) / 8 * 8;

	put_u32(at, type);
	put_u32(at + 4, (uint32_t)length);
	put_u32(at + 0x10, (uint32_t)strlen(value));
	put_u16(at + 0x14, 0x18);
	memcpy(at + 0x18, value, strlen(value));
	maker->used += length;
	return at;
}

static uint8_t *add_runs(struct maker *maker, uint32_t type)
{
	uint8_t *at = maker->bytes + maker->used;

	put_u32(at, type);
	put_u32(at + 4, 0x48);
	at[8] = 1;
	put_u64(at + 0x18, 0x17);
	put_u16(at + 0x20, 0x40);
	put_u64(at + 0x30, 0x18 * 4096 - 5);
	put_u64(at + 0x38, 100);
	memcpy(at + 0x40, "\x21\x18\x34\x56", 5);
	maker->used += 0x48;
	return at;
}

/* Ends the record and puts the fixups in, as writing it to the drive does. */
static void finish(struct maker *maker)
{
	put_u32(maker->bytes + maker->used, 0xFFFFFFFF);
	maker->used += 8;
	put_u32(maker->bytes + 0x18, (uint32_t)maker->used);
	put_u16(maker->bytes + 0x30, 0xABCD);
	for (unsigned i = 1; i <= 2; i++) {
		uint8_t *end = maker->bytes + 512 * i - 2;

		memcpy(maker->bytes + 0x30 + 2 * i, end, 2);
		put_u16(end, 0xABCD);
	}
}

static void test_record(void **state)
{
	struct attribute attribute;
	struct maker maker;
	struct record record;
	size_t position = 0;

	(void)state;
	start(&maker);
	add_resident(&maker, ATTR_FILE_NAME, "seeds");
	add_runs(&maker, ATTR_DATA);
	maker.bytes[510] = 0x55;
	maker.bytes[1023] = 0x66;
	finish(&maker);
	assert_true(record_open(&record, maker.bytes, 1024));
	assert_int_equal(maker.bytes[510], 0x55);
	assert_int_equal(maker.bytes[1023], 0x66);
	assert_int_equal(record.sequence, 7);
	assert_true(record.in_use && !record.is_folder && !record.is_extension);
	assert_int_equal(attribute_next(&record, &position, &attribute), ATTRIBUTE_GOOD);
	assert_int_equal(attribute.type, ATTR_FILE_NAME);
	assert_int_equal(attribute.value_length, 5);
	assert_memory_equal(attribute.value, "seeds", 5);
	assert_int_equal(attribute.value_offset, 0x38 + 0x18);
	assert_int_equal(attribute_next(&record, &position, &attribute), ATTRIBUTE_GOOD);
	assert_false(attribute.is_resident);
	assert_true(attribute.size == 0x18 * 4096 - 5 && attribute.initialized == 100);
	assert_true(attribute.lowest == 0 && attribute.end == 0x18);
	assert_int_equal(attribute_next(&record, &position, &attribute), ATTRIBUTE_END);
	assert_non_null(record_find(&record, ATTR_DATA, &attribute));
	assert_null(record_find(&record, ATTR_BITMAP, &attribute));
}

/* A sector that was not written with the others: its last two bytes are not the number of the rest.
 */
static void test_torn_record(void **state)
{
	struct maker maker;
	struct record record;

	(void)state;
	start(&maker);
	finish(&maker);
	maker.bytes[1022] ^= 1;
	assert_false(record_open(&record, maker.bytes, 1024));
	start(&maker);
	finish(&maker);
	memcpy(maker.bytes, "BAAD", 4);
	assert_false(record_open(&record, maker.bytes, 1024));
}

static enum attribute_step step_of(struct maker *maker)
{
	struct attribute attribute;
	struct record record;
	size_t position = 0;

	finish(maker);
	assert_true(record_open(&record, maker->bytes, 1024));
	return attribute_next(&record, &position, &attribute);
}

static void test_broken_attributes(void **state)
{
	struct maker maker;

	(void)state;
	start(&maker);
	put_u32(add_resident(&maker, 0x10, "x") + 4, 0);
	assert_int_equal(step_of(&maker), ATTRIBUTE_BROKEN);
	start(&maker);
	put_u32(add_resident(&maker, 0x10, "x") + 4, 0x4000);
	assert_int_equal(step_of(&maker), ATTRIBUTE_BROKEN);
	start(&maker);
	put_u32(add_resident(&maker, 0x10, "x") + 0x10, 0xFFFFFFF0);
	assert_int_equal(step_of(&maker), ATTRIBUTE_BROKEN);
	start(&maker);
	put_u16(add_resident(&maker, 0x10, "x") + 0x14, 0xFFFF);
	assert_int_equal(step_of(&maker), ATTRIBUTE_BROKEN);
	start(&maker);
	add_resident(&maker, 0x10, "x")[9] = 200; /* a name beyond the attribute */
	assert_int_equal(step_of(&maker), ATTRIBUTE_BROKEN);
	start(&maker);
	put_u16(add_runs(&maker, 0x80) + 0x20, 0x50);
	assert_int_equal(step_of(&maker), ATTRIBUTE_BROKEN);
	start(&maker);
	put_u64(add_runs(&maker, 0x80) + 0x10, 0x19); /* begins behind its end */
	assert_int_equal(step_of(&maker), ATTRIBUTE_BROKEN);
}

static void test_attribute_list(void **state)
{
	uint8_t list[0x40] = {0};
	struct list_item item;
	size_t position = 0;
	bool broken = false;

	(void)state;
	put_u32(list, ATTR_DATA);
	put_u16(list + 4, 0x20);
	put_u64(list + 8, 0x123);
	put_u64(list + 0x10, UINT64_C(0x0005000000000042));
	put_u32(list + 0x20, ATTR_FILE_NAME);
	put_u16(list + 0x24, 0x20);
	assert_true(attrlist_next(list, 0x40, &position, &item, &broken));
	assert_int_equal(item.type, ATTR_DATA);
	assert_true(item.lowest == 0x123);
	assert_int_equal(item.reference.record, 0x42);
	assert_int_equal(item.reference.sequence, 5);
	assert_true(attrlist_next(list, 0x40, &position, &item, &broken));
	assert_false(attrlist_next(list, 0x40, &position, &item, &broken));
	assert_false(broken);
	position = 0;
	put_u16(list + 4, 0); /* would go round for ever */
	assert_false(attrlist_next(list, 0x40, &position, &item, &broken));
	assert_true(broken);
	position = 0;
	put_u16(list + 4, 0x48);
	assert_false(attrlist_next(list, 0x40, &position, &item, &broken));
}

/* [MS-FSCC] 2.1.2.1, the table of reparse tags. */
static void test_tags(void **state)
{
	(void)state;
	assert_int_equal(reparse_kind(0), REPARSE_KIND_NONE);
	assert_int_equal(reparse_kind(0xA0000003), REPARSE_KIND_LINK);
	assert_int_equal(reparse_kind(0xA000000C), REPARSE_KIND_LINK);
	assert_int_equal(reparse_kind(0x80000017), REPARSE_KIND_WOF);
	assert_int_equal(reparse_kind(0x80000013), REPARSE_KIND_DEDUP);
	assert_int_equal(reparse_kind(0x8000001B), REPARSE_KIND_ALIAS);
	assert_int_equal(reparse_kind(0x80000099), REPARSE_KIND_OTHER);
	for (uint32_t i = 0; i < 16; i++)
		assert_int_equal(reparse_kind(0x9000001A | i << 12), REPARSE_KIND_CLOUD);
	assert_int_equal(reparse_kind(0x80000021), REPARSE_KIND_CLOUD);
	assert_int_equal(reparse_kind(0x80000015), REPARSE_KIND_CLOUD);
	assert_int_equal(reparse_kind(0xC0000004), REPARSE_KIND_CLOUD); /* HSM */
	assert_int_equal(reparse_kind(0x80000006), REPARSE_KIND_CLOUD); /* HSM2 */
	assert_int_equal(reparse_kind(0x80000005), REPARSE_KIND_CLOUD); /* DRIVE_EXTENDER */
	assert_int_equal(reparse_kind(0x80000007), REPARSE_KIND_DEDUP); /* SIS */
	assert_int_equal(reparse_kind(0xA000001D), REPARSE_KIND_LINK);  /* LX_SYMLINK */
	for (uint32_t tag = 0x80000023; tag <= 0x80000026; tag++) /* AF_UNIX, LX_FIFO, _CHR, _BLK */
		assert_int_equal(reparse_kind(tag), REPARSE_KIND_ALIAS);
	assert_int_equal(reparse_kind(0x80000014), REPARSE_KIND_ALIAS); /* NFS */
}

/* What reparse data say of a target: [MS-FSCC] 2.1.2.6 (NFS); the others: common practice, no
 * source. */
static void test_targets(void **state)
{
	static const uint8_t nfs[] = "\x14\0\0\x80\x10\0\0\0LNK\1\0\0\0\0.\0.\0/\0p\0";
	static const uint8_t linux_link[] = "\x1D\0\0\xA0\x0A\0\0\0\2\0\0\0/plots";
	static const uint8_t alias[] =
	    "\x1B\0\0\x80\x18\0\0\0\3\0\0\0p\0\0\0e\0\0\0C\0:\0\\\0x\0\0\0" "0\0\0";
	/* Whose text is empty, and of which nothing is left without the prefix: both are broken. */
	static const uint8_t empty_link[] = "\x1D\0\0\xA0\x06\0\0\0\2\0\0\0\0x";
	static const uint8_t bare_junction[] =
	    "\x03\0\0\xA0\x10\0\0\0\0\0\x08\0\0\0\0\0\\\0?\0?\0\\\0";
	struct arena arena = {0};
	bool relative;

	(void)state;
	assert_null(
	    reparse_read_target(empty_link, sizeof(empty_link) - 1, &arena, &relative));
	assert_null(
	    reparse_read_target(bare_junction, sizeof(bare_junction) - 1, &arena, &relative));
	assert_string_equal(
	    reparse_read_target(nfs, sizeof(nfs) - 1, &arena, &relative), "../p");
	assert_true(relative);
	assert_string_equal(
	    reparse_read_target(linux_link, sizeof(linux_link) - 1, &arena, &relative), "/plots");
	assert_false(relative);
	assert_string_equal(
	    reparse_read_target(alias, sizeof(alias) - 1, &arena, &relative), "C:\\x");
	/* Cut off anywhere there is no target, or a shorter one. */
	for (size_t i = 0; i < sizeof(alias) - 5; i++)
		assert_null(reparse_read_target(alias, i, &arena, &relative));
	for (size_t i = 0; i < 18; i++)
		assert_null(reparse_read_target(nfs, i, &arena, &relative));
	arena_free(&arena);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_boot),
	    cmocka_unit_test(test_backups),
	    cmocka_unit_test(test_record),
	    cmocka_unit_test(test_torn_record),
	    cmocka_unit_test(test_broken_attributes),
	    cmocka_unit_test(test_attribute_list),
	    cmocka_unit_test(test_tags),
	    cmocka_unit_test(test_targets),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
