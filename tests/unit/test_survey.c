/*
 * Tests of a survey as a whole: what it tells about its progress, and what memory a hive can cost.
 *
 * Source of the hives' layout: see hive_maker.h. The volume comes from mkntfs (ntfs-3g), which is
 * independent of src/.
 */
#include "unit.h"

#include "base/progress.h"
#include "drive_image.h"
#include "hive_maker.h"
#include "system/inner.h"

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

	(void)state;
	if (!image_make_ntfs(&image)) {
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

/* Drives that nobody named: what cannot be opened is told, and the others go on. */
static void test_chosen(void **state)
{
	struct drive_image image = image_make(4 << 20);
	const char *const paths[] = {"/nowhere/sdx", image.path};
	struct findings findings;
	struct survey survey;
	struct error error = {0};

	(void)state;
	if (!image_make_ntfs(&image)) {
		image_drop(&image);
		skip();
	}
	findings_init(&findings);
	assert_true(survey_run_chosen(&survey, paths, 2, NULL, &findings, &error));
	assert_int_equal(survey.n_drives, 1);
	assert_int_equal(error.status, 0);
	assert_true(findings_have(&findings, "drive-not-opened"));
	assert_int_equal(findings_count(&findings, WEIGHT_LOSS), 1);
	survey_free(&survey);
	assert_false(survey_run_chosen(&survey, paths, 1, NULL, &findings, &error));
	assert_int_equal(error.status, STATUS_NO_VOLUME);
	survey_free(&survey);
	/* One that was named has to be there. */
	assert_false(survey_run(&survey, paths, 2, NULL, &findings, &error));
	assert_int_equal(error.status, STATUS_NO_VOLUME);
	survey_free(&survey);
	findings_free(&findings);
	image_drop(&image);
}

/* Values can share one large cell: copies of it must not fill the memory. */
static void test_large_texts(void **state)
{
	static const uint8_t word[] = {'h', 0, 'u', 0, 't', 0};
	enum { N_VALUES = 50, LARGE = 16000 };
	struct environment environment = {0};
	struct survey survey = {0};
	struct learn learn = {.survey = &survey};
	hive_cell root, large, values[N_VALUES + 1];
	uint8_t data[LARGE];
	struct maker maker;
	struct hive *hive;

	(void)state;
	for (size_t i = 0; i < LARGE; i++)
		data[i] = i % 2 ? 0 : 'a';
	maker_start(&maker, 1 << 20);
	root = add_key(&maker, HIVE_NO_CELL, "root");
	large = add_data(&maker, data, LARGE);
	for (unsigned i = 0; i < N_VALUES; i++) {
		char name[8];

		snprintf(name, sizeof(name), "v%u", i);
		values[i] = add_value(&maker, name, HIVE_SZ, LARGE, large);
	}
	values[N_VALUES] =
	    add_value(&maker, "small", HIVE_SZ, sizeof(word), add_data(&maker, word, sizeof(word)));
	set_values(&maker, root, values, N_VALUES + 1);
	maker_end(&maker);
	hive = hive_open(maker.data, BINS + maker.size, NULL, 0, NULL);
	assert_non_null(hive);
	assert_null(learn_hive_text(&learn, hive, hive_root(hive), "", "v7"));
	assert_string_equal(learn_hive_text(&learn, hive, hive_root(hive), "", "small"), "hut");
	assert_true(environment_add_key(&environment, hive, hive_root(hive), "", &survey.arena));
	assert_int_equal(environment.count, 1);
	assert_true(survey.arena.total < 200000);
	assert_false(learn.no_memory);
	environment_free(&environment);
	arena_free(&survey.arena);
	hive_close(hive);
	free(maker.data);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_progress),
	    cmocka_unit_test(test_chosen),
	    cmocka_unit_test(test_large_texts),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
