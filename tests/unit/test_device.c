/* Opening what is no drive: one clear sentence each, and the right exit status. */
#include "unit.h"

#include "disk/device.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[] = "/tmp/coldlift-device-XXXXXX";
static char path[100];

static int make_folder(void **state)
{
	(void)state;
	assert_non_null(mkdtemp(folder));
	snprintf(path, sizeof(path), "%s/source", folder);
	return 0;
}

static int drop_folder(void **state)
{
	(void)state;
	unlink(path);
	return rmdir(folder);
}

static void put_file(const char *text)
{
	FILE *file;

	unlink(path);
	file = fopen(path, "w");
	assert_non_null(file);
	fputs(text, file);
	fclose(file);
}

static void check_refused(const char *name, const char *words)
{
	struct error error = {0};

	assert_null(device_open(name, &error));
	assert_int_equal(error.status, STATUS_NO_VOLUME);
	if (strstr(error.text, words) == NULL)
		fail_msg("'%s' does not say '%s'", error.text, words);
	assert_null(strchr(error.text, '\n'));
	assert_int_not_equal(error.text[strlen(error.text) - 1], '.');
}

static void test_refused(void **state)
{
	(void)state;
	check_refused(path, "does not exist");
	check_refused(folder, "is a folder");
	check_refused("/dev/null", "special file");
	put_file("");
	check_refused(path, "is empty");
	unlink(path);
	assert_int_equal(mkfifo(path, 0600), 0);
	check_refused(path, "special file"); /* and does not wait for a writer */
	put_file("text");
	check_refused("/dev/null/x", "does not exist");
}

static void test_no_permission(void **state)
{
	(void)state;
	if (geteuid() == 0) {
		/* Root may read everything: be somebody else for a moment. */
		put_file("text");
		assert_int_equal(chmod(folder, 0755), 0);
		assert_int_equal(chmod(path, 0), 0);
		assert_int_equal(seteuid(65534), 0);
		check_refused(path, "may not be read");
		assert_int_equal(seteuid(0), 0);
		return;
	}
	put_file("text");
	assert_int_equal(chmod(path, 0), 0);
	check_refused(path, "may not be read");
}

static void test_image(void **state)
{
	struct error error;
	struct device *device;
	uint8_t buffer[1024];

	(void)state;
	put_file("an image of thirty bytes......");
	device = device_open(path, &error);
	assert_non_null(device);
	assert_false(device->is_block);
	assert_int_equal(device->size, 30);
	assert_int_equal(device->sector_size, 512);
	assert_string_equal(device->path, path);
	assert_int_equal(device->ops->read(device, 0, buffer, 512), 30);
	assert_memory_equal(buffer, "an image", 8);
	assert_int_equal(device->ops->read(device, 512, buffer, 512), 0);
	device_close(device);
	device_close(NULL);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_refused),
	    cmocka_unit_test(test_no_permission),
	    cmocka_unit_test(test_image),
	};

	return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
