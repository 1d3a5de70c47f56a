/*
 * Lists of unreadable ranges beside an image: what a line may be, and that such ranges are holes.
 * The form of the list is coldlift's own: src/disk/listed.h.
 */
#include "unit.h"

#include "drive_image.h"

#include "disk/listed.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define SIZE 1000000u /* no multiple of a sector */

static bool parse(const char *text, struct holes *holes, struct error *error)
{
	memset(holes, 0, sizeof(*holes));
	*error = (struct error){0};
	return listed_parse(text, strlen(text), "a list", SIZE, 512, holes, error);
}

static void test_lines(void **state)
{
	struct holes holes;
	struct error error;

	(void)state;
	assert_true(parse("", &holes, &error));
	assert_int_equal(holes.count, 0);
	assert_true(parse("# made in the shed\r\n\n 4096\t512 # one\r\n512 1\n\n1024 10\n999999 1",
	    &holes, &error));
	assert_int_equal(holes.count, 3);
	assert_int_equal(holes.items[0].offset, 512);
	assert_int_equal(holes.items[0].length, 1024);
	assert_int_equal(holes.items[1].offset, 4096);
	assert_int_equal(holes.items[1].length, 512);
	assert_int_equal(holes.items[2].offset, 999936); /* widened to its sector */
	assert_int_equal(holes.items[2].length, 512);
	holes_free(&holes);
	/* Ranges that overlap, backwards, and one over everything. */
	assert_true(parse("900 300\n600 400\n0 700\n", &holes, &error));
	assert_int_equal(holes.count, 1);
	assert_int_equal(holes_total(&holes), 1536);
	holes_free(&holes);
	assert_true(parse("0 1000000\n", &holes, &error));
	assert_int_equal(holes.count, 1);
	holes_free(&holes);
}

static void test_bad_lines(void **state)
{
	static const char *const texts[] = {"512", "512 ", "512 512 512", "0x200 512", "-1 5",
	    "512,512", "512 512K", "one two", "99999999999999999999999 1",
	    "18446744073709551615 18446744073709551615", "0 0", "1000000 1", "999999 2",
	    "0 18446744073709551615"};
	struct holes holes;
	struct error error;

	(void)state;
	for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++) {
		if (parse(texts[i], &holes, &error))
			fail_msg("'%s' was understood", texts[i]);
		assert_int_equal(error.status, STATUS_USAGE);
		assert_non_null(strstr(error.text, "line 1 of a list"));
		assert_int_not_equal(error.text[strlen(error.text) - 1], '.');
		holes_free(&holes);
	}
	/* A NUL in it ends nothing silently. */
	memset(&holes, 0, sizeof(holes));
	assert_false(listed_parse("512 512\n\0\n", 10, "a list", SIZE, 512, &holes, &error));
	assert_non_null(strstr(error.text, "line 2 of a list"));
	holes_free(&holes);
}

/* Backwards, as many as are allowed, and one more: neither takes long. */
static void test_limit(void **state)
{
	size_t room = (LISTED_RANGES_MAX + 1) * 16, used = 0;
	char *text = malloc(room);
	struct holes holes = {0};
	struct error error;

	(void)state;
	unit_limit_processor_time(20);
	assert_non_null(text);
	for (size_t i = LISTED_RANGES_MAX; i > 0; i--)
		used += (size_t)sprintf(text + used, "%zu 1\n", 1024 * i);
	assert_true(
	    listed_parse(text, used, "a list", 2048 * LISTED_RANGES_MAX, 512, &holes, &error));
	assert_int_equal(holes.count, LISTED_RANGES_MAX);
	holes_free(&holes);
	used += (size_t)sprintf(text + used, "0 1\n");
	assert_false(
	    listed_parse(text, used, "a list", 2048 * LISTED_RANGES_MAX, 512, &holes, &error));
	holes_free(&holes);
	free(text);
}

static void put_list(const struct drive_image *image, const char *text)
{
	char path[100];
	FILE *file;

	snprintf(path, sizeof(path), "%s%s", image->path, LISTED_ENDING);
	unlink(path);
	if (text == NULL)
		return;
	file = fopen(path, "w");
	assert_non_null(file);
	fputs(text, file);
	fclose(file);
}

static void test_image(void **state)
{
	struct drive_image image = image_make(SIZE);
	struct holes holes = {0};
	struct source *source;
	struct device *device;
	struct error error = {0};
	uint8_t *bytes = malloc(SIZE), *found = malloc(SIZE);

	(void)state;
	for (size_t i = 0; i < SIZE; i++)
		bytes[i] = (uint8_t)(1 + i % 251);
	image_write(&image, 0, bytes, SIZE);
	put_list(&image, "5120 512\n999999 1\n70000 100000\n");
	device = device_open(image.path, &error);
	assert_non_null(device);
	assert_int_equal(device->size, SIZE);
	assert_int_equal(listed_holes(device)->count, 3);
	source = source_open(device, &error);
	assert_non_null(source);
	assert_false(source_read(source, 0, found, SIZE, &holes));
	assert_int_equal(holes.count, 3);
	assert_int_equal(holes.items[0].offset, 5120);
	assert_int_equal(holes.items[1].offset, 69632);
	assert_int_equal(holes.items[1].length, 170496 - 69632);
	assert_int_equal(holes.items[2].offset, 999936);
	memset(bytes + 5120, 0, 512);
	memset(bytes + 69632, 0, 170496 - 69632);
	memset(bytes + 999936, 0, SIZE - 999936);
	assert_memory_equal(bytes, found, SIZE);
	assert_true(source_read(source, 5632, found, 60000, NULL));
	source_close(source);
	holes_free(&holes);
	/* A wrong list is an error, and never an image without holes. */
	put_list(&image, "5120\n");
	assert_null(device_open(image.path, &error));
	assert_non_null(strstr(error.text, ".holes"));
	put_list(&image, NULL);
	device = device_open(image.path, &error);
	assert_non_null(device);
	assert_null(listed_holes(device));
	device_close(device);
	image_drop(&image);
	free(bytes);
	free(found);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_lines),
	    cmocka_unit_test(test_bad_lines),
	    cmocka_unit_test(test_limit),
	    cmocka_unit_test(test_image),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
