/*
 * Looking at a drive twice, once in each run of a job: the second look sees what the first one saw,
 * out of the store, whatever became of the drive. The truth is the image; no outside source applies.
 */
#include "unit.h"

#include "disk/early.h"
#include "disk/salvage.h"
#include "disk/source.h"
#include "drive_image.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define SIZE (4u << 20)
#define PLACE 1048576u /* where something does not read */

static char image[] = "/tmp/coldlift-look-XXXXXX";
static char folder[] = "/tmp/coldlift-look-store-XXXXXX";
static uint8_t *content;

/* A source that is looked at, with what an earlier one left in the store. */
static struct source *look(const char *script, size_t most)
{
	struct source *source = image_open(image, script);
	const struct salvage_drive drive = {SIZE, source_sector_size(source), "image"};
	struct salvage *salvage = salvage_new(folder, "store", &drive);
	struct error error = {0};

	assert_non_null(salvage);
	if (!salvage_load(salvage, &error))
		fail_msg("%s", error.text);
	source_set_salvage(source, salvage);
	if (salvage_bytes(salvage) > 0)
		source_set_faulty(source);
	source_look(source, most);
	return source;
}

static void close_and_remove(struct source *source)
{
	salvage_remove(source_salvage(source));
	source_close(source);
}

static uint64_t reads(struct source *source)
{
	return device_test_counts(source_device(source)).reads;
}

/* Is all of the range there, and as it was? */
static bool is_read(struct source *source, uint64_t offset, size_t length)
{
	uint8_t *buffer = malloc(length);
	struct holes holes = {0};
	bool whole;

	assert_non_null(buffer);
	whole = source_read(source, offset, buffer, length, &holes);
	assert_int_equal(whole, holes.count == 0);
	if (whole)
		assert_memory_equal(buffer, content + offset, length);
	holes_free(&holes);
	free(buffer);
	return whole;
}

/* What was read before the first failure goes into the store with it, also after the look. */
static void test_early(void **state)
{
	struct source *source = look("watch\nfail 1048576 512", 1u << 20);
	struct salvage *salvage = source_salvage(source);
	struct holes missing = {0};

	(void)state;
	assert_true(is_read(source, 0, 300000));
	assert_true(is_read(source, 2000000, 5));
	source_look_end(source);
	assert_true(is_read(source, 3000000, 5000)); /* no part of the look */
	assert_int_equal(salvage_bytes(salvage), 0);
	assert_false(is_read(source, PLACE, 512));
	salvage_missing(salvage, 0, 300032, &missing);
	salvage_missing(salvage, 1999872, 512, &missing);
	assert_int_equal(missing.count, 0);
	assert_int_equal(salvage_bytes(salvage), 300032 + 512);
	assert_true(is_read(source, 0, 300000));
	assert_int_equal(device_test_counts(source_device(source)).again, 0);
	holes_free(&missing);
	close_and_remove(source);
}

/* No more than was said. */
static void test_early_is_bounded(void **state)
{
	struct source *source = look("fail 1048576 512", 100000);

	(void)state;
	assert_true(is_read(source, 0, 512));
	assert_true(is_read(source, 4096, 200000));
	assert_true(is_read(source, 8192, 512));
	source_look_end(source);
	assert_false(is_read(source, PLACE, 512));
	assert_int_equal(salvage_bytes(source_salvage(source)), 1024);
	close_and_remove(source);
}

/* What was looked at stays to the end, what else was kept goes when it is not needed. */
static void test_forget(void **state)
{
	struct source *source = look("", 0);
	struct salvage *salvage = source_salvage(source);

	(void)state;
	source_set_faulty(source);
	assert_true(is_read(source, 8192, 4096));
	source_look_end(source);
	assert_true(is_read(source, 0, 8192));
	assert_true(is_read(source, 12288, 4096));
	assert_int_equal(salvage_bytes(salvage), 16384);
	source_forget(source, 0, 16384);
	assert_int_equal(salvage_bytes(salvage), 4096);
	assert_true(is_read(source, 8192, 4096));
	close_and_remove(source);
}

static bool never(void)
{
	return false;
}

/* What did not read in the first look does not in the second, although it would by now. */
static void test_missed(void **state)
{
	struct source *source = look("fleeting 1048576 512 3", 0);
	struct holes wanted = {0};

	(void)state;
	assert_false(is_read(source, PLACE - 4096, 8192));
	source_look_end(source);
	source_set_manner(source, SOURCE_FIRST_TRY);
	holes_add(&wanted, PLACE, 512);
	for (unsigned round = 0; round < SOURCE_ROUNDS; round++)
		source_round(source, &wanted, round, never);
	assert_true(is_read(source, PLACE, 512));
	source_close(source);

	/* Now the store has it, and the drive would give it. */
	source = look("", 0);
	assert_false(is_read(source, PLACE - 4096, 8192));
	assert_true(is_read(source, PLACE - 4096, 4096));
	assert_true(is_read(source, PLACE + 512, 3584));
	assert_int_equal(reads(source), 0);
	source_look_end(source);
	source_set_manner(source, SOURCE_FIRST_TRY);
	source_release_others(source, &wanted);
	assert_true(is_read(source, PLACE, 512));
	assert_int_equal(reads(source), 0);
	holes_free(&wanted);
	close_and_remove(source);
}

/* The drive itself is asked, whatever is in the store, and what fails then is not known as bad. */
static void test_fresh(void **state)
{
	struct source *source = look("fail 1048576 512 1", 0);
	uint8_t bytes[1024];

	(void)state;
	source_set_faulty(source);
	assert_true(is_read(source, 0, 1024));
	assert_int_equal(reads(source), 1);
	assert_true(source_read_fresh(source, 300, bytes, 500));
	assert_memory_equal(bytes, content + 300, 500);
	assert_int_equal(reads(source), 2);
	assert_false(source_read_fresh(source, PLACE - 512, bytes, 1024));
	assert_false(source_read_fresh(source, SIZE - 512, bytes, 1024));
	assert_true(is_read(source, PLACE, 512));
	close_and_remove(source);
}

static int begin(void **state)
{
	(void)state;
	content = image_fill(image, SIZE, 11);
	return mkdtemp(folder) != NULL ? 0 : -1;
}

static int end(void **state)
{
	(void)state;
	free(content);
	rmdir(folder);
	return unlink(image);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_early),
	    cmocka_unit_test(test_early_is_bounded),
	    cmocka_unit_test(test_forget),
	    cmocka_unit_test(test_missed),
	    cmocka_unit_test(test_fresh),
	};

	return cmocka_run_group_tests(tests, begin, end);
}
