/*
 * Drives that get hot, or worse, while a job reads them. A shell script stands for smartctl; its
 * answers have the keys that smartctl 7 writes (its manual page, option --json). The limits are the
 * header's own.
 */
#include "unit.h"

#include "extract/watch.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

static void test_compare(void **state)
{
	struct faults then = {.verdict = FAULTS_NONE_REPORTED}, now = then;
	char text[300];

	(void)state;
	assert_false(watch_compare(&then, &now, text, sizeof(text)));
	/* What was not known before says nothing. */
	now.known[FIGURE_PENDING] = true;
	now.values[FIGURE_PENDING] = 9;
	assert_false(watch_compare(&then, &now, text, sizeof(text)));
	then.known[FIGURE_PENDING] = true;
	then.values[FIGURE_PENDING] = 9;
	assert_false(watch_compare(&then, &now, text, sizeof(text)));
	now.values[FIGURE_PENDING] = 17;
	assert_true(watch_compare(&then, &now, text, sizeof(text)));
	assert_non_null(strstr(text, "from 9 to 17"));
	now.values[FIGURE_PENDING] = 3; /* some could be read in the end */
	assert_false(watch_compare(&then, &now, text, sizeof(text)));
	now.verdict = FAULTS_FAILING;
	assert_true(watch_compare(&then, &now, text, sizeof(text)));
	then.verdict = FAULTS_FAILING;
	assert_false(watch_compare(&then, &now, text, sizeof(text)));
}

/* Waits for the script's mark that it has answered twice, so that the first answer was judged. */
static void wait_for(const char *path)
{
	struct timespec moment = {.tv_nsec = 20000000};

	for (int i = 0; i < 3000 && access(path, F_OK) != 0; i++)
		nanosleep(&moment, NULL);
	assert_int_equal(access(path, F_OK), 0);
}

static void test_watch(void **state)
{
	char folder[] = "/tmp/coldlift-unit-watch-XXXXXX", program[100], mark[100], asked[100];
	struct survey_drive drives[2] = {
	    {.about = {.path = "/dev/coldlift-old", .bus = "SATA", .spinning = true},
		.faults = {.verdict = FAULTS_NONE_REPORTED}},
	    {.about = {.path = "fernhill.img", .bus = "", .is_image = true}}};
	struct survey survey = {.drives = drives, .n_drives = 2};
	struct watch_options options = {.program = program, .quiet = true};
	struct findings findings;
	struct watch *watch;
	FILE *file;

	(void)state;
	assert_non_null(mkdtemp(folder));
	snprintf(program, sizeof(program), "%s/smartctl", folder);
	snprintf(mark, sizeof(mark), "%s/second", folder);
	snprintf(asked, sizeof(asked), "%s/first", folder);
	file = fopen(program, "w");
	assert_non_null(file);
	fprintf(file,
	    "#!/bin/sh\n"
	    "test -e %s && : >%s\n"
	    ": >%s\n"
	    "echo '{\"json_format_version\":[1,0],\"smartctl\":{\"version\":[7,3],\"exit_status\":0},"
	    "\"device\":{\"name\":\"/dev/sda\",\"type\":\"sat\",\"protocol\":\"ATA\"},"
	    "\"temperature\":{\"current\":63},\"smart_status\":{\"passed\":false}}'\n",
	    asked, mark, asked);
	fclose(file);
	assert_int_equal(chmod(program, 0700), 0);

	watch = watch_start(&survey, &options);
	assert_non_null(watch);
	wait_for(mark);
	findings_init(&findings);
	watch_end(watch, &findings);
	assert_true(findings_have(&findings, "drive-hot"));
	assert_true(findings_have(&findings, "drive-getting-worse"));
	assert_int_equal(findings_count(&findings, WEIGHT_CAUTION), 2);
	findings_free(&findings);
	unlink(mark);
	unlink(asked);
	unlink(program);
	rmdir(folder);
	/* An image is not asked: nothing to watch. */
	survey.drives++;
	survey.n_drives = 1;
	assert_null(watch_start(&survey, &options));
	watch_end(NULL, NULL);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_compare),
	    cmocka_unit_test(test_watch),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
