/*
 * The job folder and the choices of a plan file: plain properties, no outside source applies, but
 * for the names that Windows cannot store ("Naming Files, Paths, and Namespaces", Microsoft).
 */
#include "unit.h"

#include "base/filetime.h"
#include "cmd/plan_file.h"
#include "extract/job.h"
#include "extract/map.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static void names_that_are_refused(void **state)
{
	static const char *const bad[] = {"", ".", "..", "../x", "a/b", "a\\b", "/tmp", "CON",
	    "nul.txt", "a:b", "x.", "x ", "a\nb", "-rf", ".hidden", "\xFF"};
	static const char *const good[] = {"x", "FERNHILL-PC-2026-07-01", "Zoës Bilder", "a.b"};
	struct error error;
	char long_name[200];

	(void)state;
	for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
		error.status = STATUS_COMPLETE;
		if (job_name_check(bad[i], &error))
			fail_msg("'%s' was accepted", bad[i]);
		assert_int_equal(error.status, STATUS_USAGE);
	}
	for (size_t i = 0; i < sizeof(good) / sizeof(good[0]); i++)
		if (!job_name_check(good[i], &error))
			fail_msg("%s", error.text);
	memset(long_name, 'x', 101);
	long_name[101] = '\0';
	assert_false(job_name_check(long_name, &error));
}

static void folder_and_journal(void **state)
{
	struct old_system pc = {.computer = "FERNHILL PC/1"};
	struct survey survey = {.systems = &pc, .n_systems = 1};
	char to[] = "/tmp/coldlift-job-XXXXXX";
	struct job job, second;
	struct error error;
	struct stat info;
	char *journal;
	char command[100];

	(void)state;
	assert_non_null(mkdtemp(to));
	setenv("SOURCE_DATE_EPOCH", "1782864000", 1); /* 2026-07-01 00:00 UTC */
	assert_true(job_create(&job, to, NULL, &survey, &error));
	assert_string_equal(job.name, "FERNHILL-PC-1-2026-07-01");
	assert_int_equal(job.started, filetime_from_unix(1782864000, 0));
	assert_int_equal(stat(job.folder, &info), 0);
	assert_int_equal(info.st_mode & 07777, 0700);
	journal = job_path(&job, "journal");
	assert_int_equal(access(journal, F_OK), 0);
	/* The same again gets a number; a name that was asked for does not. */
	assert_true(job_create(&second, to, NULL, &survey, &error));
	assert_string_equal(second.name, "FERNHILL-PC-1-2026-07-01-2");
	job_free(&second);
	assert_false(job_create(&second, to, job.name, &survey, &error));
	assert_int_equal(error.status, STATUS_DESTINATION);
	assert_true(job_complete(&job, &error));
	assert_int_equal(access(journal, F_OK), -1);
	free(journal);
	job_free(&job);
	unsetenv("SOURCE_DATE_EPOCH");
	snprintf(command, sizeof(command), "rm -rf '%s'", to);
	assert_int_equal(system(command), 0);
}

static void plan_files(void **state)
{
	char path[] = "/tmp/coldlift-plan-XXXXXX";
	int fd = mkstemp(path);
	static const char good[] = "\xEF\xBB\xBF# what the treasurer wants\r\n\n"
				   "take  D:\\Machines\\**\r\n\tleave *.iso \nperson Zoë Smith\n";
	static const char bad[] = "take x\nmove y\n";
	struct choices choices = {0};
	struct error error;

	(void)state;
	assert_true(fd >= 0);
	assert_int_equal(write(fd, good, sizeof(good) - 1), sizeof(good) - 1);
	assert_true(choices_read_file(&choices, path, &error));
	assert_int_equal(choices.takes.count, 1);
	assert_string_equal(choices.takes.items[0], "D:\\Machines\\**");
	assert_string_equal(choices.leaves.items[0], "*.iso");
	assert_string_equal(choices.persons.items[0], "Zoë Smith");
	assert_int_equal(ftruncate(fd, 0), 0);
	assert_int_equal(pwrite(fd, bad, sizeof(bad) - 1, 0), sizeof(bad) - 1);
	assert_false(choices_read_file(&choices, path, &error));
	assert_non_null(strstr(error.text, "line 2"));
	assert_int_equal(error.status, STATUS_USAGE);
	close(fd);
	unlink(path);
	assert_false(choices_read_file(&choices, path, &error));
	choices_free(&choices);
}

static void map_keeps_the_latest(void **state)
{
	struct map map = {0};

	(void)state;
	assert_int_equal(map_get(&map, 5), MAP_NONE);
	for (uint32_t i = 0; i < 10000; i++)
		assert_true(map_put(&map, (uint64_t)i << 32 | 7, i));
	for (uint32_t i = 0; i < 10000; i += 3)
		assert_true(map_put(&map, (uint64_t)i << 32 | 7, i + 1));
	for (uint32_t i = 0; i < 10000; i++)
		assert_int_equal(map_get(&map, (uint64_t)i << 32 | 7), i % 3 == 0 ? i + 1 : i);
	assert_int_equal(map.count, 10000);
	assert_int_equal(map_get(&map, 3), MAP_NONE);
	map_free(&map);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(names_that_are_refused),
	    cmocka_unit_test(folder_and_journal),
	    cmocka_unit_test(plan_files),
	    cmocka_unit_test(map_keeps_the_latest),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
