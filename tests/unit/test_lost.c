/*
 * Drives whose partition table is lost: which volumes are found by their boot sectors. Where
 * partitions begin is common practice, no source; see src/disk/lost.c.
 */
#include "unit.h"

#include "table_result.h"

/* Zeroed tables: the volumes of an old and of a new layout are found by their boot sectors. */
static void test_lost_table(void **state)
{
	static const uint64_t starts[] = {
	    63 * 512, 63 * 512 + 9 * MIB, 18 * MIB + 126 * 512, 40 * MIB};
	struct drive_image image = image_make(64 * MIB);
	struct result result;

	(void)state;
	put_ntfs(&image, starts[0], 512, 9 * MIB / 512 - 1);
	put_ntfs(&image, starts[1], 512, 9 * MIB / 512 - 1);  /* at once */
	put_ntfs(&image, starts[2], 512, 2 * MIB / 512 - 1);  /* a track later */
	put_ntfs(&image, starts[3], 512, 20 * MIB / 512 - 1); /* at a whole MiB */
	read_table(&result, image.path, "fail 0 512");
	assert_int_equal(result.table.kind, TABLE_LOST);
	assert_int_equal(result.table.count, 4);
	for (unsigned i = 0; i < 4; i++) {
		assert_int_equal(result.table.items[i].number, i + 1);
		assert_int_equal(result.table.items[i].offset, starts[i]);
	}
	assert_int_equal(result.table.items[3].length, 20 * MIB);
	assert_true(findings_have(&result.findings, "table-lost"));
	drop(&result);
	/* A drive that refuses every read is not asked a thousand times. */
	read_table(&result, image.path, "fail 0 67108864");
	assert_int_equal(result.table.count, 0);
	assert_true(findings_have(&result.findings, "drive-sealed"));
	assert_true(device_test_counts(source_device(result.source)).reads < 200);
	drop(&result);
	image_drop(&image);
}

/*
 * A drive that XP had set up (one volume from sector 63), set up anew by a later system (from 1
 * MiB): the old boot sector hides nothing.
 */
static void test_lost_over_older(void **state)
{
	static const uint64_t starts[] = {63 * 512, MIB, 11 * MIB};
	struct drive_image image = image_make(64 * MIB);
	struct result result;

	(void)state;
	put_ntfs(&image, starts[0], 512, 60 * MIB / 512 - 1);
	put_ntfs(&image, starts[1], 512, 10 * MIB / 512 - 1);
	put_ntfs(&image, starts[2], 512, 50 * MIB / 512 - 1);
	read_table(&result, image.path, "");
	assert_int_equal(result.table.kind, TABLE_LOST);
	assert_int_equal(result.table.count, 3);
	for (unsigned i = 0; i < 3; i++)
		assert_int_equal(result.table.items[i].offset, starts[i]);
	assert_true(findings_have(&result.findings, "partition-overlap"));
	drop(&result);
	image_drop(&image);
}

/* A drive full of the shortest volumes: as many as anybody makes, not as many as fit. */
static void test_lost_without_end(void **state)
{
	struct drive_image image = image_make(MIB);
	struct result result;

	(void)state;
	for (uint64_t offset = 63 * 512; offset < MIB; offset += 512)
		put_ntfs(&image, offset, 512, 0);
	read_table(&result, image.path, "");
	assert_int_equal(result.table.kind, TABLE_LOST);
	assert_in_range(result.table.count, 100, 200);
	drop(&result);
	image_drop(&image);
}

/* An MBR whose only entry leads to nothing: the volume is found; without one the entry stays. */
static void test_lost_astray(void **state)
{
	static const uint8_t entry[16] = {
	    [4] = 7, [8] = 0x45, [9] = 0x08, [13] = 0x40}; /* NTFS, from 2117 for 16,384 sectors */
	static const uint8_t mark[] = {0x55, 0xAA};
	struct drive_image image = image_make(64 * MIB);
	struct result result;

	(void)state;
	image_write(&image, 446, entry, sizeof(entry));
	image_write(&image, 510, mark, sizeof(mark));
	read_table(&result, image.path, "");
	assert_int_equal(result.table.kind, TABLE_MBR);
	assert_int_equal(result.table.count, 1);
	drop(&result);
	put_ntfs(&image, MIB, 512, 10 * MIB / 512 - 1);
	read_table(&result, image.path, "");
	assert_int_equal(result.table.kind, TABLE_LOST);
	assert_int_equal(result.table.count, 1);
	assert_int_equal(result.table.items[0].offset, MIB);
	assert_true(findings_have(&result.findings, "table-lost"));
	drop(&result);
	image_drop(&image);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_lost_table),
	    cmocka_unit_test(test_lost_over_older),
	    cmocka_unit_test(test_lost_without_end),
	    cmocka_unit_test(test_lost_astray),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
