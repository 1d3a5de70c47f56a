/*
 * Tests of reading ahead: what comes back is what the image holds, in which order the drive was
 * asked, and what a fault costs. Plain properties, no outside source applies.
 */
#include "unit.h"

#include "disk/ahead.h"
#include "disk/source.h"
#include "drive_image.h"

#include <stdlib.h>
#include <unistd.h>

#define SIZE (8u << 20)

static uint8_t *content;
static char image[] = "/tmp/coldlift-ahead-XXXXXX";

static int make_image(void **state)
{
	(void)state;
	content = image_fill(image, SIZE, 7);
	return 0;
}

static int drop_image(void **state)
{
	(void)state;
	free(content);
	return unlink(image);
}

static struct source *open_script(const char *script)
{
	return image_open(image, script);
}

static void check(const struct ahead *ahead, uint64_t offset, size_t length)
{
	uint8_t *bytes = malloc(length);
	bool whole = false;

	assert_non_null(bytes);
	assert_true(ahead_copy(ahead, offset, bytes, length, NULL, &whole));
	assert_true(whole);
	assert_memory_equal(bytes, content + offset, length);
	free(bytes);
}

/* Wished for in any order, read in the drive's; neighbours are joined. */
static void test_order(void **state)
{
	struct source *source = open_script("");
	struct ahead *ahead = ahead_new(1 << 20);
	uint8_t bytes[16];
	bool whole;

	(void)state;
	ahead_clear(ahead, 4096);
	assert_true(ahead_wish(ahead, 3000000, 5000));
	assert_true(ahead_wish(ahead, 100, 50));
	assert_true(ahead_wish(ahead, 4096, 8192)); /* touches the one before, in whole sectors */
	assert_true(ahead_wish(ahead, 3001000, 9000));
	assert_true(ahead_wish(ahead, 77, 0));
	assert_false(ahead_copy(ahead, 100, bytes, 16, NULL, &whole)); /* not read yet */
	ahead_read(ahead, source, 0);
	assert_int_equal(device_test_counts(source_device(source)).reads, 2);
	check(ahead, 100, 50);
	check(ahead, 100, 12000);
	check(ahead, 3000000, 10000);
	assert_false(ahead_copy(ahead, 12280, bytes, 16, NULL, &whole));
	assert_false(ahead_copy(ahead, 2000000, bytes, 16, NULL, &whole));
	assert_false(ahead_copy(ahead, UINT64_MAX - 2, bytes, 16, NULL, &whole));
	ahead_clear(ahead, 4096);
	assert_false(ahead_copy(ahead, 100, bytes, 16, NULL, &whole));
	ahead_free(ahead);
	source_close(source);
}

/* Whatever is wished for at random is served as it is, and nothing is asked for twice. */
static void test_random(void **state)
{
	struct source *source = open_script("");
	struct ahead *ahead = ahead_new(4 << 20);
	struct {
		uint64_t offset;
		size_t length;
	} wishes[300];
	size_t n = 0;

	(void)state;
	srand(11);
	while (n < 300) {
		wishes[n].offset = (uint64_t)rand() % (SIZE - 20000);
		wishes[n].length = 1 + (size_t)rand() % 20000;
		if (!ahead_wish(ahead, wishes[n].offset, wishes[n].length))
			break;
		n++;
	}
	assert_true(n > 100);
	ahead_read(ahead, source, 0);
	assert_true(device_test_counts(source_device(source)).bytes <= 4 << 20);
	for (size_t i = 0; i < n; i++)
		check(ahead, wishes[i].offset, wishes[i].length);
	ahead_free(ahead);
	source_close(source);
}

/* A small gap is read through, a large one is not. */
static void test_gap(void **state)
{
	struct source *source = open_script("");
	struct ahead *ahead = ahead_new(1 << 20);
	uint64_t before;

	(void)state;
	for (int round = 0; round < 2; round++) {
		ahead_clear(ahead, 4096);
		before = device_test_counts(source_device(source)).bytes;
		assert_true(ahead_wish(ahead, 0, 4096));
		assert_true(ahead_wish(ahead, 104096 / 4096 * 4096, 4096));
		ahead_read(ahead, source, round == 0 ? 50000 : 200000);
		check(ahead, 0, 4096);
		check(ahead, 104096 / 4096 * 4096, 4096);
		assert_int_equal(device_test_counts(source_device(source)).bytes - before,
		    round == 0 ? 8192 : 104096 / 4096 * 4096 + 4096);
	}
	ahead_free(ahead);
	source_close(source);
}

/* There is room for so much, and what did not fit leaves no trace. */
static void test_room(void **state)
{
	struct source *source = open_script("");
	struct ahead *ahead = ahead_new(64 << 10);
	struct ahead_mark mark;

	(void)state;
	ahead_clear(ahead, 4096);
	assert_false(ahead_wish(ahead, 0, (64 << 10) + 1));
	assert_false(ahead_wish(ahead, UINT64_MAX - 5, 4));
	assert_true(ahead_wish(ahead, 0, 32 << 10));
	mark = ahead_mark(ahead);
	assert_true(ahead_wish(ahead, 1 << 20, 28 << 10));
	assert_false(ahead_wish(ahead, 2 << 20, 8 << 10));
	ahead_return(ahead, mark);
	assert_true(ahead_wish(ahead, 2 << 20, 32 << 10));
	assert_false(ahead_wish(ahead, 3 << 20, 1));
	ahead_read(ahead, source, 0);
	assert_false(ahead_wish(ahead, 0, 1)); /* too late */
	check(ahead, 0, 32 << 10);
	check(ahead, 2 << 20, 32 << 10);
	ahead_free(ahead);
	source_close(source);
}

/* A hole is told to those whose bytes it is, and the gap beside it is left alone. */
static void test_holes(void **state)
{
	struct source *source = open_script("fail 0x5200 512\nsector 512");
	struct ahead *ahead = ahead_new(1 << 20);
	struct holes holes = {0};
	uint8_t bytes[8192];
	bool whole;

	(void)state;
	assert_true(ahead_wish(ahead, 0x4000, 0x2000));
	assert_true(ahead_wish(ahead, SIZE - 100, 4196)); /* reaches over the end */
	ahead_read(ahead, source, 0);
	assert_true(ahead_copy(ahead, 0x4000, bytes, 0x2000, &holes, &whole));
	assert_false(whole);
	assert_int_equal(holes.count, 1);
	assert_int_equal(holes.items[0].offset, 0x5200);
	assert_int_equal(holes.items[0].length, 512);
	assert_memory_equal(bytes, content + 0x4000, 0x1200);
	assert_memory_equal(bytes + 0x1400, content + 0x5400, 0xC00);
	check(ahead, 0x4000, 0x1200);
	holes_clear(&holes);
	assert_true(ahead_copy(ahead, 0x5100, bytes, 0x200, &holes, &whole));
	assert_int_equal(holes_total(&holes), 0x100);
	check(ahead, SIZE - 100, 100);
	holes_free(&holes);
	ahead_free(ahead);
	source_close(source);
}

/* source_read() serves from it while it is offered. */
static void test_offer(void **state)
{
	struct source *source = open_script("");
	struct ahead *ahead = ahead_new(1 << 20), *other = ahead_new(4096),
		     *third = ahead_new(4096);
	uint8_t bytes[5000];
	uint64_t reads;

	(void)state;
	assert_true(ahead_wish(ahead, 40960, 8192));
	ahead_read(ahead, source, 0);
	assert_true(source_offer(source, ahead));
	assert_true(source_offer(source, other));
	assert_false(source_offer(source, third));
	reads = device_test_counts(source_device(source)).reads;
	assert_true(source_read(source, 42000, bytes, 5000, NULL));
	assert_memory_equal(bytes, content + 42000, 5000);
	assert_int_equal(device_test_counts(source_device(source)).reads, reads);
	assert_true(source_read(source, 48000, bytes, 5000, NULL)); /* sticks out: from the drive */
	assert_memory_equal(bytes, content + 48000, 5000);
	assert_true(device_test_counts(source_device(source)).reads > reads);
	source_withdraw(source, ahead);
	source_withdraw(source, other);
	reads = device_test_counts(source_device(source)).reads;
	assert_true(source_read(source, 42000, bytes, 5000, NULL));
	assert_true(device_test_counts(source_device(source)).reads > reads);
	ahead_free(ahead);
	ahead_free(other);
	ahead_free(third);
	source_close(source);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_order),
	    cmocka_unit_test(test_random),
	    cmocka_unit_test(test_gap),
	    cmocka_unit_test(test_room),
	    cmocka_unit_test(test_holes),
	    cmocka_unit_test(test_offer),
	};

	return cmocka_run_group_tests(tests, make_image, drop_image);
}
