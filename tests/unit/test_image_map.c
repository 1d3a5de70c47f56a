/*
 * The map of an unfinished image: what was saved is read again, and what is no map is refused. Against
 * the form that its header gives; no outside source applies.
 */
#include "unit.h"

#include "extract/image_map.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char path[] = "/tmp/coldlift-map-XXXXXX";

static const char mark[] = "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef";

static void put(const char *text)
{
	FILE *file = fopen(path, "w");

	assert_non_null(file);
	fputs(text, file);
	fclose(file);
}

static void test_saved(void **state)
{
	struct image_map map = {.size = UINT64_C(8) << 40, .sector_size = 4096, .passed = 5 << 20,
	    .rounds = 2}, read;
	struct error error = {0};
	bool there = false;

	(void)state;
	snprintf(map.mark, sizeof(map.mark), "%s", mark);
	holes_add(&map.missing, 4096, 8192);
	holes_add(&map.missing, 1 << 20, 4096);
	assert_true(image_map_save(&map, path, &error));
	assert_true(image_map_load(&read, path, &there, &error));
	assert_true(there);
	assert_true(image_map_is_of(&read, &map));
	assert_int_equal(read.passed, map.passed);
	assert_int_equal(read.rounds, 2);
	assert_int_equal(read.missing.count, 2);
	assert_int_equal(read.missing.items[1].offset, 1 << 20);
	/* Of one that is not known it can be. */
	read.mark[0] = '\0';
	assert_true(image_map_is_of(&read, &map));
	read.mark[0] = '1';
	read.mark[1] = '\0';
	assert_false(image_map_is_of(&read, &map));
	holes_free(&read.missing);
	map.mark[0] = '\0';
	assert_true(image_map_save(&map, path, &error));
	assert_true(image_map_load(&read, path, &there, &error));
	assert_string_equal(read.mark, "");
	read.size++;
	assert_false(image_map_is_of(&read, &map));
	holes_free(&read.missing);
	holes_free(&map.missing);
	unlink(path);
	assert_true(image_map_load(&read, path, &there, &error));
	assert_false(there);
}

static void test_hostile(void **state)
{
	static const char *const wrong[] = {"", "image 2\nend\n", "image 1\nend\n",
	    "image 1\ndrive 1024 512 -\n", "image 1\ndrive 1024 512 x\nend\n",
	    "image 1\ndrive 1024 512 -\npassed 1025\nend\n",
	    "image 1\ndrive 1024 512 -\nmissing 0 0\nend\n",
	    "image 1\ndrive 1024 512 -\nmissing 1024 512\nend\n",
	    "image 1\ndrive 1024 512 -\nmissing 512 18446744073709551615\nend\n",
	    "image 1\nmissing 0 512\ndrive 1024 512 -\nend\n",
	    "image 1\ndrive 1024 100 -\nend\n", "image 1\ndrive 1024 512 -\nwhatever\nend\n"};

	(void)state;
	for (size_t i = 0; i < sizeof(wrong) / sizeof(wrong[0]); i++) {
		struct image_map map;
		struct error error = {0};
		bool there;

		put(wrong[i]);
		if (image_map_load(&map, path, &there, &error))
			fail_msg("taken for a map: %s", wrong[i]);
		assert_int_equal(error.status, STATUS_DESTINATION);
		assert_true(there);
		holes_free(&map.missing);
	}
}

static int begin(void **state)
{
	int fd = mkstemp(path);

	(void)state;
	return fd < 0 ? -1 : close(fd);
}

static int end(void **state)
{
	(void)state;
	return unlink(path);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_saved),
	    cmocka_unit_test(test_hostile),
	};

	return cmocka_run_group_tests(tests, begin, end);
}
