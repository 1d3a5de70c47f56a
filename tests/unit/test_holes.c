/*
 * Hole lists: whatever is added, they stay sorted, without overlaps and joined, and lose nothing.
 */
#include "unit.h"

#include "disk/hole.h"

#include <stdlib.h>
#include <string.h>

#define SPACE 200

static void check_form(const struct holes *holes)
{
	for (size_t i = 0; i < holes->count; i++) {
		assert_true(holes->items[i].length > 0);
		if (i > 0)
			assert_true(holes->items[i - 1].offset + holes->items[i - 1].length <
				    holes->items[i].offset);
	}
}

/* Against a plain array of flags, one per byte. */
static void test_random(void **state)
{
	(void)state;
	srand(7);
	for (int round = 0; round < 300; round++) {
		struct holes holes = {0};
		bool flags[SPACE] = {false};
		uint64_t total = 0;

		for (int i = 0; i < 40; i++) {
			unsigned offset = (unsigned)rand() % SPACE;
			unsigned length = (unsigned)rand() % 12;

			if (offset + length > SPACE)
				length = SPACE - offset;
			holes_add(&holes, offset, length);
			memset(flags + offset, true, length);
			check_form(&holes);
		}
		for (unsigned i = 0; i < SPACE; i++) {
			const struct hole *next = holes_next(&holes, i);

			total += flags[i];
			assert_int_equal(holes_meet(&holes, i, 1), flags[i]);
			assert_int_equal(next != NULL && next->offset <= i, flags[i]);
		}
		assert_int_equal(holes_total(&holes), total);
		holes_free(&holes);
	}
}

/* Taking out, and what two lists have in common. */
static void test_remove(void **state)
{
	(void)state;
	srand(8);
	for (int round = 0; round < 300; round++) {
		struct holes holes[2] = {{0}, {0}}, both = {0};
		bool flags[2][SPACE] = {{false}};

		for (int i = 0; i < 60; i++) {
			unsigned offset = (unsigned)rand() % SPACE, which = (unsigned)rand() % 2;
			unsigned length = (unsigned)rand() % 16;

			if (offset + length > SPACE)
				length = SPACE - offset;
			if (i % 3 == 2)
				holes_remove(&holes[which], offset, length);
			else
				holes_add(&holes[which], offset, length);
			memset(flags[which] + offset, i % 3 != 2, length);
			check_form(&holes[which]);
		}
		holes_common(&holes[0], &holes[1], &both);
		check_form(&both);
		for (unsigned i = 0; i < SPACE; i++) {
			assert_int_equal(holes_meet(&holes[0], i, 1), flags[0][i]);
			assert_int_equal(holes_meet(&holes[1], i, 1), flags[1][i]);
			assert_int_equal(holes_meet(&both, i, 1), flags[0][i] && flags[1][i]);
		}
		holes_free(&holes[0]);
		holes_free(&holes[1]);
		holes_free(&both);
	}
}

static void test_edges(void **state)
{
	struct holes holes = {0}, copy = {0};

	(void)state;
	assert_null(holes_next(&holes, 0));
	assert_false(holes_meet(&holes, 0, UINT64_MAX));
	holes_add(&holes, 10, 0);
	assert_int_equal(holes.count, 0);
	holes_add(&holes, UINT64_MAX - 5, 100); /* cut, not wrapped around */
	assert_int_equal(holes.count, 1);
	assert_int_equal(holes.items[0].length, 5);
	holes_add(&holes, 512, 512);
	assert_false(holes_meet(&holes, 0, 512));
	assert_true(holes_meet(&holes, 0, 513));
	assert_true(holes_meet(&holes, 1023, 1));
	assert_false(holes_meet(&holes, 1024, 1));
	assert_false(holes_meet(&holes, 600, 0));
	holes_add_all(&copy, &holes);
	assert_int_equal(copy.count, 2);
	holes_clear(&copy);
	assert_int_equal(holes_total(&copy), 0);
	holes_free(&holes);
	holes_free(&copy);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_random),
	    cmocka_unit_test(test_remove),
	    cmocka_unit_test(test_edges),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
