/*
 * Tests of what was opened lately: entries of lists, and findings on files that are left.
 *
 * The form of an entry of a "File MRU": common practice, no source. That a person is told of what
 * was opened and is left is the project's own promise. The lists in hives: the demo drives.
 */
#include "unit.h"

#include "base/locale.h"
#include "scene.h"
#include "system/recent_lists.h"

#include <string.h>

static void test_entries(void **state)
{
	int64_t used;

	(void)state;
	assert_string_equal(
	    recent_item_path("[F00000000][T01DA0B9C7E1F4000][O00000000]*C:\\a.odt", &used),
	    "C:\\a.odt");
	assert_true(used == INT64_C(0x01DA0B9C7E1F4000));
	assert_string_equal(recent_item_path("[F00000001][T01DA]*C:\\a.odt", &used), "C:\\a.odt");
	assert_true(used == 0);
	assert_string_equal(recent_item_path("[F00000000]*\\\\s\\d\\[T0123456789ABCDEF]", &used),
	    "\\\\s\\d\\[T0123456789ABCDEF]");
	assert_true(used == 0);
	assert_string_equal(recent_item_path("[TFFFFFFFFFFFFFFFF]*D:\\x", &used), "D:\\x");
	assert_true(used == 0);
	assert_null(recent_item_path("C:\\a*b", &used));
	assert_null(recent_item_path("[F0000", &used));
	assert_null(recent_item_path("", &used));
	assert_string_equal(recent_item_path("[T*", &used), "");
}

static size_t count_findings(const struct scene *scene, const char *code, const char *words)
{
	size_t count = 0;

	for (size_t i = 0; i < scene->findings.count; i++)
		count += strcmp(scene->findings.items[i].code, code) == 0 &&
			 strstr(scene->findings.items[i].sentence, words) != NULL;
	return count;
}

static void test_findings(void **state)
{
	static const char *const names[] = {"C:\\Users\\mara\\AppData\\Local\\Temp\\a.txt",
	    "C:\\Users\\mara\\AppData\\Local\\Temp\\b.txt",
	    "C:\\Users\\mara\\AppData\\Local\\Temp\\old.txt",
	    "C:\\Users\\mara\\AppData\\Local\\Temp\\c.dll", "C:\\Users\\mara\\Documents\\mara.txt",
	    "C:\\Program Files\\Ledger\\help.pdf"};
	struct opened opened[8] = {0};
	struct scene scene;

	(void)state;
	scene_start(&scene);
	for (size_t i = 0; i < 6; i++)
		if (i != 4)
			forge_file(&scene.forge, 0, names[i] + 2, 10);
	/* A second name in a place of hers: taken under that one. */
	forge_name(&scene.forge, 0,
	    forge_file(&scene.forge, 0, "\\Users\\mara\\AppData\\Local\\Temp\\two.txt", 10),
	    "\\Users\\mara\\Documents\\two.txt");
	scene_settle(&scene);
	for (size_t i = 0; i < 7; i++) {
		const struct catalogue *catalogue = &scene.forge.volumes[0].catalogue;
		const char *name = i < 6 ? names[i] + 2 : "\\Users\\mara\\Documents\\two.txt";

		opened[i] = (struct opened){.person = scene.mara,
		    .at = {0, catalogue_lookup(catalogue, NODE_ROOT, name + 1)},
		    .used = FORGE_TIME};
		assert_int_not_equal(opened[i].at.node, NONE);
	}
	opened[2].used -= 300 * FORGE_DAY;
	opened[7] = opened[0]; /* once more, earlier */
	opened[7].used -= FORGE_DAY;
	scene.forge.systems[0].last_used = FORGE_TIME;
	scene.forge.systems[0].opened = opened;
	scene.forge.systems[0].n_opened = 8;
	scene_make(&scene, NULL);
	assert_int_equal(count_findings(&scene, "used-not-taken", "Temp\\a.txt last on 2016-"), 1);
	assert_int_equal(count_findings(&scene, "used-not-taken", "b.txt"), 1);
	assert_int_equal(count_findings(&scene, "used-not-taken", "help.pdf"), 1);
	/* Not: opened long ago; nothing that people make; taken, if only under another name. */
	assert_int_equal(count_findings(&scene, "used-not-taken", ""), 3);
	scene_end(&scene);
}

/* By name alone: one is here, of one a shortcut tells more, one was deleted, one is nowhere. */
static void test_nowhere(void **state)
{
	struct recent recents[] = {{0, "MARA.TXT", 0}, {0, "plots.odt", 0}, {0, "bill.pdf", 0},
	    {0, "vote.doc", 7}, {0, "vote.doc", 0}, {0, "game.exe", 9}, {0, "C:\\gone.txt", 9}};
	struct deleted deleted = {.entry = NONE, .was = "C:\\Scans\\bill.pdf"};
	struct bin bin = {.folder = NONE, .system = SIZE_MAX, .person = SIZE_MAX};
	struct scene scene;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 0, "\\Users\\mara\\AppData\\Roaming\\Plots.lnk", 10);
	scene_settle(&scene);
	deleted.entry = 0;
	scene.forge.survey.bins = &bin;
	scene.forge.survey.n_bins = 1;
	scene.forge.survey.deleted = &deleted;
	scene.forge.survey.n_deleted = 1;
	for (size_t i = 0; i < 7; i++)
		recents[i].person = scene.mara;
	scene.forge.systems[0].recents = recents;
	scene.forge.systems[0].n_recents = 7;
	scene_make(&scene, NULL);
	assert_int_equal(count_findings(&scene, "opened-nowhere", "1 document that mara "), 1);
	assert_int_equal(count_findings(&scene, "opened-nowhere", "vote.doc"), 1);
	scene_end(&scene);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_entries),
	    cmocka_unit_test(test_findings),
	    cmocka_unit_test(test_nowhere),
	};

	assert_true(locale_use_utf8(NULL));
	return cmocka_run_group_tests(tests, NULL, NULL);
}
