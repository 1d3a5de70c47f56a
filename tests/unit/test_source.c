/*
 * The reader: the right bytes whatever the alignment, bad sectors narrowed down without asking too
 * often, a hanging or vanished drive given up.
 */
#include "unit.h"

#include "disk/source.h"
#include "drive_image.h"

#include <fcntl.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define SIZE (9u * 1024 * 1024 + 512 * 3)

static char image[] = "/tmp/coldlift-source-XXXXXX";
static uint8_t *content;

static int make_image(void **state)
{
	int fd = mkstemp(image);
	uint32_t number = 1;

	(void)state;
	content = malloc(SIZE + 100);
	assert_true(fd >= 0 && content != NULL);
	for (size_t i = 0; i < SIZE + 100; i++) {
		number = number * 1664525 + 1013904223;
		content[i] = (uint8_t)(number >> 24);
	}
	assert_int_equal(write(fd, content, SIZE), SIZE);
	close(fd);
	return 0;
}

static int drop_image(void **state)
{
	(void)state;
	unlink(image);
	free(content);
	return 0;
}

static struct source *open_script(const char *script)
{
	return image_open(image, script);
}

/* Reads, and compares with the content outside the holes and with zero inside them. */
static bool read_and_check(
    struct source *source, uint64_t offset, size_t length, struct holes *holes)
{
	uint8_t *buffer = malloc(length + 2);
	bool whole;

	assert_non_null(buffer);
	memset(buffer, 0xA5, length + 2);
	whole = source_read(source, offset, buffer + 1, length, holes);
	assert_int_equal(buffer[0], 0xA5);
	assert_int_equal(buffer[length + 1], 0xA5);
	for (size_t i = 0; i < length; i++) {
		uint8_t wanted = content[offset + i];

		if (holes_meet(holes, offset + i, 1))
			wanted = 0;
		if (buffer[i + 1] != wanted)
			fail_msg("byte %zu of the request at %zu is wrong", i, (size_t)offset);
	}
	free(buffer);
	return whole;
}

static void test_any_alignment(void **state)
{
	static const char *const scripts[] = {"", "sector 4096"};
	struct holes holes = {0};

	(void)state;
	srand(11);
	for (size_t s = 0; s < 2; s++) {
		struct source *source = open_script(scripts[s]);

		assert_true(read_and_check(source, 0, SIZE, &holes));
		for (int i = 0; i < 200; i++) {
			size_t offset = (size_t)rand() % SIZE;
			size_t length = (size_t)rand() % (i % 20 == 0 ? SIZE - offset : 5000);

			if (length > SIZE - offset)
				length = SIZE - offset;
			assert_true(read_and_check(source, offset, length, &holes));
		}
		assert_int_equal(holes.count, 0);
		source_close(source);
	}
}

static void test_beyond_the_end(void **state)
{
	struct source *source = open_script("");
	struct holes holes = {0};
	uint8_t buffer[1000];

	(void)state;
	memset(buffer, 1, sizeof(buffer));
	assert_false(source_read(source, SIZE - 300, buffer, sizeof(buffer), &holes));
	assert_memory_equal(buffer, content + SIZE - 300, 300);
	assert_int_equal(buffer[300], 0);
	assert_int_equal(buffer[999], 0);
	assert_int_equal(holes.count, 1);
	assert_int_equal(holes.items[0].offset, SIZE);
	assert_int_equal(holes.items[0].length, 700);
	holes_clear(&holes);
	assert_false(source_read(source, UINT64_MAX - 10, buffer, sizeof(buffer), &holes));
	assert_int_equal(holes.count, 1);
	/* They are no holes of the drive. */
	holes_clear(&holes);
	source_holes(source, &holes);
	assert_int_equal(holes.count, 0);
	holes_free(&holes);
	source_close(source);
}

/* An image that was cut inside a sector: what is there of the last sector arrives. */
static void test_odd_size(void **state)
{
	struct source *source = open_script("size 1000");
	struct holes holes = {0};

	(void)state;
	assert_true(read_and_check(source, 0, 1000, &holes));
	assert_true(read_and_check(source, 999, 1, &holes));
	assert_int_equal(holes.count, 0);
	source_close(source);
}

static void check_bad_sectors(const char *script, uint32_t sector)
{
	/* Sectors (of 4096 bytes) 100 and 101, 612 (in another piece), and the last whole one. */
	static const uint64_t bad[] = {100, 101, 612, 2303};
	struct source *source = open_script(script);
	struct holes holes = {0}, all = {0}, again = {0};
	struct device_counts counts;

	assert_false(read_and_check(source, 0, SIZE, &holes));
	assert_int_equal(holes_total(&holes), 4 * sector);
	for (size_t i = 0; i < 4; i++)
		assert_true(holes_meet(&holes, bad[i] * 4096, 1));
	source_holes(source, &all);
	assert_int_equal(holes_total(&all), 4 * sector);
	counts = device_test_counts(source_device(source));
	assert_true(counts.most_asked <= 3);
	/*
	 * What is known to be bad is not asked for again, and what is good around it still arrives.
	 */
	assert_false(read_and_check(source, 100 * 4096 - 700, 9000, &again));
	assert_int_equal(device_test_counts(source_device(source)).failures, counts.failures);
	assert_true(device_test_counts(source_device(source)).most_asked <= 3);
	/* A hole covers whole sectors, also when less was asked for. */
	holes_clear(&again);
	assert_false(read_and_check(source, 612 * 4096 + 5, 3, &again));
	assert_int_equal(again.items[0].offset, 612 * 4096);
	assert_int_equal(again.items[0].length, sector);
	holes_free(&holes);
	holes_free(&all);
	holes_free(&again);
	source_close(source);
}

static void test_bad_sectors(void **state)
{
	(void)state;
	check_bad_sectors("fail 409600 1\nfail 413696 1\nfail 2506752 1\nfail 9433088 1\n", 512);
	check_bad_sectors("short 409600 1\nshort 413696 1\nshort 2506752 1\nfail 9433088 1\n", 512);
	check_bad_sectors("sector 4096\nfail 409600 1\nshort 413696 1\nfail 2506752 512\n"
			  "fail 9433088 1\n",
	    4096);
}

/* A sector that recovers at the second or third try is no hole. */
static void test_recovering_sector(void **state)
{
	(void)state;
	for (int times = 1; times <= 2; times++) {
		char script[64];
		struct source *source;
		struct holes holes = {0};

		snprintf(script, sizeof(script), "fail 1000000 1 %d", times);
		source = open_script(script);
		assert_true(read_and_check(source, 900000, 300000, &holes));
		assert_int_equal(holes.count, 0);
		source_close(source);
	}
}

static void test_flip(void **state)
{
	struct source *source = open_script("# one byte\nflip 0x800 0x41\n");
	uint8_t byte;

	(void)state;
	assert_true(source_read(source, 0x800, &byte, 1, NULL));
	assert_int_equal(byte, content[0x800] ^ 0x41);
	source_close(source);
}

/* A drive that never answers again: the test ends only because it is given up. */
static void test_hang(void **state)
{
	struct source *source = open_script("hang 5000000 1");
	struct holes holes = {0};

	(void)state;
	source_set_patience(source, 2000);
	assert_true(read_and_check(source, 0, 4000000, &holes));
	assert_false(read_and_check(source, 0, SIZE, &holes));
	assert_true(source_is_lost(source));
	assert_true(holes_meet(&holes, 5000000, 1));
	holes_clear(&holes);
	/* From now on everything is a hole, and at once. */
	assert_false(read_and_check(source, 0, 100, &holes));
	assert_int_equal(holes_total(&holes), 512);
	holes_free(&holes);
	source_close(source);
}

/* A drive that is only slow is not given up, and is never written into memory that is gone. */
static void test_slow(void **state)
{
	struct source *source = open_script("slow 0 1 100\nslow 3000000 1 3000");
	struct holes holes = {0};
	struct timespec time = {3, 0};

	(void)state;
	source_set_patience(source, 1500);
	assert_true(read_and_check(source, 0, 1000, &holes));
	assert_false(read_and_check(source, 2900000, 200000, &holes));
	source_close(source);
	nanosleep(&time, NULL); /* the thread comes back, and cleans up after itself */
	holes_free(&holes);
}

/* A drive that answers everything, but each time slowly, gets so much time in all and no more. */
static void test_end(void **state)
{
	struct source *source = open_script("slow 0 9000000 400");
	struct holes holes = {0};
	unsigned reads = 0;

	(void)state;
	source_set_patience(source, 100000);
	source_set_end(source, 1500);
	while (reads < 100 && read_and_check(source, reads * 10000, 100, &holes))
		reads++;
	assert_true(reads < 5);
	assert_true(source_is_lost(source));
	holes_free(&holes);
	source_close(source);
	/* One that answers at once is still read before its end, and can be closed after it. */
	source = open_script("");
	source_set_end(source, 100000);
	assert_true(read_and_check(source, 0, SIZE, &holes));
	source_close(source);
}

static void test_gone(void **state)
{
	struct source *source = open_script("gone 4194304 1");
	struct holes holes = {0};

	(void)state;
	assert_false(read_and_check(source, 1000, SIZE - 1000, &holes));
	assert_true(source_is_lost(source) && source_is_gone(source));
	assert_false(holes_meet(&holes, 0, 2000000));
	assert_true(holes_meet(&holes, 4194304, 1));
	assert_true(holes_meet(&holes, SIZE - 1, 1));
	assert_true(device_test_counts(source_device(source)).reads < 10);
	holes_free(&holes);
	source_close(source);
}

struct worker {
	struct source *source;
	unsigned seed;
	bool fine;
};

static void *work(void *context)
{
	struct worker *worker = context;
	uint8_t *buffer = malloc(SIZE);

	worker->fine = buffer != NULL;
	for (int i = 0; i < 60 && worker->fine; i++) {
		size_t offset = (size_t)rand_r(&worker->seed) % SIZE;
		size_t length = (size_t)rand_r(&worker->seed) % (SIZE - offset) + 1;
		struct holes holes = {0};

		if (i % 2 == 0 && length > 3000)
			length = 3000;
		source_read(worker->source, offset, buffer, length, &holes);
		for (size_t j = 0; j < holes.count; j++)
			worker->fine = worker->fine && holes.items[j].length == 512;
		if (holes.count == 0)
			worker->fine = memcmp(buffer, content + offset, length) == 0;
		holes_free(&holes);
	}
	free(buffer);
	return NULL;
}

static void test_many_callers(void **state)
{
	struct source *source = open_script("fail 3333333 1\nshort 7777777 1");
	struct worker workers[6];
	pthread_t threads[6];

	(void)state;
	for (unsigned i = 0; i < 6; i++) {
		workers[i] = (struct worker){source, i + 1, false};
		assert_int_equal(pthread_create(&threads[i], NULL, work, &workers[i]), 0);
	}
	for (unsigned i = 0; i < 6; i++) {
		pthread_join(threads[i], NULL);
		assert_true(workers[i].fine);
	}
	assert_true(device_test_counts(source_device(source)).most_asked <= 3);
	source_close(source);
}

static void test_scripts_are_checked(void **state)
{
	static const char *const wrong[] = {"fail", "fail 1", "fail 1 0", "size", "sector 100",
	    "sector 1000", "burn 1 2", "flip 1", "slow 1 2"};
	struct error error;

	(void)state;
	for (size_t i = 0; i < sizeof(wrong) / sizeof(wrong[0]); i++)
		assert_null(device_open_test(image, wrong[i], &error));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_any_alignment),
	    cmocka_unit_test(test_beyond_the_end),
	    cmocka_unit_test(test_odd_size),
	    cmocka_unit_test(test_bad_sectors),
	    cmocka_unit_test(test_recovering_sector),
	    cmocka_unit_test(test_flip),
	    cmocka_unit_test(test_hang),
	    cmocka_unit_test(test_slow),
	    cmocka_unit_test(test_end),
	    cmocka_unit_test(test_gone),
	    cmocka_unit_test(test_many_callers),
	    cmocka_unit_test(test_scripts_are_checked),
	};

	return cmocka_run_group_tests(tests, make_image, drop_image);
}
