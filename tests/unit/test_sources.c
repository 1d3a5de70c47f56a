/*
 * Which drives a command works on, with a folder that stands for the computer (fake_sysfs.h). The
 * rules are the program's own; how block devices show in sysfs: see fake_sysfs.h.
 */
#include "unit.h"

#include "cmd/sources.h"
#include "fake_sysfs.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>

#define ARRAY_LENGTH(array) (sizeof(array) / sizeof((array)[0]))

/* A computer with two drives of its own, the stick (sdb) and one that is written to (sdc). */
static struct fake_sysfs computer_make(void)
{
	struct fake_sysfs fake = fake_sysfs_make();

	fake_block(&fake, "sda", "8:0");
	fake_block(&fake, "sda/sda1", "8:1");
	fake_block(&fake, "sdb", "8:16");
	fake_block(&fake, "sdb/sdb1", "8:17");
	fake_block(&fake, "sdc", "8:32");
	fake_block(&fake, "sdc/sdc1", "8:33");
	fake_block(&fake, "nvme0n1", "259:0");
	fake_block(&fake, "mmcblk0boot0", "179:8");
	fake_put(&fake, "proc/self/mountinfo", "");
	return fake;
}

/* The chosen drives as one text, "/dev/a /dev/b". */
static const char *choose(
    const struct fake_sysfs *fake, const char *const *ruled_out, size_t count, const char *to)
{
	static char text[400];
	struct source_wish wish = {.ruled_out = ruled_out, .n_ruled_out = count, .to = to};
	struct arena arena = {0};
	struct sources sources;
	struct error error = {0};

	text[0] = '\0';
	if (!sources_find(&arena, fake->root, "survey", &wish, &sources, &error)) {
		snprintf(text, sizeof(text), "status %d", error.status);
	} else {
		assert_true(sources.chosen);
		for (size_t i = 0; i < sources.count; i++)
			snprintf(text + strlen(text), sizeof(text) - strlen(text), "%s%s",
			    i > 0 ? " " : "", sources.paths[i]);
	}
	arena_free(&arena);
	return text;
}

static void test_elsewhere(void **state)
{
	static const char *const named[] = {"one.img", "two.img"};
	struct fake_sysfs fake = computer_make();
	struct source_wish wish = {.named = named, .n_named = 2};
	struct arena arena = {0};
	struct sources sources;
	struct error error;

	(void)state;
	/* Without the stick a SOURCE is needed. */
	assert_string_equal(choose(&fake, NULL, 0, NULL), "status 2");
	for (int on_stick = 0; on_stick < 2; on_stick++) {
		assert_true(sources_find(&arena, fake.root, "survey", &wish, &sources, &error));
		assert_false(sources.chosen);
		assert_int_equal(sources.count, 2);
		assert_ptr_equal(sources.paths, named);
		fake_put(&fake, "run/coldlift/stick", "sdb\n");
	}
	wish.ruled_out = named;
	wish.n_ruled_out = 1;
	assert_false(sources_find(&arena, fake.root, "survey", &wish, &sources, &error));
	assert_int_equal(error.status, STATUS_USAGE);
	arena_free(&arena);
	fake_sysfs_drop(&fake);
}

static void test_stick(void **state)
{
	static const char *const by_name[] = {"sdc1"}, *const by_path[] = {"/dev/sdc", "/dev/sda"};
	static const char *const nothing[] = {"sdq"}, *const climbing[] = {"../../block/sda"};
	static const char *const all[] = {"sda", "sdc", "/dev/nvme0n1", "sdb"};
	struct fake_sysfs fake = computer_make();

	(void)state;
	fake_put(&fake, "run/coldlift/stick", "sdb\n");
	assert_string_equal(choose(&fake, NULL, 0, NULL), "/dev/nvme0n1 /dev/sda /dev/sdc");
	/* A volume stands for its drive. */
	assert_string_equal(choose(&fake, by_name, 1, NULL), "/dev/nvme0n1 /dev/sda");
	assert_string_equal(choose(&fake, by_path, 2, NULL), "/dev/nvme0n1");
	assert_string_equal(choose(&fake, all, ARRAY_LENGTH(all), NULL), "status 3");
	assert_string_equal(choose(&fake, nothing, 1, NULL), "status 2");
	assert_string_equal(choose(&fake, climbing, 1, NULL), "status 2");
	/* The stick was pulled out, or its drive was never found. */
	fake_put(&fake, "run/coldlift/stick", "sdx\n");
	assert_string_equal(
	    choose(&fake, NULL, 0, NULL), "/dev/nvme0n1 /dev/sda /dev/sdb /dev/sdc");
	fake_put(&fake, "run/coldlift/stick", "");
	assert_string_equal(
	    choose(&fake, NULL, 0, NULL), "/dev/nvme0n1 /dev/sda /dev/sdb /dev/sdc");
	/* Two names, and one that is a volume. */
	fake_put(&fake, "run/coldlift/stick", "sdb1\n\nsda\n");
	assert_string_equal(choose(&fake, NULL, 0, NULL), "/dev/nvme0n1 /dev/sdc");
	fake_sysfs_drop(&fake);
}

/*
 * The folder's own file system is shown as a volume of the drive sdz. Skipped where that file
 * system has no block device (tmpfs).
 */
static void test_destination(void **state)
{
	struct fake_sysfs fake = computer_make();
	struct stat status;
	char number[40];

	(void)state;
	assert_int_equal(stat(fake.root, &status), 0);
	if (major(status.st_dev) == 0) {
		fake_sysfs_drop(&fake);
		skip();
	}
	fake_put(&fake, "run/coldlift/stick", "sdb\n");
	fake_block(&fake, "sdz", "65:144");
	snprintf(number, sizeof(number), "%u:%u", major(status.st_dev), minor(status.st_dev));
	fake_block(&fake, "sdz/sdz1", number);
	assert_string_equal(
	    choose(&fake, NULL, 0, NULL), "/dev/nvme0n1 /dev/sda /dev/sdc /dev/sdz");
	assert_string_equal(choose(&fake, NULL, 0, fake.root), "/dev/nvme0n1 /dev/sda /dev/sdc");
	assert_string_equal(
	    choose(&fake, NULL, 0, "/nowhere/at/all"), "/dev/nvme0n1 /dev/sda /dev/sdc /dev/sdz");
	fake_sysfs_drop(&fake);
}

static void test_mark(void **state)
{
	struct fake_sysfs fake = computer_make();
	struct arena arena = {0};
	struct stick stick;
	struct drive *drives;
	struct error error;
	size_t count;

	(void)state;
	stick_find(fake.root, &stick);
	assert_false(stick.here);
	fake_put(&fake, "run/coldlift/stick", "sdb\n");
	stick_find(fake.root, &stick);
	assert_true(stick.here);
	assert_true(drives_list(&arena, fake.root, &drives, &count, &error));
	assert_int_equal(count, 4);
	for (size_t i = 0; i < count; i++)
		assert_int_equal(
		    stick_has(&stick, &drives[i]), strcmp(drives[i].path, "/dev/sdb") == 0);
	/* An image file has no number. */
	assert_false(stick_has(&stick, &(struct drive){.path = "sdb"}));
	arena_free(&arena);
	fake_sysfs_drop(&fake);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_elsewhere),
	    cmocka_unit_test(test_stick),
	    cmocka_unit_test(test_destination),
	    cmocka_unit_test(test_mark),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
