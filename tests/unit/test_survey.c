/*
 * Tests of a whole survey of a small volume: what it tells about its progress.
 *
 * The volume comes from mkntfs (ntfs-3g), which is independent of src/.
 */
#include "unit.h"

#include "base/progress.h"
#include "drive_image.h"
#include "system/survey.h"

#include <stdio.h>
#include <stdlib.h>

static void test_progress(void **state)
{
	struct drive_image image = image_make(4 << 20);
	const char *const paths[] = {image.path};
	struct findings findings;
	struct progress progress;
	struct survey survey;
	struct error error;
	char command[160];

	(void)state;
	snprintf(command, sizeof(command), "mkntfs -q -F -s 512 %s >/dev/null 2>&1", image.path);
	if (system(command) != 0) {
		image_drop(&image);
		skip();
	}
	findings_init(&findings);
	progress_start(&progress, "Reading file tables", 0, true);
	assert_true(survey_run(&survey, paths, 1, &progress, &findings, &error));
	assert_true(progress.done > 0);
	assert_int_equal(progress.done, survey.volumes[0].volume->table_size);
	survey_free(&survey);
	/* Nobody has to listen. */
	assert_true(survey_run(&survey, paths, 1, NULL, &findings, &error));
	survey_free(&survey);
	findings_free(&findings);
	image_drop(&image);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_progress),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
