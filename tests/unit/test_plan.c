/*
 * Tests of the plan: links, streams, twins, lost files, the command line, findings.
 *
 * What is expected follows the project's own promises (nothing silently missing, one state for
 * every stream); there is no source outside for them. Reparse tags: [MS-FSCC] 2.1.2.1.
 */
#include "unit.h"

#include "base/locale.h"
#include "base/utf.h"
#include "plan/plan.h"
#include "scene.h"

#include "ntfs/reparse.h"
#include "system/devices.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Driver packages at the root are known by what is in them; one picture of somebody's is enough. */
static void test_drivers(void **state)
{
	struct scene scene;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 0, "\\Chips\\Graphics\\igx.inf", 1);
	forge_file(&scene.forge, 0, "\\Chips\\Graphics\\igx.sys", 1);
	forge_file(&scene.forge, 0, "\\Chips\\setup.exe", 1);
	forge_file(&scene.forge, 0, "\\Mixed\\igx.inf", 1);
	forge_file(&scene.forge, 0, "\\Mixed\\igx.sys", 1);
	forge_file(&scene.forge, 0, "\\Mixed\\deep\\me.jpg", 1);
	forge_file(&scene.forge, 0, "\\Texts\\readme.txt", 1);
	scene_settle(&scene);
	scene_make(&scene, NULL);
	scene_expect(&scene, "C:\\Chips\\Graphics\\igx.inf", "left offered");
	scene_expect(&scene, "C:\\Chips", "left offered");
	scene_expect(&scene, "C:\\Mixed\\igx.inf", "taken outside data/drives/C/Mixed/igx.inf");
	scene_expect(
	    &scene, "C:\\Texts\\readme.txt", "taken outside data/drives/C/Texts/readme.txt");
	scene_end(&scene);
}

/* What goes with a thing gets past the area it lies in, but no reason that is about itself. */
static void test_additions(void **state)
{
	struct thing things[4];
	struct scene scene;

	(void)state;
	scene_start(&scene);
	for (size_t i = 0; i < 4; i++)
		things[i] = (struct thing){.kind = THING_FONT, .person = SIZE_MAX};
	things[0].file = (struct location){
	    0, forge_file(&scene.forge, 0, "\\Windows\\Fonts\\hand.ttf", 7)};
	things[1].file = (struct location){
	    0, forge_file(&scene.forge, 0, "\\Users\\mara\\AppData\\Local\\Login Data", 7)};
	things[2].file = (struct location){
	    0, forge_file(&scene.forge, 0, "\\Users\\mara\\Documents\\hills.jpg", 7)};
	things[3].file = (struct location){SIZE_MAX, NONE};
	forge_file(&scene.forge, 0, "\\Windows\\Fonts\\other.ttf", 7);
	scene_settle(&scene);
	scene.forge.systems[scene.system].things = things;
	scene.forge.systems[scene.system].n_things = 4;
	scene_make(&scene, NULL);
	scene_expect(&scene, "C:\\Windows\\Fonts\\hand.ttf",
	    "taken added data/drives/C/Windows/Fonts/hand.ttf");
	scene_expect(&scene, "C:\\Windows\\Fonts\\other.ttf", "left system");
	scene_expect(&scene, "C:\\Users\\mara\\AppData\\Local\\Login Data", "left passwords");
	scene_expect(&scene, "C:\\Users\\mara\\Documents\\hills.jpg",
	    "taken place " PC "mara/Documents/hills.jpg");
	scene_end(&scene);
}

static void test_links(void **state)
{
	struct scene scene;
	uint32_t node;

	(void)state;
	scene_start(&scene);
	forge_link(&scene.forge, 0, "\\Users\\mara\\My Documents", REPARSE_MOUNT_POINT, true);
	node = forge_link(&scene.forge, 1, "\\latest.txt", REPARSE_SYMLINK, false);
	forge_stream(&scene.forge, 1, node, "", 0);
	forge_link(&scene.forge, 1, "\\Cloud", REPARSE_CLOUD, true);
	forge_file(&scene.forge, 1, "\\Cloud\\here.txt", 1);
	/* Files can lie behind a junction, unseen by the old system: they are not forgotten. */
	forge_link(&scene.forge, 1, "\\Covered", REPARSE_MOUNT_POINT, true);
	forge_file(&scene.forge, 1, "\\Covered\\below.txt", 1);
	scene_settle(&scene);
	scene_make(&scene, NULL);
	scene_expect(&scene, "C:\\Users\\mara\\My Documents", "left link");
	assert_int_equal(scene_item(&scene, "C:\\Users\\mara\\My Documents")->kind, ITEM_LINK);
	scene_expect(&scene, "D:\\latest.txt", "left link");
	scene_expect(&scene, "D:\\Cloud\\here.txt", "taken outside data/drives/D/Cloud/here.txt");
	scene_expect(&scene, "D:\\Cloud", "taken outside data/drives/D/Cloud");
	scene_expect(&scene, "D:\\Covered", "left link");
	scene_expect(
	    &scene, "D:\\Covered\\below.txt", "taken outside data/drives/D/Covered/below.txt");
	scene_end(&scene);
}

static void test_hard_links(void **state)
{
	struct scene scene;
	uint32_t node;

	(void)state;
	scene_start(&scene);
	node = forge_file(&scene.forge, 0, "\\Scans\\z.pdf", 7);
	forge_stream(&scene.forge, 0, node, "note", 3);
	forge_name(&scene.forge, 0, node, "\\Scans\\a.pdf");
	/* The first name is left, the second is a person's: that one is taken. */
	node = forge_file(&scene.forge, 0, "\\Windows\\shared.ttf", 5);
	forge_name(&scene.forge, 0, node, "\\Users\\mara\\Documents\\own.ttf");
	scene_settle(&scene);
	scene_make(&scene, NULL);
	scene_expect(&scene, "C:\\Scans\\z.pdf", "taken outside data/drives/C/Scans/z.pdf");
	scene_expect(&scene, "C:\\Scans\\a.pdf", "same outside data/drives/C/Scans/a.pdf");
	scene_expect(
	    &scene, "C:\\Scans\\a.pdf:note", "same outside data/drives/C/Scans/a.pdf.stream-note");
	scene_expect(&scene, "C:\\Windows\\shared.ttf", "left system");
	scene_expect(&scene, "C:\\Users\\mara\\Documents\\own.ttf",
	    "taken place " PC "mara/Documents/own.ttf");
	scene_end(&scene);
}

static void test_streams(void **state)
{
	struct scene scene;
	uint32_t node;

	(void)state;
	scene_start(&scene);
	node = forge_file(&scene.forge, 1, "\\a.txt", 1);
	forge_stream(&scene.forge, 1, node, "note", 2);
	forge_stream(&scene.forge, 1, node, "Note", 2);
	forge_stream(&scene.forge, 1, node, "Zone.Identifier", 2);
	forge_file(&scene.forge, 1, "\\a.txt.stream-NOTE", 2);
	node = forge_folder(&scene.forge, 1, "\\Folder");
	forge_stream(&scene.forge, 1, node, "about", 2);
	node = forge_file(&scene.forge, 1, "\\Thumbs.db", 1);
	forge_stream(&scene.forge, 1, node, "encryptable", 0);
	scene_settle(&scene);
	scene_make(&scene, NULL);
	/* What is there keeps its name; the streams are told apart, whichever comes first. */
	scene_expect(
	    &scene, "D:\\a.txt.stream-NOTE", "taken outside data/drives/D/a.txt.stream-NOTE");
	scene_expect(&scene, "D:\\a.txt:note", "taken outside data/drives/D/a.txt.stream-note%7E2");
	scene_expect(&scene, "D:\\a.txt:Note", "taken outside data/drives/D/a.txt.stream-Note%7E3");
	scene_expect(&scene, "D:\\a.txt:Zone.Identifier", "left zone-mark");
	scene_expect(&scene, "D:\\Folder:about", "taken outside data/drives/D/Folder.stream-about");
	scene_expect(&scene, "D:\\Thumbs.db:encryptable", "left cache");
	scene_end(&scene);
}

/* No two things that arrive may have one path in the archive, ignoring case. */
static void expect_no_path_twice(const struct plan *plan)
{
	struct buf one = {0}, two = {0};

	for (size_t i = 0; i < plan->n_items; i++) {
		if (plan->items[i].state == STATE_LEFT || plan->items[i].group == NONE)
			continue;
		buf_clear(&one);
		plan_archive_path(plan, &plan->items[i], &one);
		for (size_t j = 0; j < i; j++) {
			if (plan->items[j].state == STATE_LEFT || plan->items[j].group == NONE)
				continue;
			buf_clear(&two);
			plan_archive_path(plan, &plan->items[j], &two);
			if (utf_equal_fold(buf_text(&one), buf_text(&two)))
				fail_msg("twice in the archive: %s", buf_text(&one));
		}
	}
	buf_free(&one);
	buf_free(&two);
}

/* Damage can make a folder of a file, so that a folder has contents of its own. */
static void test_folders_with_contents(void **state)
{
	struct scene scene;
	uint32_t node;

	(void)state;
	scene_start(&scene);
	node = forge_folder(&scene.forge, 1, "\\cover.png");
	forge_stream(&scene.forge, 1, node, "", 900);
	forge_stream(&scene.forge, 1, node, "$Data", 2);
	forge_file(&scene.forge, 1, "\\cover.png\\inside.txt", 1);
	forge_file(&scene.forge, 1, "\\cover.png.stream-$DATA", 1);
	scene_settle(&scene);
	scene_make(&scene, NULL);
	expect_no_path_twice(&scene.plan);
	scene_expect(&scene, "D:\\cover.png.stream-$DATA",
	    "taken outside data/drives/D/cover.png.stream-$DATA");
	scene_expect(&scene, "D:\\cover.png\\inside.txt",
	    "taken outside data/drives/D/cover.png/inside.txt");
	scene_end(&scene);
}

static void test_twins(void **state)
{
	struct scene scene;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 1, "\\case twin.TXT", 1);
	forge_file(&scene.forge, 1, "\\Case Twin.txt", 1);
	forge_file(&scene.forge, 1, "\\CASE TWIN.txt", 1);
	forge_file(&scene.forge, 1, "\\Twin\\inside.txt", 1);
	forge_file(&scene.forge, 1, "\\twin\\inside.txt", 1);
	scene_settle(&scene);
	scene_make(&scene, NULL);
	/* In the order of their bytes, whatever order they were made in. */
	scene_expect(&scene, "D:\\CASE TWIN.txt", "taken outside data/drives/D/CASE TWIN.txt");
	scene_expect(&scene, "D:\\Case Twin.txt", "taken outside data/drives/D/Case Twin%7E2.txt");
	scene_expect(&scene, "D:\\case twin.TXT", "taken outside data/drives/D/case twin%7E3.TXT");
	scene_expect(&scene, "D:\\Twin\\inside.txt", "taken outside data/drives/D/Twin/inside.txt");
	scene_expect(
	    &scene, "D:\\twin\\inside.txt", "taken outside data/drives/D/twin%7E2/inside.txt");
	scene_end(&scene);
}

/* What a person encrypted goes into one group with what opens it, wherever it lies. */
static void test_sealed(void **state)
{
	static const char key[] = STREAM_KEY_NAME;
	struct scene scene;
	uint32_t node;

	(void)state;
	scene_start(&scene);
	node = forge_file(&scene.forge, 0, "\\Users\\mara\\Documents\\gate.txt", 700);
	forge_node(&scene.forge, 0, node)->streams[0].flags |= STREAM_ENCRYPTED;
	forge_stream(&scene.forge, 0, node, key, 84);
	forge_node(&scene.forge, 0, node)->streams[1].flags |= STREAM_KEY;
	/* Names that are the endings of another. */
	forge_file(&scene.forge, 0, "\\Users\\mara\\Documents\\gate.txt.encrypted-data", 1);
	node = forge_file(&scene.forge, 0, "\\Users\\mara\\Documents\\gate.txt.Encrypted-KEY", 1);
	forge_node(&scene.forge, 0, node)->streams[0].flags |= STREAM_ENCRYPTED;
	/* Nobody's: by itself, but encrypted all the same. */
	node = forge_file(&scene.forge, 1, "\\shed.txt", 700);
	forge_node(&scene.forge, 1, node)->streams[0].flags |= STREAM_ENCRYPTED;
	forge_stream(&scene.forge, 1, node, key, 84);
	forge_node(&scene.forge, 1, node)->streams[1].flags |= STREAM_KEY;
	/* Left things stay left. */
	node = forge_file(&scene.forge, 0, "\\Users\\mara\\AppData\\Local\\Temp\\t.txt", 700);
	forge_node(&scene.forge, 0, node)->streams[0].flags |= STREAM_ENCRYPTED;
	forge_file(
	    &scene.forge, 0, "\\Users\\mara\\AppData\\Roaming\\Microsoft\\Protect\\S-1\\k", 468);
	scene_settle(&scene);
	scene_make(&scene, NULL);
	expect_no_path_twice(&scene.plan);
	scene_expect(&scene, "C:\\Users\\mara\\Documents\\gate.txt",
	    "locked encrypted " PC
	    "mara/sealed/C/Users/mara/Documents/gate.txt.encrypted-data%7E2");
	scene_expect(&scene, "C:\\Users\\mara\\Documents\\gate.txt.Encrypted-KEY",
	    "locked encrypted " PC
	    "mara/sealed/C/Users/mara/Documents/gate.txt.Encrypted-KEY.encrypted-data");
	scene_expect(&scene, "C:\\Users\\mara\\Documents\\gate.txt.encrypted-data",
	    "taken place " PC "mara/Documents/gate.txt.encrypted-data");
	scene_expect(
	    &scene, "D:\\shed.txt", "locked encrypted data/drives/D/shed.txt.encrypted-data");
	scene_expect(&scene, "C:\\Users\\mara\\AppData\\Local\\Temp\\t.txt", "left temporary");
	scene_expect(&scene, "C:\\Users\\mara\\AppData\\Roaming\\Microsoft\\Protect\\S-1\\k",
	    "taken keys " PC "mara/sealed/C/Users/mara/AppData/Roaming/Microsoft/Protect/S-1/k");
	for (size_t i = 0; i < scene.plan.n_items; i++) {
		const struct item *item = &scene.plan.items[i];

		if (item->form != FORM_KEY)
			continue;
		assert_int_equal(item->state, STATE_TAKEN);
		assert_int_equal(item->reason, REASON_KEYS);
	}
	scene_end(&scene);
}

static void test_lost_and_damaged(void **state)
{
	struct scene scene;
	uint32_t folder, a, b;

	(void)state;
	scene_start(&scene);
	forge_lost(&scene.forge, 1, "orphan.txt", false);
	folder = forge_lost(&scene.forge, 1, "Orphans", true);
	a = forge_file(&scene.forge, 1, "\\x", 1);
	forge_node(&scene.forge, 1, a)->names[0].parent = folder;
	forge_file(&scene.forge, 1, "\\[no folder]\\real.txt", 1);
	/* A file without any stream: its record is damaged. */
	b = forge_folder(&scene.forge, 1, "\\broken.txt");
	forge_node(&scene.forge, 1, b)->node.flags = NODE_IN_USE | NODE_DAMAGED;
	/* Two folders that lie in each other, which nothing connects to the root. */
	a = forge_folder(&scene.forge, 1, "\\loop a");
	b = forge_folder(&scene.forge, 1, "\\loop a\\loop b");
	forge_node(&scene.forge, 1, a)->names[0].parent = b;
	scene_settle(&scene);
	scene_make(&scene, NULL);
	scene_expect(&scene, "D:\\[no folder]\\orphan.txt",
	    "taken outside data/drives/D/[no folder]/orphan.txt");
	scene_expect(&scene, "D:\\[no folder]\\Orphans\\x",
	    "taken outside data/drives/D/[no folder]/Orphans/x");
	scene_expect(&scene, "D:\\[no folder]\\real.txt",
	    "taken outside data/drives/D/[no folder]%7E2/real.txt");
	scene_expect(&scene, "D:\\broken.txt", "unreadable damaged data/drives/D/broken.txt");
	scene_end(&scene);
}

/* Every stream of every name exactly once, in the promised order. */
static void test_complete_and_sorted(void **state)
{
	struct scene scene;
	size_t expected = 0;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 1, "\\b\\x", 1);
	forge_file(&scene.forge, 1, "\\b.txt", 1);
	forge_file(&scene.forge, 1, "\\a\\y", 1);
	scene_settle(&scene);
	scene_make(&scene, NULL);
	for (size_t v = 0; v < 2; v++) {
		const struct catalogue *catalogue = &scene.forge.volumes[v].catalogue;

		for (size_t i = 0; i < catalogue->n_nodes; i++)
			expected += catalogue->nodes[i].flags & NODE_FOLDER
					? 1
					: catalogue->nodes[i].n_streams;
	}
	assert_int_equal(scene.plan.n_items, expected);
	for (size_t i = 1; i < scene.plan.n_items; i++) {
		const struct item *a = &scene.plan.items[i - 1], *b = &scene.plan.items[i];
		bool a_last = a->state == STATE_LEFT || a->group == NONE;
		bool b_last = b->state == STATE_LEFT || b->group == NONE;

		assert_true(a_last <= b_last);
		if (!a_last && !b_last)
			assert_true(a->group <= b->group);
		if (a_last && b_last)
			assert_true(a->volume <= b->volume);
	}
	assert_true(scene_item(&scene, "D:\\a\\y") < scene_item(&scene, "D:\\b"));
	assert_true(scene_item(&scene, "D:\\b") < scene_item(&scene, "D:\\b\\x"));
	assert_true(scene_item(&scene, "D:\\b\\x") < scene_item(&scene, "D:\\b.txt"));
	assert_int_equal(scene.plan.n_taken, 7);
	assert_int_equal(scene.plan.bytes_taken, 43);
	scene_end(&scene);
}

static void test_one_person(void **state)
{
	static const char *const names[] = {"mara quill"}, *const nobody[] = {"zed"};
	struct scene scene;
	struct error error;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 1, "\\Committee\\minutes.txt", 1);
	forge_file(&scene.forge, 0, "\\Users\\rowan\\AppData\\Local\\Temp\\x", 1);
	scene_settle(&scene);
	scene_make(&scene, &(struct plan_options){.persons = names, .n_persons = 1});
	scene_expect(&scene, "C:\\Users\\mara\\Documents\\mara.txt",
	    "taken place " PC "mara/Documents/mara.txt");
	scene_expect(&scene, "C:\\Users\\rowan\\Documents\\rowan.txt", "left not-asked");
	scene_expect(&scene, "C:\\Users\\rowan\\AppData\\Local\\Temp\\x", "left temporary");
	scene_expect(&scene, "C:\\Users\\Public\\Documents\\all.txt", "left not-asked");
	scene_expect(&scene, "D:\\Committee\\minutes.txt", "left not-asked");
	scene_expect(&scene, "D:\\Committee", "left not-asked");
	plan_free(&scene.plan);
	assert_false(plan_make(&scene.plan, &scene.forge.survey,
	    &(struct plan_options){.persons = nobody, .n_persons = 1}, NULL, &error));
	assert_int_equal(error.status, STATUS_USAGE);
	assert_non_null(strstr(error.text, "mara (Mara Quill), rowan"));
	scene_end(&scene);
}

static void test_take_and_leave(void **state)
{
	static const char *const takes[] = {"C:\\users\\mara\\AppData\\**\\Login Data", "*.keep",
	    "C:\\Users\\mara\\AppData\\Local\\Temp", "\\Windows\\Fonts\\**", "D:\\**"};
	static const char *const leaves[] = {"D:\\Films\\", "**\\b.keep"};
	struct scene scene;
	uint32_t node;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 0, "\\Users\\mara\\AppData\\Local\\B\\Default\\Login Data", 1);
	forge_file(&scene.forge, 0, "\\Users\\mara\\AppData\\Local\\Temp\\deep\\x", 1);
	forge_file(&scene.forge, 0, "\\Windows\\Fonts\\own.ttf", 1);
	forge_file(&scene.forge, 0, "\\Windows\\a.keep", 1);
	forge_file(&scene.forge, 0, "\\Windows\\b.keep", 1);
	forge_file(&scene.forge, 1, "\\Films\\a.mp4", 1);
	forge_link(&scene.forge, 1, "\\link", REPARSE_MOUNT_POINT, true);
	node = forge_file(&scene.forge, 1, "\\a.pdf", 1);
	forge_stream(&scene.forge, 1, node, "Zone.Identifier", 1);
	scene_settle(&scene);
	scene_make(&scene,
	    &(struct plan_options){.takes = takes, .n_takes = 5, .leaves = leaves, .n_leaves = 2});
	scene_expect(&scene, "C:\\Users\\mara\\AppData\\Local\\B\\Default\\Login Data",
	    "taken settings " PC "mara/settings/AppData/Local/B/Default/Login Data");
	scene_expect(&scene, "C:\\Users\\mara\\AppData\\Local\\Temp\\deep\\x",
	    "taken settings " PC "mara/settings/AppData/Local/Temp/deep/x");
	scene_expect(&scene, "C:\\Windows\\Fonts\\own.ttf",
	    "taken outside data/drives/C/Windows/Fonts/own.ttf");
	scene_expect(&scene, "C:\\Windows\\a.keep", "taken outside data/drives/C/Windows/a.keep");
	scene_expect(&scene, "C:\\Windows\\b.keep", "left not-asked");
	scene_expect(&scene, "D:\\Films\\a.mp4", "left not-asked");
	scene_expect(&scene, "D:\\Films", "left not-asked");
	scene_expect(&scene, "D:\\link", "left link");
	scene_expect(&scene, "D:\\a.pdf:Zone.Identifier", "left zone-mark");
	scene_expect(&scene, "D:\\", "left file-system");
	scene_end(&scene);
}

static void test_findings(void **state)
{
	struct scene scene;
	struct buf path = {0};

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 0, "\\Users\\mara\\AppData\\Local\\B\\Default\\Login Data", 1);
	forge_file(&scene.forge, 0, "\\Users\\mara\\.ssh\\id", 1);
	for (int i = 0; i < 6; i++)
		buf_add_text(&path, "\\a folder with quite a long name, as people make them");
	forge_folder(&scene.forge, 1, buf_text(&path));
	buf_free(&path);
	scene_settle(&scene);
	scene_make(&scene, NULL);
	assert_true(findings_have(&scene.findings, "passwords-not-taken"));
	assert_true(findings_have(&scene.findings, "offered-not-taken"));
	assert_true(findings_have(&scene.findings, "paths-too-long"));
	assert_false(findings_have(&scene.findings, "place-of-several"));
	scene_end(&scene);
}

/* A fifth of a million files take well under a second. */
static void test_speed(void **state)
{
	struct scene scene;
	struct forge_volume *volume;

	(void)state;
	scene_start(&scene);
	scene_settle(&scene);
	/* Laid out by hand: the forge is slow. A thousand folders with two hundred files each. */
	volume = &scene.forge.volumes[1];
	free(volume->catalogue.nodes);
	free(volume->catalogue.entries);
	free(volume->catalogue.streams);
	free(volume->catalogue.names);
	free(volume->catalogue.children);
	enum { FOLDERS = 1000, FILES = 200, NODES = 16 + FOLDERS * (FILES + 1) };
	struct catalogue *c = &volume->catalogue;
	c->nodes = calloc(NODES, sizeof(*c->nodes));
	c->entries = calloc(NODES, sizeof(*c->entries));
	c->streams = calloc(NODES, sizeof(*c->streams));
	c->children = calloc(NODES, sizeof(*c->children));
	c->names = calloc(NODES, 24);
	c->n_nodes = NODES;
	c->n_entries = c->n_streams = c->n_children = 0;
	for (uint32_t i = 0; i < NODES; i++) {
		uint32_t folder = i < 16 + FOLDERS ? NODE_ROOT : 16 + (i - 16 - FOLDERS) / FILES;
		bool is_folder = i < 16 + FOLDERS;

		if (i < 16 && i != NODE_ROOT)
			continue;
		snprintf(c->names + (size_t)i * 24, 24,
		    is_folder ? "folder %u" : "picture %07u.jpg", (unsigned)(i * 7919u % NODES));
		c->nodes[i] = (struct node){.flags = NODE_IN_USE | (is_folder ? NODE_FOLDER : 0),
		    .first_entry = (uint32_t)c->n_entries,
		    .n_entries = 1,
		    .first_stream = (uint32_t)c->n_streams,
		    .n_streams = !is_folder};
		if (!is_folder)
			c->streams[c->n_streams++] = (struct stream){
			    .node = i, .size = 1, .flags = STREAM_RESIDENT, .name = 23};
		c->entries[c->n_entries] =
		    (struct entry){.node = i, .parent = folder, .name = i * 24, .short_name = NONE};
		c->children[c->n_children++] = (uint32_t)c->n_entries++;
	}
	unit_limit_processor_time(60);
	scene_make(&scene, NULL);
	assert_true(scene.plan.n_taken > FOLDERS * FILES);
	scene_end(&scene);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_drivers),
	    cmocka_unit_test(test_additions),
	    cmocka_unit_test(test_links),
	    cmocka_unit_test(test_hard_links),
	    cmocka_unit_test(test_streams),
	    cmocka_unit_test(test_folders_with_contents),
	    cmocka_unit_test(test_twins),
	    cmocka_unit_test(test_sealed),
	    cmocka_unit_test(test_lost_and_damaged),
	    cmocka_unit_test(test_complete_and_sorted),
	    cmocka_unit_test(test_one_person),
	    cmocka_unit_test(test_take_and_leave),
	    cmocka_unit_test(test_findings),
	    cmocka_unit_test(test_speed),
	};

	assert_true(locale_use_utf8(NULL));
	return cmocka_run_group_tests(tests, NULL, NULL);
}
