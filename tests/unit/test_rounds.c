/*
 * Rounds over a faulty drive: the first try puts off, later rounds come back, each sector is asked
 * for a bounded number of times, and none that was read well is asked for again. The truth is the
 * image; no outside source applies.
 */
#include "unit.h"

#include "disk/ahead.h"
#include "disk/salvage.h"
#include "disk/source.h"
#include "drive_image.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define SIZE (24u << 20)
#define MOST_TRIES 6

static char image[] = "/tmp/coldlift-rounds-XXXXXX";
static char folder[] = "/tmp/coldlift-rounds-store-XXXXXX";
static uint8_t *content;

static bool never(void)
{
	return false;
}

static struct source *open_script(const char *script)
{
	struct source *source = image_open(image, script);
	const struct salvage_drive drive = {SIZE, source_sector_size(source), "image"};
	struct salvage *salvage = salvage_new(folder, "store", &drive);

	assert_non_null(salvage);
	source_set_salvage(source, salvage);
	source_set_manner(source, SOURCE_FIRST_TRY);
	source_set_faulty(source); /* all is kept, from the beginning */
	return source;
}

static void close_source(struct source *source)
{
	salvage_remove(source_salvage(source));
	source_close(source);
}

static struct device_counts counts(struct source *source)
{
	return device_test_counts(source_device(source));
}

/* Reads everything; outside the holes it is as it was. */
static void read_all(struct source *source, struct holes *holes)
{
	uint8_t *buffer = malloc(SIZE);
	uint64_t at = 0;

	assert_non_null(buffer);
	memset(buffer, 0xA5, SIZE);
	for (size_t step = 3u << 20; at < SIZE; at += step)
		source_read(source, at, buffer + at, step, holes);
	at = 0;
	for (size_t i = 0; i <= holes->count; i++) {
		uint64_t end = i < holes->count ? holes->items[i].offset : SIZE;

		assert_memory_equal(buffer + at, content + at, end - at);
		if (i == holes->count)
			break;
		at = end + holes->items[i].length;
		for (uint64_t k = end; k < at; k++)
			assert_int_equal(buffer[k], 0);
	}
	free(buffer);
}

static void check_whole(struct source *source, const struct holes *bad)
{
	struct holes holes = {0}, wanted = {0};
	uint64_t left = SIZE, before;

	read_all(source, &holes);
	holes_clear(&holes);
	holes_add(&wanted, 0, SIZE);
	for (unsigned round = 0; round < SOURCE_ROUNDS; round++) {
		before = left;
		left = source_round(source, &wanted, round, never);
		assert_true(left <= before);
	}
	source_set_manner(source, SOURCE_THOROUGH);
	read_all(source, &holes);
	/* Exactly the bad sectors are left. */
	assert_int_equal(holes.count, bad->count);
	for (size_t i = 0; i < bad->count; i++) {
		assert_int_equal(holes.items[i].offset, bad->items[i].offset);
		assert_int_equal(holes.items[i].length, bad->items[i].length);
	}
	assert_int_equal(left, holes_total(bad));
	assert_int_equal(counts(source).again, 0);
	assert_true(counts(source).most_asked <= MOST_TRIES);
	holes_free(&holes);
	holes_free(&wanted);
}

/* Bad sectors of all sorts, from single ones to regions, at the drive's edges too. */
static void test_bad_sectors(void **state)
{
	static const uint64_t bad[][2] = {{0, 1}, {77, 1}, {79, 3}, {4000, 700}, {12000, 1},
	    {12200, 1}, {12400, 1}, {20000, 12000}, {49151, 1}};
	struct holes holes = {0};
	char script[1000] = "watch\n";

	(void)state;
	for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
		holes_add(&holes, bad[i][0] * 512, bad[i][1] * 512);
		snprintf(script + strlen(script), 60, "%s %llu %llu\n", i % 2 ? "short" : "fail",
		    (unsigned long long)bad[i][0] * 512, (unsigned long long)bad[i][1] * 512);
	}
	for (unsigned sector = 512; sector <= 4096; sector *= 8) {
		struct source *source;
		struct holes wide = {0};

		snprintf(script + strlen(script), 20, "sector %u\n", sector);
		for (size_t i = 0; i < holes.count; i++) {
			uint64_t from = holes.items[i].offset / sector * sector;
			uint64_t end = holes.items[i].offset + holes.items[i].length;

			holes_add(&wide, from, (end + sector - 1) / sector * sector - from);
		}
		source = open_script(script);
		check_whole(source, &wide);
		close_source(source);
		holes_free(&wide);
	}
	holes_free(&holes);
}

/* The first try leaves a bad region quickly. */
static void test_skips(void **state)
{
	struct source *source = open_script("fail 1000000 20000000");
	struct holes holes = {0}, put_off = {0};

	(void)state;
	read_all(source, &holes);
	/* 20 MB in requests of 64 KiB would be 300. */
	assert_true(counts(source).failures < 16);
	source_put_off(source, &put_off);
	assert_true(holes_total(&put_off) >= 20000000);
	assert_true(source_is_put_off(source, 2000000, 1));
	assert_false(source_is_put_off(source, 900000, 512));
	holes_free(&holes);
	holes_free(&put_off);
	close_source(source);
}

/* What comes and goes arrives in the end. */
static void test_fleeting(void **state)
{
	const struct holes none = {0};

	(void)state;
	for (int times = 1; times < MOST_TRIES; times++) {
		char script[100];
		struct source *source;

		snprintf(script, sizeof(script), "watch\nfleeting 3000000 9000 %d", times);
		source = open_script(script);
		check_whole(source, &none);
		close_source(source);
	}
}

/* A slow region is put off, too, and read later. */
static void test_slow(void **state)
{
	struct source *source = open_script("watch\nslow 8388608 1 300");
	struct holes put_off = {0};
	const struct holes none = {0};

	(void)state;
	source_set_slow(source, 200);
	read_all(source, &put_off);
	assert_int_equal(put_off.count, 1);
	assert_true(put_off.items[0].offset > 8388608);
	assert_int_equal(counts(source).failures, 0);
	check_whole(source, &none);
	holes_free(&put_off);
	close_source(source);
}

/* A head that dies after some requests costs its region, and nothing that was read before. */
static void test_dies(void **state)
{
	struct source *source = open_script("watch\ndies 0 12582912 5");
	struct holes bad = {0};

	(void)state;
	holes_add(&bad, 8u << 20, 4u << 20); /* requests of 2 and 1 MiB; the sixth is in vain */
	check_whole(source, &bad);
	holes_free(&bad);
	close_source(source);
}

/* Without being told, a drive counts as faulty from its first failure. */
static void test_turns_faulty(void **state)
{
	struct source *source = image_open(image, "fail 5000000 1");
	struct holes holes = {0};

	(void)state;
	source_set_manner(source, SOURCE_FIRST_TRY);
	assert_false(source_is_faulty(source));
	read_all(source, &holes);
	assert_true(source_is_faulty(source));
	/* There is no store: what a round reads is read again. */
	assert_int_equal(source_round(source, &holes, 0, never), 65536);
	holes_free(&holes);
	source_close(source);
}

/* Patience ends: nothing more is tried, and nothing is called given up that was not tried. */
static void test_patience(void **state)
{
	struct source *source = open_script("fail 1000000 3000000");
	struct holes holes = {0}, wanted = {0};
	uint64_t failures;

	(void)state;
	source_set_effort(source, 0);
	assert_true(source_is_weary(source));
	read_all(source, &holes);
	failures = counts(source).failures;
	holes_add(&wanted, 0, SIZE);
	for (unsigned round = 0; round < SOURCE_ROUNDS; round++)
		assert_true(source_round(source, &wanted, round, never) > 0);
	assert_int_equal(counts(source).failures, failures);
	assert_true(failures < 5);
	/* Also for what is tried thoroughly. */
	source_set_manner(source, SOURCE_THOROUGH);
	read_all(source, &holes);
	assert_true(counts(source).failures < failures + 2);
	holes_free(&holes);
	holes_free(&wanted);
	close_source(source);
}

/* What nobody wanted is not given up with the rest: it reads when somebody asks for it later. */
static void test_others(void **state)
{
	struct source *source = open_script("fail 1000000 512");
	struct holes holes = {0}, wanted = {0}, left = {0};
	uint8_t bytes[512];

	(void)state;
	read_all(source, &holes);
	assert_true(source_is_put_off(source, 1000000, 512));
	holes_clear(&holes);
	/* The skip went further than the only sector that is bad. */
	source_put_off(source, &holes);
	assert_int_equal(holes.count, 1);
	assert_true(holes.items[0].length >= 2048);
	holes_add(&wanted, holes.items[0].offset, 1024);
	source_release_others(source, &wanted);
	source_put_off(source, &left);
	assert_int_equal(holes_total(&left), 1024);
	assert_int_equal(left.items[0].offset, holes.items[0].offset);
	source_set_manner(source, SOURCE_THOROUGH);
	holes_clear(&left);
	assert_true(source_read(source, holes.items[0].offset + 1536, bytes, 512, &left));
	assert_memory_equal(bytes, content + holes.items[0].offset + 1536, 512);
	assert_false(source_read(source, holes.items[0].offset, bytes, 512, &left));
	holes_free(&holes);
	holes_free(&wanted);
	holes_free(&left);
	close_source(source);
}

static void take(void *context, uint64_t offset, const uint8_t *data, size_t length)
{
	assert_memory_equal(data, content + offset, length);
	holes_add(context, offset, length);
}

/* Without a store somebody takes what rounds read; also of what an earlier run put off. */
static void test_taker(void **state)
{
	struct source *source = image_open(image, "watch\nfail 1000448 512\nfail 4194304 512");
	struct holes taken = {0}, before = {0}, left = {0};
	const struct source_taker taker = {take, &taken};
	uint8_t bytes[4096];

	(void)state;
	source_set_manner(source, SOURCE_FIRST_TRY);
	source_set_taker(source, &taker);
	holes_add(&before, 4194304 - 1024, 2048);
	source_put_off_before(source, &before);
	assert_false(source_read(source, 1000448, bytes, sizeof(bytes), NULL));
	assert_int_equal(taken.count, 0);
	source_put_off(source, &left);
	for (unsigned round = 0; round < SOURCE_ROUNDS; round++)
		source_round(source, &left, round, never);
	/* All but the two bad sectors, each once. */
	assert_int_equal(holes_total(&taken), holes_total(&left) - 1024);
	assert_int_equal(counts(source).again, 0);
	assert_false(holes_meet(&taken, 1000448, 512));
	assert_true(holes_meet(&taken, 4194304 - 1024, 512));
	assert_true(holes_meet(&taken, 4194304 + 512, 512));
	holes_clear(&left);
	source_put_off(source, &left);
	assert_int_equal(holes_total(&left), 1024);
	holes_free(&taken);
	holes_free(&before);
	holes_free(&left);
	source_close(source);
}

/* Whoever reads ahead says what is kept; it is served from the store in another order, later. */
static void test_ahead_keeps(void **state)
{
	struct source *source = open_script("watch\nfail 1048576 512");
	struct ahead *ahead = ahead_new(4u << 20);
	struct holes holes = {0};
	uint8_t bytes[8192];

	(void)state;
	ahead_clear(ahead, 512);
	assert_true(ahead_wish(ahead, 1 << 20, 1 << 20));
	assert_true(ahead_wish(ahead, 8 << 20, 1 << 20));
	ahead_read(ahead, source, 0);
	assert_true(ahead_has_holes(ahead, 1 << 20, 512));
	assert_false(ahead_has_holes(ahead, 8 << 20, 1 << 20));
	assert_int_equal(salvage_bytes(source_salvage(source)), 0);
	ahead_keep(ahead, 1 << 20, 1 << 20, source_salvage(source));
	assert_int_equal(salvage_bytes(source_salvage(source)), (1 << 20) - 65536);
	assert_true(source_read(source, 2097152 - 8192, bytes, 8192, &holes));
	assert_memory_equal(bytes, content + 2097152 - 8192, 8192);
	assert_int_equal(counts(source).again, 0);
	/* What was not kept is read again. */
	assert_true(source_read(source, 8 << 20, bytes, 8192, &holes));
	assert_int_equal(counts(source).again, 16);
	ahead_free(ahead);
	close_source(source);
}

static int begin(void **state)
{
	(void)state;
	content = image_fill(image, SIZE, 9);
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
	    cmocka_unit_test(test_bad_sectors),
	    cmocka_unit_test(test_skips),
	    cmocka_unit_test(test_fleeting),
	    cmocka_unit_test(test_slow),
	    cmocka_unit_test(test_dies),
	    cmocka_unit_test(test_turns_faulty),
	    cmocka_unit_test(test_patience),
	    cmocka_unit_test(test_others),
	    cmocka_unit_test(test_taker),
	    cmocka_unit_test(test_ahead_keeps),
	};

	return cmocka_run_group_tests(tests, begin, end);
}
