/*
 * Tests of recycle bins: the readers of their index files, and what the plan makes of them.
 *
 * Sources: the bytes are laid out by hand after libyal's dtformats, "The Windows Recycle.Bin file
 * formats" and "The Windows Recycler file formats". No open sample of such files is at hand; those
 * on the demo drives are made by Python and read by Python in tests/run/recycle_bin.py. Which paths
 * things get in the archive is the project's own promise: each its own, as near to the old one as
 * can be.
 */
#include "unit.h"

#include "base/bytes.h"
#include "base/filetime.h"
#include "base/locale.h"
#include "base/utf.h"
#include "scene.h"
#include "system/recycle_bin.h"
#include "system/recycle_index.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define BIN "\\$Recycle.Bin\\S-1-5-21-7\\"
#define OTHER_BIN "\\$Recycle.Bin\\S-1-5-21-8\\"

/* --- index files --- */

static size_t put_wide(uint8_t *out, const char *text)
{
	struct buf wide = {0};
	size_t length;

	utf_to_utf16(&wide, text);
	length = wide.length;
	memcpy(out, wide.data, length);
	put_u16(out + length, 0);
	buf_free(&wide);
	return length + 2;
}

static int64_t moment_of(const char *text)
{
	int64_t filetime = 0;

	assert_true(filetime_from_text(text, &filetime));
	return filetime;
}

static void test_notes(void **state)
{
	int64_t when = moment_of("2023-10-20T09:30:00Z");
	uint8_t note[600] = {0};
	struct arena arena = {0};
	struct recycle_note read;
	size_t length;

	(void)state;
	put_u64(note, 1);
	put_u64(note + 8, 4711);
	put_u64(note + 16, (uint64_t)when);
	put_wide(note + 24, "C:\\Users\\Zo\xC3\xAB\\Beete.txt");
	assert_true(recycle_note_read(note, 24 + 520, &arena, &read));
	assert_string_equal(read.was, "C:\\Users\\Zo\xC3\xAB\\Beete.txt");
	assert_true(read.size == 4711 && read.when == when);

	put_u64(note, 2);
	length = put_wide(note + 28, "D:\\Hut.txt");
	put_u32(note + 24, (uint32_t)length / 2);
	assert_true(recycle_note_read(note, 28 + length, &arena, &read));
	assert_string_equal(read.was, "D:\\Hut.txt");
	/* A senseless number of characters; a path that is cut off; one that is none. */
	put_u32(note + 24, UINT32_MAX);
	assert_true(recycle_note_read(note, 28 + length, &arena, &read));
	assert_string_equal(read.was, "D:\\Hut.txt");
	assert_true(recycle_note_read(note, 28 + 7, &arena, &read));
	assert_null(read.was);
	put_wide(note + 28, "Hut.txt");
	assert_true(recycle_note_read(note, 28 + length, &arena, &read));
	assert_null(read.was);
	assert_true(read.when == when);
	/* A time that no calendar holds. */
	put_u64(note + 16, UINT64_MAX);
	assert_true(recycle_note_read(note, 28 + length, &arena, &read));
	assert_int_equal(read.when, 0);
	for (size_t cut = 0; cut < 24; cut++)
		assert_false(recycle_note_read(note, cut, &arena, &read));
	put_u64(note, 3);
	assert_false(recycle_note_read(note, sizeof(note), &arena, &read));
	arena_free(&arena);
}

static void put_record(
    uint8_t *record, uint32_t number, uint32_t drive, const char *path, int64_t when)
{
	strcpy((char *)record, path);
	put_u32(record + 260, number);
	put_u32(record + 264, drive);
	put_u64(record + 268, (uint64_t)when);
	put_u32(record + 276, 4096);
}

static void test_index(void **state)
{
	int64_t when = moment_of("2009-05-06T07:08:09Z");
	static uint8_t index[20 + 2 * 800];
	struct arena arena = {0};
	struct recycle_note *notes;

	(void)state;
	put_u32(index, 5);
	put_u32(index + 12, 800);
	put_record(index + 20, 1, 2, "C:\\Plots.txt", when);
	put_wide(index + 20 + 280, "C:\\Plots.txt");
	put_record(index + 820, 7, 3, "D:\\?berwinterung", when);
	put_wide(index + 820 + 280, "D:\\\xC3\x9C"
				    "berwinterung");
	index[820] = 0; /* taken out of the bin again */
	assert_int_equal(recycle_index_read(index, sizeof(index), &arena, &notes), 2);
	assert_string_equal(notes[0].was, "C:\\Plots.txt");
	assert_true(notes[0].number == 1 && notes[0].drive == 'c' && notes[0].when == when);
	assert_string_equal(notes[1].was, "D:\\\xC3\x9C"
					  "berwinterung");
	assert_true(notes[1].number == 7 && notes[1].drive == 'd' && notes[1].size == 4096);
	/* A record that is cut off does not count. */
	assert_int_equal(recycle_index_read(index, sizeof(index) - 1, &arena, &notes), 1);
	/* Records with the 8-bit name alone. */
	put_u32(index + 12, 280);
	assert_int_equal(recycle_index_read(index, 20 + 280, &arena, &notes), 1);
	assert_string_equal(notes[0].was, "C:\\Plots.txt");
	put_u32(index + 12, 0);
	assert_int_equal(recycle_index_read(index, sizeof(index), &arena, &notes), 0);
	assert_int_equal(recycle_index_read(index, 19, &arena, &notes), 0);
	arena_free(&arena);
}

/* --- the plan --- */

struct bins {
	struct scene scene;
	struct bin bins[2];
	struct deleted things[64];
};

static void bins_start(struct bins *bins)
{
	memset(bins, 0, sizeof(*bins));
	scene_start(&bins->scene);
}

static void bins_settle(struct bins *bins)
{
	struct survey *survey = &bins->scene.forge.survey;

	scene_settle(&bins->scene);
	bins->scene.forge.persons[0][bins->scene.mara].sid = "S-1-5-21-7";
	for (size_t i = 0; i < 2; i++)
		bins->bins[i] = (struct bin){.system = SIZE_MAX, .person = SIZE_MAX};
	bins->bins[0].folder = forge_at(&bins->scene.forge, "C:\\$Recycle.Bin\\S-1-5-21-7").node;
	bins->bins[1].folder = forge_at(&bins->scene.forge, "C:\\$Recycle.Bin\\S-1-5-21-8").node;
	bins->bins[0].system = 0;
	bins->bins[0].person = bins->scene.mara;
	survey->bins = bins->bins;
	survey->n_bins = bins->bins[1].folder == NONE ? 1 : 2;
	survey->deleted = bins->things;
}

static int by_entry(const void *a, const void *b)
{
	const struct deleted *one = a, *two = b;

	return one->entry < two->entry ? -1 : one->entry > two->entry;
}

/* `day`: deleted so many days after a certain one; 0: nothing is known of it. */
static void thing(struct bins *bins, size_t bin, const char *name, const char *was, int day)
{
	struct survey *survey = &bins->scene.forge.survey;
	const struct catalogue *catalogue = &bins->scene.forge.volumes[0].catalogue;

	survey->deleted[survey->n_deleted++] = (struct deleted){.bin = bin,
	    .entry = catalogue_child(catalogue, bins->bins[bin].folder, name),
	    .was = was,
	    .when = day ? FORGE_TIME + day * FORGE_DAY : 0,
	    .is_recent = day > 0};
	qsort(survey->deleted, survey->n_deleted, sizeof(*survey->deleted), by_entry);
}

static void test_plan(void **state)
{
	static struct bins bins;
	uint32_t node;

	(void)state;
	bins_start(&bins);
	forge_file(&bins.scene.forge, 0, BIN "$R1.txt", 1);
	forge_file(&bins.scene.forge, 0, BIN "$I1.txt", 1);
	forge_file(&bins.scene.forge, 0, BIN "desktop.ini", 1);
	node = forge_file(&bins.scene.forge, 0, BIN "$R2.txt", 1);
	forge_stream(&bins.scene.forge, 0, node, "note", 1);
	forge_stream(&bins.scene.forge, 0, node, "Zone.Identifier", 1);
	forge_file(&bins.scene.forge, 0, BIN "$R3\\a.doc", 1);
	forge_file(&bins.scene.forge, 0, BIN "$R3\\Thumbs.db", 1);
	forge_file(&bins.scene.forge, 0, BIN "$R4.doc", 1);
	forge_file(&bins.scene.forge, 0, BIN "$R5.exe", 1);
	forge_file(&bins.scene.forge, 0, BIN "$R6.txt", 1);
	forge_file(&bins.scene.forge, 0, BIN "$R7", 1);
	forge_file(&bins.scene.forge, 0, OTHER_BIN "$R1.txt", 1);
	bins_settle(&bins);
	thing(&bins, 0, "$R1.txt", "C:\\Users\\mara\\Plots.txt", 3);
	thing(&bins, 0, "$R2.txt", "C:\\Users\\MARA\\plots.txt", 2);
	thing(&bins, 0, "$R3", "D:\\Hut", 3);
	thing(&bins, 0, "$R4.doc", "D:\\Hut\\a.doc", 2);
	thing(&bins, 0, "$R5.exe", "C:\\Users\\mara\\game.exe", 3);
	thing(&bins, 0, "$R6.txt", "C:\\Users\\mara\\old.txt", -3);
	thing(&bins, 0, "$R7", NULL, 0);
	thing(&bins, 1, "$R1.txt", "C:\\Fern\\..\\CON?.txt", 3);
	scene_make(&bins.scene, NULL);
	scene_expect(
	    &bins.scene, "C:" BIN "$R1.txt", "taken deleted " PC "mara/recycle-bin/Plots.txt");
	scene_expect(&bins.scene, "C:" BIN "$I1.txt", "left system");
	scene_expect(&bins.scene, "C:" BIN "desktop.ini", "left system");
	scene_expect(
	    &bins.scene, "C:" BIN "$R2.txt", "taken deleted " PC "mara/recycle-bin/plots%7E2.txt");
	scene_expect(&bins.scene, "C:" BIN "$R2.txt:note",
	    "taken deleted " PC "mara/recycle-bin/plots%7E2.txt.stream-note");
	scene_expect(&bins.scene, "C:" BIN "$R2.txt:Zone.Identifier", "left zone-mark");
	scene_expect(
	    &bins.scene, "C:" BIN "$R3\\a.doc", "taken deleted " PC "mara/recycle-bin/D/Hut/a.doc");
	scene_expect(&bins.scene, "C:" BIN "$R3", "taken deleted " PC "mara/recycle-bin/D/Hut");
	scene_expect(&bins.scene, "C:" BIN "$R3\\Thumbs.db", "left recycle-bin");
	scene_expect(&bins.scene, "C:" BIN "$R4.doc",
	    "taken deleted " PC "mara/recycle-bin/D%7E2/Hut/a.doc");
	scene_expect(&bins.scene, "C:" BIN "$R5.exe", "left recycle-bin");
	scene_expect(&bins.scene, "C:" BIN "$R6.txt", "left recycle-bin");
	scene_expect(&bins.scene, "C:" BIN "$R7", "left recycle-bin");
	/* Nobody's folder in the archive: the person's one stands for it. */
	scene_expect(&bins.scene, "C:\\$Recycle.Bin\\S-1-5-21-7", "taken deleted");
	scene_expect(&bins.scene, "C:\\$Recycle.Bin", "taken deleted");
	scene_expect(&bins.scene, "C:" OTHER_BIN "$R1.txt",
	    "taken deleted " PC "shared/recycle-bin/C/Fern/.%2E/CON%3F.txt");
	assert_true(findings_have(&bins.scene.findings, "recycle-bin-not-taken"));
	scene_end(&bins.scene);
}

/* By the path in the bin, by the one that it had, and by a name. */
static void test_choices(void **state)
{
	static const char *const takes[] = {
	    "C:\\$Recycle.Bin\\*\\$R1.exe", "C:\\Users\\mara\\Hut", "old?.txt"};
	static const char *const leaves[] = {"C:\\Users\\mara\\Hut\\b.txt", "D:\\**"};
	static const char *const persons[] = {"rowan"};
	struct plan_options options = {
	    .takes = takes, .n_takes = 3, .leaves = leaves, .n_leaves = 2};
	static struct bins bins;

	(void)state;
	for (int asked = 0; asked < 2; asked++) {
		bins_start(&bins);
		forge_file(&bins.scene.forge, 0, BIN "$R1.exe", 1);
		forge_file(&bins.scene.forge, 0, BIN "$R2\\a.txt", 1);
		forge_file(&bins.scene.forge, 0, BIN "$R2\\b.txt", 1);
		forge_file(&bins.scene.forge, 0, BIN "$R3.txt", 1);
		forge_file(&bins.scene.forge, 0, BIN "$R4.txt", 1);
		forge_file(&bins.scene.forge, 0, BIN "$R5.txt", 1);
		bins_settle(&bins);
		thing(&bins, 0, "$R1.exe", NULL, 0);
		thing(&bins, 0, "$R2", "C:\\Users\\mara\\Hut", -3);
		thing(&bins, 0, "$R3.txt", "C:\\old1.txt", -3);
		thing(&bins, 0, "$R4.txt", "D:\\new.txt", 3);
		thing(&bins, 0, "$R5.txt", "C:\\new.txt", 3);
		options.persons = persons;
		options.n_persons = asked;
		scene_make(&bins.scene, &options);
		scene_expect(&bins.scene, "C:" BIN "$R1.exe",
		    "taken deleted " PC "mara/recycle-bin/$R1.exe");
		scene_expect(&bins.scene, "C:" BIN "$R2\\a.txt",
		    "taken deleted " PC "mara/recycle-bin/Hut/a.txt");
		scene_expect(&bins.scene, "C:" BIN "$R2\\b.txt", "left not-asked");
		scene_expect(&bins.scene, "C:" BIN "$R4.txt", "left not-asked");
		scene_expect(&bins.scene, "C:" BIN "$R5.txt",
		    asked ? "left not-asked" : "taken deleted " PC "mara/recycle-bin/C/new.txt");
		scene_end(&bins.scene);
	}
}

static int by_text(const void *a, const void *b)
{
	return utf_compare_fold(*(char *const *)a, *(char *const *)b);
}

/* Whatever paths things claim to have had, no two of them meet in the archive. */
static void test_paths_differ(void **state)
{
	static const char *const words[] = {"A", "a", "b.txt", "b.txt.stream-s", "b.txt.STREAM-S~2",
	    "b.stream-s", "b%7E2.txt", "b.txt.data-ranges", "c"};
	static struct bins bins;

	(void)state;
	srand(11);
	for (unsigned round = 0; round < 40; round++) {
		char was[64][80], name[80], *paths[400];
		size_t n_paths = 0;

		bins_start(&bins);
		for (int i = 0; i < 64; i++) {
			uint32_t node;

			snprintf(name, sizeof(name), BIN "$R%d%s", i, i % 4 ? "" : "\\a");
			node = forge_file(&bins.scene.forge, 0, name, 1);
			if (rand() % 2)
				forge_stream(&bins.scene.forge, 0, node, "s", 1);
			strcpy(was[i], "C:");
			for (int n = 1 + rand() % 3; n > 0; n--) {
				strcat(was[i], "\\");
				strcat(was[i], words[rand() % 9]);
			}
		}
		bins_settle(&bins);
		for (int i = 0; i < 64; i++) {
			snprintf(name, sizeof(name), "$R%d", i);
			thing(&bins, 0, name, was[i], 1 + rand() % 5);
		}
		scene_make(
		    &bins.scene, &(struct plan_options){
				     .takes = (const char *[]){"C:\\$Recycle.Bin"}, .n_takes = 1});
		for (size_t i = 0; i < bins.scene.plan.n_items; i++) {
			const struct item *item = &bins.scene.plan.items[i];
			struct buf path = {0};

			if (item->group == NONE || !bins.scene.plan.groups[item->group].is_bin)
				continue;
			plan_archive_path(&bins.scene.plan, item, &path);
			assert_true(n_paths < 400);
			paths[n_paths++] = strdup(buf_text(&path));
			buf_free(&path);
		}
		assert_true(n_paths > 64);
		qsort(paths, n_paths, sizeof(*paths), by_text);
		for (size_t i = 1; i < n_paths; i++)
			if (utf_equal_fold(paths[i], paths[i - 1]))
				fail_msg("%s is there twice", paths[i]);
		for (size_t i = 0; i < n_paths; i++)
			free(paths[i]);
		scene_end(&bins.scene);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_notes),
	    cmocka_unit_test(test_index),
	    cmocka_unit_test(test_plan),
	    cmocka_unit_test(test_choices),
	    cmocka_unit_test(test_paths_differ),
	};

	assert_true(locale_use_utf8(NULL));
	return cmocka_run_group_tests(tests, NULL, NULL);
}
