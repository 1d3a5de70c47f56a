/*
 * Tests of what is likely forgotten, and of what counts as an address.
 *
 * Addresses: RFC 5321, 4.1.2 (one "@") and 4.5.3.1.3 (256 bytes with the brackets); what may stand
 * in one is narrower here, so that no text with an "@" in it passes for one.
 */
#include "unit.h"

#include "plan/forgotten.h"
#include "scene.h"
#include "system/ties.h"

#include <string.h>

static struct node *put(
    struct scene *scene, const char *path, uint64_t size, int days_made, int days_changed)
{
	uint32_t number = forge_file(&scene->forge, 0, path, size);
	struct node *node = &forge_node(&scene->forge, 0, number)->node;

	node->created = FORGE_TIME + days_made * FORGE_DAY;
	node->modified = FORGE_TIME + days_changed * FORGE_DAY;
	return node;
}

/* "C:\Folder reason files bytes" of each row, joined. */
static void expect(const struct scene *scene, const char *wanted)
{
	struct forgotten_list list;
	struct buf text = {0};

	assert_true(forgotten_find(&list, &scene->plan));
	for (size_t i = 0; i < list.count; i++) {
		buf_add_text(&text, i ? "|" : "");
		forgotten_path(&list.items[i], &scene->plan, &text);
		buf_printf(&text, " %s %u %u%s", reason_name(list.items[i].reason),
		    (unsigned)list.items[i].files, (unsigned)list.items[i].bytes,
		    list.items[i].is_whole ? "" : " part");
		assert_true(strlen(forgotten_words(&list.items[i])) > 10);
	}
	assert_string_equal(buf_text(&text), wanted);
	buf_free(&text);
	forgotten_free(&list);
}

static void largest_then_most_recent(void **state)
{
	struct scene scene;

	(void)state;
	scene_start(&scene);
	put(&scene, "\\$Recycle.Bin\\S-1\\$R1.txt", 900, 0, 1);
	put(&scene, "\\$Recycle.Bin\\S-1\\$RA\\deep\\b.txt", 50, 0, 2);
	put(&scene, "\\$Recycle.Bin\\S-2\\$R2.txt", 940, 0, 3);
	put(&scene, "\\Users\\mara\\.ssh\\id_fern", 999, 0, 2);
	put(&scene, "\\$Recycle.Bin\\S-3\\$R3.txt", 1000, 0, 0);
	scene_settle(&scene);
	scene_make(&scene, NULL);
	/* Of three digits the newest first; 1000 has four. */
	expect(&scene, "C:\\$Recycle.Bin\\S-3 recycle-bin 1 1000|"
		       "C:\\$Recycle.Bin\\S-2 recycle-bin 1 940|"
		       "C:\\Users\\mara\\.ssh offered 1 999|"
		       "C:\\$Recycle.Bin\\S-1 recycle-bin 2 950");
	scene_end(&scene);
}

static void only_what_is_worth_it(void **state)
{
	struct scene scene;

	(void)state;
	scene_start(&scene);
	/* In a program's folder: changed later, or not; of a kind that people make, or not. */
	put(&scene, "\\Program Files\\Paint\\brushes\\mine.png", 5000, 0, 40);
	put(&scene, "\\Program Files\\Paint\\brushes\\theirs.png", 5000, 0, -40);
	put(&scene, "\\Program Files\\Paint\\paint.dll", 5000, 0, 40);
	/* Temporary: documents, but not the mark of an open one. */
	put(&scene, "\\Users\\mara\\AppData\\Local\\Temp\\return.xlsx", 700, 0, 0);
	put(&scene, "\\Users\\mara\\AppData\\Local\\Temp\\banner.png", 700, 0, 0);
	put(&scene, "\\Users\\mara\\Documents\\~$mara.docx", 162, 0, 0);
	put(&scene, "\\Users\\mara\\AppData\\Local\\Prog\\kept.ini", 7, 0, 0);
	/* Left by installers. */
	put(&scene, "\\MSOCache\\All Users\\setup.exe", UINT64_C(1) << 20, 0, 0);
	put(&scene, "\\MSOCache\\All Users\\small.exe", (UINT64_C(1) << 20) - 1, 0, 0);
	/* Beside what is taken: the folder as such is not forgotten. */
	put(&scene, "\\Users\\mara\\Documents\\Virtual\\ledger.vdi", UINT64_C(1) << 30, 0, 0);
	put(&scene, "\\Users\\mara\\Documents\\Virtual\\notes.txt", 10, 0, 0);
	scene_settle(&scene);
	scene_make(&scene, NULL);
	expect(&scene, "C:\\Users\\mara\\Documents\\Virtual offered 1 1073741824 part|"
		       "C:\\MSOCache\\All Users installer-leftover 1 1048576|"
		       "C:\\Program Files\\Paint program 1 5000|"
		       "C:\\Users\\mara\\AppData\\Local\\Temp temporary 1 700");
	scene_end(&scene);
}

static void whoever_was_not_asked_for(void **state)
{
	static const char *const persons[] = {"mara"};
	const struct plan_options options = {.persons = persons, .n_persons = 1};
	struct scene scene;

	(void)state;
	scene_start(&scene);
	put(&scene, "\\Users\\rowan\\Documents\\long.txt", 77, 0, 0);
	scene_settle(&scene);
	scene_make(&scene, &options);
	expect(&scene, "C:\\Users\\rowan not-asked 2 87|C:\\Users\\Public not-asked 1 10");
	scene_end(&scene);
}

static void addresses(void **state)
{
	static const char *const good[] = {"mara@fernhill.example", "m@x", "a.b+c@d-e.example",
	    "zo\xc3\xab@fernhill.example"};
	static const char *const bad[] = {"", "@", "mara", "@fernhill.example", "mara@", "a@b@c",
	    "a b@c", "\"a\"@b", "<a@b>", "DOMAIN\\a@b", "a@b\n", "a@b/c", "mailto:a@b"};
	char long_one[300];

	(void)state;
	for (size_t i = 0; i < sizeof(good) / sizeof(good[0]); i++)
		assert_true(is_address(good[i]));
	for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++)
		assert_false(is_address(bad[i]));
	memset(long_one, 'a', sizeof(long_one));
	long_one[254] = '\0';
	long_one[5] = '@';
	assert_true(is_address(long_one));
	long_one[254] = 'a';
	long_one[255] = '\0';
	assert_false(is_address(long_one));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(largest_then_most_recent),
	    cmocka_unit_test(only_what_is_worth_it),
	    cmocka_unit_test(whoever_was_not_asked_for),
	    cmocka_unit_test(addresses),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
