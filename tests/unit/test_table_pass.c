/*
 * Tests of going over the file table in pieces: every record comes once and in order, holes stand
 * where they are, and a pass may end at any time. Plain properties, no outside source applies.
 */
#include "unit.h"

#include "base/bytes.h"
#include "drive_image.h"
#include "ntfs/table_pass.h"

#include <stdio.h>

#define RECORD 1024u
#define CLUSTER 4096u
#define RECORDS 13003u /* three pieces and a bit */

/* The table lies in two runs, the second one in front of the first. */
static struct run runs[] = {{0, 2000, 1500}, {1500, 10, 1751}};

static struct drive_image make_table(void)
{
	struct drive_image image = image_make(4000u * CLUSTER);
	uint8_t number[4];

	for (uint32_t i = 0; i < RECORDS; i++) {
		const struct run *run = &runs[i >= 6000];

		put_u32(number, i + 1);
		image_write(&image, (run->lcn - run->vcn) * CLUSTER + (uint64_t)i * RECORD, number,
		    sizeof(number));
	}
	return image;
}

static struct volume make_volume(struct source *source)
{
	return (struct volume){.source = source,
	    .length = 4000u * CLUSTER,
	    .cluster_size = CLUSTER,
	    .record_size = RECORD,
	    .clusters = 4000,
	    .table_runs = runs,
	    .n_table_runs = 2,
	    .table_size = RECORDS * RECORD};
}

/* Goes over `count` records and returns how many of them were behind a hole. */
static uint64_t go_over(const struct volume *volume, uint64_t count)
{
	struct table_pass *pass = table_pass_start(volume, count);
	struct table_piece *piece;
	uint64_t next = 0, lost = 0;

	assert_non_null(pass);
	while ((piece = table_pass_next(pass)) != NULL) {
		assert_int_equal(piece->first, next);
		for (size_t i = 0; i < piece->count; i++, next++) {
			uint8_t *record = piece->bytes + i * RECORD;

			if (holes_meet(&piece->holes, i * RECORD, RECORD))
				lost++;
			else
				assert_int_equal(get_u32(record), next + 1);
			put_u32(record, 0); /* whoever looks at it may change it */
		}
	}
	assert_null(table_pass_next(pass));
	assert_int_equal(next, count);
	table_pass_end(pass);
	return lost;
}

static void test_whole(void **state)
{
	static const uint64_t counts[] = {0, 1, 4095, 4096, 4097, 8192, RECORDS};
	struct drive_image image = make_table();
	struct source *source = image_open(image.path, "");
	struct volume volume = make_volume(source);

	(void)state;
	for (size_t i = 0; i < sizeof(counts) / sizeof(counts[0]); i++)
		assert_int_equal(go_over(&volume, counts[i]), 0);
	source_close(source);
	image_drop(&image);
}

static void test_holes(void **state)
{
	struct drive_image image = make_table();
	char script[64];
	struct source *source;
	struct volume volume;

	(void)state;
	/* Six sectors around the seam of the first two pieces: three records. */
	snprintf(script, sizeof(script), "fail %u 3072", 2000 * CLUSTER + 4096 * RECORD - 1024);
	source = image_open(image.path, script);
	volume = make_volume(source);
	assert_int_equal(go_over(&volume, RECORDS), 3);
	source_close(source);
	image_drop(&image);
}

static void test_early_end(void **state)
{
	struct drive_image image = make_table();
	struct source *source = image_open(image.path, "");
	struct volume volume = make_volume(source);

	(void)state;
	for (unsigned pieces = 0; pieces < 4; pieces++) {
		struct table_pass *pass = table_pass_start(&volume, RECORDS);

		assert_non_null(pass);
		for (unsigned i = 0; i < pieces; i++)
			assert_non_null(table_pass_next(pass));
		table_pass_end(pass);
	}
	table_pass_end(NULL);
	source_close(source);
	image_drop(&image);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_whole),
	    cmocka_unit_test(test_holes),
	    cmocka_unit_test(test_early_end),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
