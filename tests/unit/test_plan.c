/*
 * Tests of the plan: areas, states, the command line, archive paths.
 *
 * What is expected follows the project's own promises (nothing silently missing, one state for every
 * stream); there is no source outside for them. Default locations: KNOWNFOLDERID page; reparse tags:
 * [MS-FSCC] 2.1.2.1.
 */
#include "unit.h"

#include "base/locale.h"
#include "base/utf.h"
#include "forge.h"
#include "ntfs/reparse.h"
#include "plan/plan.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* One test's drive and plan; `mara` and `rowan` have profiles on C:, D: is a data volume. */
struct scene {
	struct forge forge;
	struct findings findings;
	struct plan plan;
	size_t system, mara, rowan;
};

static void start(struct scene *scene)
{
	struct forge *forge = &scene->forge;

	memset(scene, 0, sizeof(*scene));
	findings_init(&scene->findings);
	forge_start(forge);
	forge_volume(forge, "C:");
	forge_volume(forge, "D:");
	forge_file(forge, 0, "\\Windows\\System32\\config\\SYSTEM", 1);
	forge_folder(forge, 0, "\\Windows\\System32\\drivers");
	forge_file(forge, 0, "\\Users\\mara\\Documents\\mara.txt", 10);
	forge_file(forge, 0, "\\Users\\mara\\AppData\\Roaming\\Prog\\prog.ini", 10);
	forge_file(forge, 0, "\\Users\\rowan\\Documents\\rowan.txt", 10);
	forge_folder(forge, 0, "\\Users\\rowan\\AppData\\Local");
	forge_file(forge, 0, "\\Users\\Public\\Documents\\all.txt", 10);
	forge_folder(forge, 0, "\\Users\\Default");
	forge_folder(forge, 0, "\\Program Files");
	forge_folder(forge, 0, "\\ProgramData");
}

/* Catalogues are done: now who is who. */
static void settle(struct scene *scene)
{
	struct forge *forge = &scene->forge;

	forge_finish(forge);
	scene->system = forge_system(forge, 0, "FERNHILL-PC");
	scene->mara = forge_person(forge, scene->system, "mara", "C:\\Users\\mara");
	forge->persons[0][scene->mara].full_name = "Mara Quill";
	forge_place(forge, 0, scene->mara, "documents", "Documents", "C:\\Users\\mara\\Documents",
	    PLACE_HERE);
	scene->rowan = forge_person(forge, scene->system, "rowan", "C:\\Users\\rowan");
	forge_place(forge, 0, scene->rowan, "documents", "Documents", "C:\\Users\\rowan\\Documents",
	    PLACE_HERE);
	forge_place(forge, 0, SIZE_MAX, "documents", "Documents", "C:\\Users\\Public\\Documents",
	    PLACE_HERE);
}

static void make(struct scene *scene, const struct plan_options *options)
{
	struct error error;

	if (!plan_make(&scene->plan, &scene->forge.survey, options, &scene->findings, &error))
		fail_msg("%s", error.text);
}

static void end(struct scene *scene)
{
	plan_free(&scene->plan);
	findings_free(&scene->findings);
	forge_free(&scene->forge);
}

/* "C:\Users\mara\x.txt" or, for a stream, "...x.txt:note". */
static const struct item *find_item(const struct scene *scene, const char *full)
{
	const struct plan *plan = &scene->plan;
	const struct item *found = NULL;

	for (size_t i = 0; i < plan->n_items; i++) {
		const struct item *item = &plan->items[i];
		const struct catalogue *catalogue =
		    plan->survey->volumes[item->volume].volume->catalogue;
		struct buf old = {0};

		buf_add_text(&old, plan->survey->volumes[item->volume].name);
		plan_old_path(plan, item, &old);
		if (item->stream != NONE &&
		    *catalogue_name(catalogue, catalogue->streams[item->stream].name))
			buf_printf(&old, ":%s",
			    catalogue_name(catalogue, catalogue->streams[item->stream].name));
		if (strcmp(buf_text(&old), full) == 0) {
			if (found)
				fail_msg("two items for %s", full);
			found = item;
		}
		buf_free(&old);
	}
	if (!found)
		fail_msg("no item for %s", full);
	return found;
}

/* State, reason and archive path in one text: "taken place data/PC/mara/Documents/x.txt". */
static void expect(const struct scene *scene, const char *full, const char *expected)
{
	const struct item *item = find_item(scene, full);
	struct buf text = {0};

	buf_printf(&text, "%s %s", state_name(item->state), reason_name(item->reason));
	if (item->state != STATE_LEFT && item->group != NONE) {
		buf_add_byte(&text, ' ');
		plan_archive_path(&scene->plan, item, &text);
	}
	if (strcmp(buf_text(&text), expected) != 0)
		fail_msg("%s: %s, not %s", full, buf_text(&text), expected);
	buf_free(&text);
}

#define PC "data/FERNHILL-PC/"

static void test_areas(void **state)
{
	struct scene scene;

	(void)state;
	start(&scene);
	forge_file(&scene.forge, 0, "\\Users\\mara\\Own folder\\a.txt", 1);
	forge_file(&scene.forge, 0, "\\Users\\Public\\ledger.csv", 1);
	forge_file(&scene.forge, 1, "\\Committee\\minutes.txt", 1);
	forge_folder(&scene.forge, 1, "\\Empty");
	settle(&scene);
	make(&scene, NULL);
	expect(&scene, "C:\\Users\\mara\\Documents\\mara.txt", "taken place " PC "mara/Documents/mara.txt");
	expect(&scene, "C:\\Users\\mara\\Documents", "taken place " PC "mara/Documents");
	expect(&scene, "C:\\Users\\mara\\Own folder\\a.txt",
	    "taken profile " PC "mara/other/Own folder/a.txt");
	expect(&scene, "C:\\Users\\mara", "taken profile " PC "mara/other");
	expect(&scene, "C:\\Users\\mara\\AppData\\Roaming\\Prog\\prog.ini",
	    "taken settings " PC "mara/settings/AppData/Roaming/Prog/prog.ini");
	expect(&scene, "C:\\Users\\Public\\Documents\\all.txt",
	    "taken shared " PC "shared/Documents/all.txt");
	expect(&scene, "C:\\Users\\Public\\ledger.csv", "taken shared " PC "shared/other/ledger.csv");
	expect(&scene, "C:\\Windows\\System32\\config\\SYSTEM", "left system");
	expect(&scene, "C:\\Windows", "left system");
	expect(&scene, "C:\\Users\\Default", "left system");
	expect(&scene, "C:\\ProgramData", "left program");
	expect(&scene, "D:\\Committee\\minutes.txt", "taken outside data/drives/D/Committee/minutes.txt");
	expect(&scene, "D:\\Empty", "taken outside data/drives/D/Empty");
	/* Everything in it is somebody's and goes elsewhere: no empty folder in the archive. */
	expect(&scene, "C:\\Users", "taken outside");
	end(&scene);
}

/* A place that was moved, its leftover, a place in a place, and one in the root of a volume. */
static void test_moved_places(void **state)
{
	struct scene scene;
	struct place *place;

	(void)state;
	start(&scene);
	forge_file(&scene.forge, 1, "\\Photos\\2019\\a.jpg", 1);
	forge_file(&scene.forge, 1, "\\Photos\\Roll\\b.jpg", 1);
	forge_file(&scene.forge, 0, "\\Users\\mara\\Pictures\\left.jpg", 1);
	settle(&scene);
	place = forge_place(&scene.forge, 0, scene.mara, "pictures", "Pictures", "D:\\Photos",
	    PLACE_OTHER_VOLUME);
	place->leftover = forge_at(&scene.forge, "C:\\Users\\mara\\Pictures");
	forge_place(&scene.forge, 0, scene.mara, "camera-roll", "Camera Roll", "D:\\Photos\\Roll",
	    PLACE_OTHER_VOLUME);
	make(&scene, NULL);
	expect(&scene, "D:\\Photos\\2019\\a.jpg", "taken place " PC "mara/Pictures/2019/a.jpg");
	expect(&scene, "D:\\Photos\\Roll\\b.jpg", "taken place " PC "mara/Camera Roll/b.jpg");
	expect(&scene, "C:\\Users\\mara\\Pictures\\left.jpg",
	    "taken profile " PC "mara/other/Pictures/left.jpg");
	end(&scene);

	start(&scene);
	forge_file(&scene.forge, 1, "\\letter.txt", 1);
	forge_file(&scene.forge, 1, "\\$RECYCLE.BIN\\S-1-5-21-1\\$R1.txt", 1);
	settle(&scene);
	forge_place(&scene.forge, 0, scene.mara, "documents", "Documents", "D:\\", PLACE_OTHER_VOLUME);
	make(&scene, NULL);
	expect(&scene, "D:\\letter.txt", "taken place " PC "mara/Documents/letter.txt");
	expect(&scene, "D:\\$RECYCLE.BIN\\S-1-5-21-1\\$R1.txt", "left recycle-bin");
	end(&scene);
}

/* Two persons, one folder: it goes to the first, and to whom it belongs by default before others. */
static void test_one_folder_of_two(void **state)
{
	struct scene scene;

	(void)state;
	start(&scene);
	forge_file(&scene.forge, 1, "\\Music\\song.mp3", 1);
	settle(&scene);
	forge_place(&scene.forge, 0, scene.mara, "music", "Music", "D:\\Music", PLACE_OTHER_VOLUME);
	forge_place(&scene.forge, 0, scene.rowan, "music", "Music", "D:\\Music", PLACE_OTHER_VOLUME);
	forge_place(&scene.forge, 0, scene.mara, "downloads", "Downloads",
	    "C:\\Users\\rowan\\Documents", PLACE_REDIRECTED);
	make(&scene, NULL);
	expect(&scene, "D:\\Music\\song.mp3", "taken place " PC "mara/Music/song.mp3");
	expect(&scene, "C:\\Users\\rowan\\Documents\\rowan.txt",
	    "taken place " PC "rowan/Documents/rowan.txt");
	assert_true(findings_have(&scene.findings, "place-of-several"));
	end(&scene);
}

/* A place that is said to be the Windows folder does not make the system somebody's. */
static void test_senseless_place(void **state)
{
	struct scene scene;

	(void)state;
	start(&scene);
	settle(&scene);
	forge_place(&scene.forge, 0, scene.mara, "music", "Music", "C:\\Windows", PLACE_REDIRECTED);
	make(&scene, NULL);
	expect(&scene, "C:\\Windows\\System32\\config\\SYSTEM", "left system");
	end(&scene);
}

static void test_offline_copies(void **state)
{
	static const char copies[] = "C:\\Windows\\CSC\\v2.0.6\\namespace\\HUT\\film";
	struct scene scene;
	struct place *place;

	(void)state;
	start(&scene);
	forge_file(&scene.forge, 0, "\\Windows\\CSC\\v2.0.6\\namespace\\HUT\\film\\a.mp4", 1);
	settle(&scene);
	place = forge_place(&scene.forge, 0, scene.mara, "videos", "Videos", "\\\\HUT\\film", PLACE_SHARE);
	place->offline = forge_at(&scene.forge, copies);
	make(&scene, NULL);
	expect(&scene, "C:\\Windows\\CSC\\v2.0.6\\namespace\\HUT\\film\\a.mp4",
	    "taken place " PC "mara/Videos/a.mp4");
	/* Folders on the way say that something in them is taken, and are no folders of the archive. */
	expect(&scene, "C:\\Windows\\CSC", "taken place");
	end(&scene);
}

static void test_service_profile(void **state)
{
	struct scene scene;
	size_t service;

	(void)state;
	start(&scene);
	forge_file(&scene.forge, 0, "\\Users\\sync\\Documents\\x", 1);
	settle(&scene);
	service = forge_person(&scene.forge, 0, "sync", "C:\\Users\\sync");
	scene.forge.persons[0][service].is_service = true;
	make(&scene, NULL);
	expect(&scene, "C:\\Users\\sync\\Documents\\x", "left service-profile");
	end(&scene);
}

/* XP: other folders of settings, in any language, and a shared Application Data. */
static void test_xp(void **state)
{
	struct scene scene;
	struct old_system *system;

	(void)state;
	start(&scene);
	forge_file(&scene.forge, 1, "\\Windows\\System32\\config\\SYSTEM", 1);
	forge_folder(&scene.forge, 1, "\\Windows\\System32\\drivers");
	forge_file(&scene.forge, 1, "\\Docs\\ada\\Anwendungsdaten\\Microsoft\\x.ini", 1);
	forge_file(&scene.forge, 1, "\\Docs\\ada\\Lokal\\Anwendungsdaten\\Microsoft\\y.ini", 1);
	forge_file(&scene.forge, 1, "\\Docs\\ada\\Lokal\\Temp\\z.txt", 1);
	forge_file(&scene.forge, 1, "\\Docs\\ada\\Lokal\\Temporary Internet Files\\Content.IE5\\p", 1);
	forge_file(&scene.forge, 1, "\\Docs\\ada\\Eigene Dateien\\brief.doc", 1);
	forge_file(&scene.forge, 1, "\\Docs\\All Users\\Application Data\\Microsoft\\c", 1);
	forge_file(&scene.forge, 1, "\\Programme\\Windows NT\\a.exe", 1);
	forge_folder(&scene.forge, 1, "\\Programme\\Internet Explorer");
	forge_folder(&scene.forge, 1, "\\Programme\\Common Files");
	forge_file(&scene.forge, 1, "\\Programme\\Ledger\\b.exe", 1);
	settle(&scene);
	system = &scene.forge.systems[forge_system(&scene.forge, 1, "OLD")];
	system->public_profile = forge_at(&scene.forge, "D:\\Docs\\All Users");
	forge_person(&scene.forge, 1, "ada", "D:\\Docs\\ada");
	forge_place(&scene.forge, 1, 0, "documents", "Documents", "D:\\Docs\\ada\\Eigene Dateien",
	    PLACE_HERE);
	make(&scene, NULL);
	expect(&scene, "D:\\Docs\\ada\\Anwendungsdaten\\Microsoft\\x.ini",
	    "taken settings data/OLD/ada/settings/Anwendungsdaten/Microsoft/x.ini");
	expect(&scene, "D:\\Docs\\ada\\Lokal\\Anwendungsdaten\\Microsoft\\y.ini",
	    "taken settings data/OLD/ada/settings/Lokal/Anwendungsdaten/Microsoft/y.ini");
	expect(&scene, "D:\\Docs\\ada\\Lokal\\Temp\\z.txt", "left temporary");
	expect(&scene, "D:\\Docs\\ada\\Lokal\\Temporary Internet Files\\Content.IE5\\p", "left cache");
	expect(&scene, "D:\\Docs\\ada\\Eigene Dateien\\brief.doc",
	    "taken place data/OLD/ada/Documents/brief.doc");
	expect(&scene, "D:\\Docs\\All Users\\Application Data\\Microsoft\\c", "left system");
	expect(&scene, "D:\\Programme\\Ledger\\b.exe", "left program");
	end(&scene);
}

/* An old copy in a folder: its profiles are persons' too, its root is like a root. */
static void test_old_copy(void **state)
{
	struct scene scene;
	struct old_system *system;

	(void)state;
	start(&scene);
	forge_file(&scene.forge, 0, "\\Windows.old\\Windows\\System32\\config\\SYSTEM", 1);
	forge_folder(&scene.forge, 0, "\\Windows.old\\Windows\\System32\\drivers");
	forge_file(&scene.forge, 0, "\\Windows.old\\Users\\mara\\Documents\\old.txt", 1);
	forge_file(&scene.forge, 0, "\\Windows.old\\Program Files\\P\\p.exe", 1);
	forge_file(&scene.forge, 0, "\\Windows.old\\pagefile.sys", 1);
	settle(&scene);
	system = &scene.forge.systems[forge_system(&scene.forge, 0, "FERNHILL-PC-2")];
	system->container = forge_at(&scene.forge, "C:\\Windows.old").node;
	system->windows = forge_at(&scene.forge, "C:\\Windows.old\\Windows").node;
	system->is_copy = true;
	forge_person(&scene.forge, 1, "mara", "C:\\Windows.old\\Users\\mara");
	forge_place(&scene.forge, 1, 0, "documents", "Documents",
	    "C:\\Windows.old\\Users\\mara\\Documents", PLACE_HERE);
	make(&scene, NULL);
	expect(&scene, "C:\\Windows.old\\Users\\mara\\Documents\\old.txt",
	    "taken place data/FERNHILL-PC-2/mara/Documents/old.txt");
	expect(&scene, "C:\\Windows.old\\Program Files\\P\\p.exe", "left program");
	expect(&scene, "C:\\Windows.old\\Windows\\System32\\config\\SYSTEM", "left system");
	expect(&scene, "C:\\Windows.old\\pagefile.sys", "left page-file");
	/* Two groups of the same person and place have different keys. */
	for (size_t i = 0; i < scene.plan.n_groups; i++)
		for (size_t k = 0; k < i; k++) {
			assert_false(utf_equal_fold(scene.plan.groups[i].key, scene.plan.groups[k].key));
			assert_false(
			    utf_equal_fold(scene.plan.groups[i].folder, scene.plan.groups[k].folder));
		}
	end(&scene);
}

/* A person called like a folder of the layout, a PC called like another. */
static void test_layout_names(void **state)
{
	struct scene scene;

	(void)state;
	start(&scene);
	forge_file(&scene.forge, 0, "\\Users\\Shared\\a.txt", 1);
	forge_folder(&scene.forge, 0, "\\Users\\Shared\\AppData");
	settle(&scene);
	scene.forge.systems[0].key = "Drives";
	forge_person(&scene.forge, 0, "Shared", "C:\\Users\\Shared");
	make(&scene, NULL);
	expect(&scene, "C:\\Users\\Shared\\a.txt", "taken profile data/Drives%7E2/Shared%7E2/other/a.txt");
	expect(&scene, "C:\\Users\\Public\\Documents\\all.txt",
	    "taken shared data/Drives%7E2/shared/Documents/all.txt");
	end(&scene);
}

static struct node *times(struct scene *scene, uint32_t node, int created_days, int modified_days)
{
	struct node *of = &forge_node(&scene->forge, 0, node)->node;

	of->created = FORGE_TIME + created_days * FORGE_DAY;
	of->modified = FORGE_TIME + modified_days * FORGE_DAY;
	return of;
}

static void test_changed(void **state)
{
	struct scene scene;
	struct forge *forge = &scene.forge;

	(void)state;
	start(&scene);
	times(&scene, forge_folder(forge, 0, "\\Program Files\\Ledger"), 10, 900);
	times(&scene, forge_file(forge, 0, "\\Program Files\\Ledger\\Data\\books.sldb", 1), 10, 900);
	times(&scene, forge_file(forge, 0, "\\Program Files\\Ledger\\Data\\new.sldb", 1), 800, 800);
	times(&scene, forge_file(forge, 0, "\\Program Files\\Ledger\\Data\\empty.sldb", 1), 10, 10);
	times(&scene, forge_file(forge, 0, "\\Program Files\\Ledger\\ledger.exe", 1), 10, 900);
	times(&scene, forge_file(forge, 0, "\\Program Files\\Ledger\\skin.html", 1), 10, 900);
	times(&scene, forge_folder(forge, 0, "\\ProgramData\\Planner"), 10, 900);
	times(&scene, forge_file(forge, 0, "\\ProgramData\\Planner\\plan.json", 1), 700, 700);
	times(&scene, forge_file(forge, 0, "\\ProgramData\\Planner\\Cache\\plan.json", 1), 700, 700);
	times(&scene, forge_file(forge, 0, "\\ProgramData\\Microsoft\\x.json", 1), 700, 900);
	/* Copied to a new drive: every folder looks new, the file's own times still tell. */
	times(&scene, forge_folder(forge, 0, "\\ProgramData\\Moved"), 950, 950);
	times(&scene, forge_file(forge, 0, "\\ProgramData\\Moved\\a.db", 1), 10, 900);
	settle(&scene);
	make(&scene, NULL);
	expect(&scene, "C:\\Program Files\\Ledger\\Data\\books.sldb",
	    "taken changed data/drives/C/Program Files/Ledger/Data/books.sldb");
	expect(&scene, "C:\\Program Files\\Ledger\\Data\\new.sldb",
	    "taken changed data/drives/C/Program Files/Ledger/Data/new.sldb");
	expect(&scene, "C:\\Program Files\\Ledger\\Data\\empty.sldb", "left program");
	expect(&scene, "C:\\Program Files\\Ledger\\ledger.exe", "left program");
	expect(&scene, "C:\\Program Files\\Ledger\\skin.html", "left program");
	expect(&scene, "C:\\ProgramData\\Planner\\plan.json",
	    "taken changed data/drives/C/ProgramData/Planner/plan.json");
	expect(&scene, "C:\\ProgramData\\Planner\\Cache\\plan.json", "left cache");
	expect(&scene, "C:\\ProgramData\\Microsoft\\x.json", "left system");
	expect(&scene, "C:\\ProgramData\\Moved\\a.db",
	    "taken changed data/drives/C/ProgramData/Moved/a.db");
	/* Folders above what is taken are taken. */
	expect(&scene, "C:\\Program Files\\Ledger\\Data",
	    "taken changed data/drives/C/Program Files/Ledger/Data");
	expect(&scene, "C:\\Program Files", "taken changed data/drives/C/Program Files");
	end(&scene);
}

/* A program's own word on where it is counts only for a folder that looks like one. */
static void test_program_folders(void **state)
{
	struct scene scene;
	struct program *programs = scene.forge.programs;

	(void)state;
	start(&scene);
	forge_file(&scene.forge, 1, "\\Games\\Bean Race\\race.exe", 1);
	forge_file(&scene.forge, 1, "\\Games\\Bean Race\\beans.pak", 1);
	forge_file(&scene.forge, 1, "\\Photos\\a.jpg", 1);
	forge_file(&scene.forge, 1, "\\All\\b.exe", 1);
	forge_file(&scene.forge, 1, "\\All\\Music\\a.mp3", 1);
	settle(&scene);
	programs = scene.forge.programs;
	programs[0] = (struct program){.folder = "D:\\Games\\Bean Race"};
	programs[1] = (struct program){.folder = "D:\\Photos"};
	programs[2] = (struct program){.folder = "C:\\Users\\mara\\Documents"};
	programs[3] = (struct program){.folder = "D:\\"};
	programs[4] = (struct program){.folder = "D:\\All"};
	scene.forge.systems[0].n_programs = 5;
	forge_place(&scene.forge, 0, scene.mara, "music", "Music", "D:\\All\\Music", PLACE_OTHER_VOLUME);
	make(&scene, NULL);
	expect(&scene, "D:\\Games\\Bean Race\\beans.pak", "left program");
	expect(&scene, "D:\\Photos\\a.jpg", "taken outside data/drives/D/Photos/a.jpg");
	expect(&scene, "C:\\Users\\mara\\Documents\\mara.txt", "taken place " PC "mara/Documents/mara.txt");
	expect(&scene, "D:\\All\\b.exe", "taken outside data/drives/D/All/b.exe");
	end(&scene);
}

/* Driver packages at the root are known by what is in them; one picture of somebody's is enough. */
static void test_drivers(void **state)
{
	struct scene scene;

	(void)state;
	start(&scene);
	forge_file(&scene.forge, 0, "\\Chips\\Graphics\\igx.inf", 1);
	forge_file(&scene.forge, 0, "\\Chips\\Graphics\\igx.sys", 1);
	forge_file(&scene.forge, 0, "\\Chips\\setup.exe", 1);
	forge_file(&scene.forge, 0, "\\Mixed\\igx.inf", 1);
	forge_file(&scene.forge, 0, "\\Mixed\\igx.sys", 1);
	forge_file(&scene.forge, 0, "\\Mixed\\deep\\me.jpg", 1);
	forge_file(&scene.forge, 0, "\\Texts\\readme.txt", 1);
	settle(&scene);
	make(&scene, NULL);
	expect(&scene, "C:\\Chips\\Graphics\\igx.inf", "left offered");
	expect(&scene, "C:\\Chips", "left offered");
	expect(&scene, "C:\\Mixed\\igx.inf", "taken outside data/drives/C/Mixed/igx.inf");
	expect(&scene, "C:\\Texts\\readme.txt", "taken outside data/drives/C/Texts/readme.txt");
	end(&scene);
}

static void test_links(void **state)
{
	struct scene scene;
	uint32_t node;

	(void)state;
	start(&scene);
	forge_link(&scene.forge, 0, "\\Users\\mara\\My Documents", REPARSE_MOUNT_POINT, true);
	node = forge_link(&scene.forge, 1, "\\latest.txt", REPARSE_SYMLINK, false);
	forge_stream(&scene.forge, 1, node, "", 0);
	forge_link(&scene.forge, 1, "\\Cloud", REPARSE_CLOUD, true);
	forge_file(&scene.forge, 1, "\\Cloud\\here.txt", 1);
	/* Files can lie behind a junction, unseen by the old system: they are not forgotten. */
	forge_link(&scene.forge, 1, "\\Covered", REPARSE_MOUNT_POINT, true);
	forge_file(&scene.forge, 1, "\\Covered\\below.txt", 1);
	settle(&scene);
	make(&scene, NULL);
	expect(&scene, "C:\\Users\\mara\\My Documents", "left link");
	assert_int_equal(find_item(&scene, "C:\\Users\\mara\\My Documents")->kind, ITEM_LINK);
	expect(&scene, "D:\\latest.txt", "left link");
	expect(&scene, "D:\\Cloud\\here.txt", "taken outside data/drives/D/Cloud/here.txt");
	expect(&scene, "D:\\Cloud", "taken outside data/drives/D/Cloud");
	expect(&scene, "D:\\Covered", "left link");
	expect(&scene, "D:\\Covered\\below.txt", "taken outside data/drives/D/Covered/below.txt");
	end(&scene);
}

static void test_hard_links(void **state)
{
	struct scene scene;
	uint32_t node;

	(void)state;
	start(&scene);
	node = forge_file(&scene.forge, 0, "\\Scans\\z.pdf", 7);
	forge_stream(&scene.forge, 0, node, "note", 3);
	forge_name(&scene.forge, 0, node, "\\Scans\\a.pdf");
	/* The first name is left, the second is a person's: that one is taken. */
	node = forge_file(&scene.forge, 0, "\\Windows\\shared.ttf", 5);
	forge_name(&scene.forge, 0, node, "\\Users\\mara\\Documents\\own.ttf");
	settle(&scene);
	make(&scene, NULL);
	expect(&scene, "C:\\Scans\\z.pdf", "taken outside data/drives/C/Scans/z.pdf");
	expect(&scene, "C:\\Scans\\a.pdf", "same outside data/drives/C/Scans/a.pdf");
	expect(&scene, "C:\\Scans\\a.pdf:note", "same outside data/drives/C/Scans/a.pdf.stream-note");
	expect(&scene, "C:\\Windows\\shared.ttf", "left system");
	expect(&scene, "C:\\Users\\mara\\Documents\\own.ttf", "taken place " PC "mara/Documents/own.ttf");
	end(&scene);
}

static void test_streams(void **state)
{
	struct scene scene;
	uint32_t node;

	(void)state;
	start(&scene);
	node = forge_file(&scene.forge, 1, "\\a.txt", 1);
	forge_stream(&scene.forge, 1, node, "note", 2);
	forge_stream(&scene.forge, 1, node, "Note", 2);
	forge_stream(&scene.forge, 1, node, "Zone.Identifier", 2);
	forge_file(&scene.forge, 1, "\\a.txt.stream-NOTE", 2);
	node = forge_folder(&scene.forge, 1, "\\Folder");
	forge_stream(&scene.forge, 1, node, "about", 2);
	node = forge_file(&scene.forge, 1, "\\Thumbs.db", 1);
	forge_stream(&scene.forge, 1, node, "encryptable", 0);
	settle(&scene);
	make(&scene, NULL);
	/* What is there keeps its name; the streams are told apart, whichever comes first. */
	expect(&scene, "D:\\a.txt.stream-NOTE", "taken outside data/drives/D/a.txt.stream-NOTE");
	expect(&scene, "D:\\a.txt:note", "taken outside data/drives/D/a.txt.stream-note%7E2");
	expect(&scene, "D:\\a.txt:Note", "taken outside data/drives/D/a.txt.stream-Note%7E3");
	expect(&scene, "D:\\a.txt:Zone.Identifier", "left zone-mark");
	expect(&scene, "D:\\Folder:about", "taken outside data/drives/D/Folder.stream-about");
	expect(&scene, "D:\\Thumbs.db:encryptable", "left cache");
	end(&scene);
}

static void test_twins(void **state)
{
	struct scene scene;

	(void)state;
	start(&scene);
	forge_file(&scene.forge, 1, "\\case twin.TXT", 1);
	forge_file(&scene.forge, 1, "\\Case Twin.txt", 1);
	forge_file(&scene.forge, 1, "\\CASE TWIN.txt", 1);
	forge_file(&scene.forge, 1, "\\Twin\\inside.txt", 1);
	forge_file(&scene.forge, 1, "\\twin\\inside.txt", 1);
	settle(&scene);
	make(&scene, NULL);
	/* In the order of their bytes, whatever order they were made in. */
	expect(&scene, "D:\\CASE TWIN.txt", "taken outside data/drives/D/CASE TWIN.txt");
	expect(&scene, "D:\\Case Twin.txt", "taken outside data/drives/D/Case Twin%7E2.txt");
	expect(&scene, "D:\\case twin.TXT", "taken outside data/drives/D/case twin%7E3.TXT");
	expect(&scene, "D:\\Twin\\inside.txt", "taken outside data/drives/D/Twin/inside.txt");
	expect(&scene, "D:\\twin\\inside.txt", "taken outside data/drives/D/twin%7E2/inside.txt");
	end(&scene);
}

static void test_lost_and_damaged(void **state)
{
	struct scene scene;
	uint32_t folder, a, b;

	(void)state;
	start(&scene);
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
	settle(&scene);
	make(&scene, NULL);
	expect(&scene, "D:\\[no folder]\\orphan.txt",
	    "taken outside data/drives/D/[no folder]/orphan.txt");
	expect(&scene, "D:\\[no folder]\\Orphans\\x",
	    "taken outside data/drives/D/[no folder]/Orphans/x");
	expect(&scene, "D:\\[no folder]\\real.txt",
	    "taken outside data/drives/D/[no folder]%7E2/real.txt");
	expect(&scene, "D:\\broken.txt", "unreadable damaged data/drives/D/broken.txt");
	end(&scene);
}

/* Every stream of every name exactly once, in the promised order. */
static void test_complete_and_sorted(void **state)
{
	struct scene scene;
	size_t expected = 0;

	(void)state;
	start(&scene);
	forge_file(&scene.forge, 1, "\\b\\x", 1);
	forge_file(&scene.forge, 1, "\\b.txt", 1);
	forge_file(&scene.forge, 1, "\\a\\y", 1);
	settle(&scene);
	make(&scene, NULL);
	for (size_t v = 0; v < 2; v++) {
		const struct catalogue *catalogue = &scene.forge.volumes[v].catalogue;

		for (size_t i = 0; i < catalogue->n_nodes; i++)
			expected += catalogue->nodes[i].flags & NODE_FOLDER ? 1
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
	assert_true(find_item(&scene, "D:\\a\\y") < find_item(&scene, "D:\\b"));
	assert_true(find_item(&scene, "D:\\b") < find_item(&scene, "D:\\b\\x"));
	assert_true(find_item(&scene, "D:\\b\\x") < find_item(&scene, "D:\\b.txt"));
	assert_int_equal(scene.plan.n_taken, 7);
	assert_int_equal(scene.plan.bytes_taken, 43);
	end(&scene);
}

static void test_one_person(void **state)
{
	static const char *const names[] = {"mara quill"}, *const nobody[] = {"zed"};
	struct scene scene;
	struct error error;

	(void)state;
	start(&scene);
	forge_file(&scene.forge, 1, "\\Committee\\minutes.txt", 1);
	forge_file(&scene.forge, 0, "\\Users\\rowan\\AppData\\Local\\Temp\\x", 1);
	settle(&scene);
	make(&scene, &(struct plan_options){.persons = names, .n_persons = 1});
	expect(&scene, "C:\\Users\\mara\\Documents\\mara.txt", "taken place " PC "mara/Documents/mara.txt");
	expect(&scene, "C:\\Users\\rowan\\Documents\\rowan.txt", "left not-asked");
	expect(&scene, "C:\\Users\\rowan\\AppData\\Local\\Temp\\x", "left temporary");
	expect(&scene, "C:\\Users\\Public\\Documents\\all.txt", "left not-asked");
	expect(&scene, "D:\\Committee\\minutes.txt", "left not-asked");
	expect(&scene, "D:\\Committee", "left not-asked");
	plan_free(&scene.plan);
	assert_false(plan_make(&scene.plan, &scene.forge.survey,
	    &(struct plan_options){.persons = nobody, .n_persons = 1}, NULL, &error));
	assert_int_equal(error.status, STATUS_USAGE);
	assert_non_null(strstr(error.text, "mara (Mara Quill), rowan"));
	end(&scene);
}

static void test_take_and_leave(void **state)
{
	static const char *const takes[] = {"C:\\users\\mara\\AppData\\**\\Login Data", "*.keep",
	    "C:\\Users\\mara\\AppData\\Local\\Temp", "\\Windows\\Fonts\\**", "D:\\**"};
	static const char *const leaves[] = {"D:\\Films\\", "**\\b.keep"};
	struct scene scene;
	uint32_t node;

	(void)state;
	start(&scene);
	forge_file(&scene.forge, 0, "\\Users\\mara\\AppData\\Local\\B\\Default\\Login Data", 1);
	forge_file(&scene.forge, 0, "\\Users\\mara\\AppData\\Local\\Temp\\deep\\x", 1);
	forge_file(&scene.forge, 0, "\\Windows\\Fonts\\own.ttf", 1);
	forge_file(&scene.forge, 0, "\\Windows\\a.keep", 1);
	forge_file(&scene.forge, 0, "\\Windows\\b.keep", 1);
	forge_file(&scene.forge, 1, "\\Films\\a.mp4", 1);
	forge_link(&scene.forge, 1, "\\link", REPARSE_MOUNT_POINT, true);
	node = forge_file(&scene.forge, 1, "\\a.pdf", 1);
	forge_stream(&scene.forge, 1, node, "Zone.Identifier", 1);
	settle(&scene);
	make(&scene, &(struct plan_options){
	    .takes = takes, .n_takes = 5, .leaves = leaves, .n_leaves = 2});
	expect(&scene, "C:\\Users\\mara\\AppData\\Local\\B\\Default\\Login Data",
	    "taken settings " PC "mara/settings/AppData/Local/B/Default/Login Data");
	expect(&scene, "C:\\Users\\mara\\AppData\\Local\\Temp\\deep\\x",
	    "taken settings " PC "mara/settings/AppData/Local/Temp/deep/x");
	expect(&scene, "C:\\Windows\\Fonts\\own.ttf", "taken outside data/drives/C/Windows/Fonts/own.ttf");
	expect(&scene, "C:\\Windows\\a.keep", "taken outside data/drives/C/Windows/a.keep");
	expect(&scene, "C:\\Windows\\b.keep", "left not-asked");
	expect(&scene, "D:\\Films\\a.mp4", "left not-asked");
	expect(&scene, "D:\\Films", "left not-asked");
	expect(&scene, "D:\\link", "left link");
	expect(&scene, "D:\\a.pdf:Zone.Identifier", "left zone-mark");
	expect(&scene, "D:\\", "left file-system");
	end(&scene);
}

static void test_findings(void **state)
{
	struct scene scene;
	struct buf path = {0};

	(void)state;
	start(&scene);
	forge_file(&scene.forge, 0, "\\Users\\mara\\AppData\\Local\\B\\Default\\Login Data", 1);
	forge_file(&scene.forge, 0, "\\Users\\mara\\.ssh\\id", 1);
	for (int i = 0; i < 6; i++)
		buf_add_text(&path, "\\a folder with quite a long name, as people make them");
	forge_folder(&scene.forge, 1, buf_text(&path));
	buf_free(&path);
	settle(&scene);
	make(&scene, NULL);
	assert_true(findings_have(&scene.findings, "passwords-not-taken"));
	assert_true(findings_have(&scene.findings, "offered-not-taken"));
	assert_true(findings_have(&scene.findings, "paths-too-long"));
	assert_false(findings_have(&scene.findings, "place-of-several"));
	end(&scene);
}

/* A fifth of a million files take well under a second. */
static void test_speed(void **state)
{
	struct scene scene;
	struct timespec before, after;
	struct forge_volume *volume;
	double seconds;

	(void)state;
	start(&scene);
	settle(&scene);
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
		snprintf(c->names + (size_t)i * 24, 24, is_folder ? "folder %u" : "picture %07u.jpg",
		    (unsigned)(i * 7919u % NODES));
		c->nodes[i] = (struct node){.flags = NODE_IN_USE | (is_folder ? NODE_FOLDER : 0),
		    .first_entry = (uint32_t)c->n_entries, .n_entries = 1,
		    .first_stream = (uint32_t)c->n_streams, .n_streams = !is_folder};
		if (!is_folder)
			c->streams[c->n_streams++] = (struct stream){.node = i, .size = 1,
			    .flags = STREAM_RESIDENT, .name = 23};
		c->entries[c->n_entries] = (struct entry){.node = i, .parent = folder, .name = i * 24,
		    .short_name = NONE};
		c->children[c->n_children++] = (uint32_t)c->n_entries++;
	}
	clock_gettime(CLOCK_MONOTONIC, &before);
	make(&scene, NULL);
	clock_gettime(CLOCK_MONOTONIC, &after);
	seconds = (double)(after.tv_sec - before.tv_sec) + (double)(after.tv_nsec - before.tv_nsec) / 1e9;
	assert_true(scene.plan.n_taken > FOLDERS * FILES);
	print_message("%d items in %.2f s\n", (int)scene.plan.n_items, seconds);
	assert_true(seconds < 10); /* sanitizers and a busy machine are slow */
	end(&scene);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_areas),
	    cmocka_unit_test(test_moved_places),
	    cmocka_unit_test(test_one_folder_of_two),
	    cmocka_unit_test(test_senseless_place),
	    cmocka_unit_test(test_offline_copies),
	    cmocka_unit_test(test_service_profile),
	    cmocka_unit_test(test_xp),
	    cmocka_unit_test(test_old_copy),
	    cmocka_unit_test(test_layout_names),
	    cmocka_unit_test(test_changed),
	    cmocka_unit_test(test_program_folders),
	    cmocka_unit_test(test_drivers),
	    cmocka_unit_test(test_links),
	    cmocka_unit_test(test_hard_links),
	    cmocka_unit_test(test_streams),
	    cmocka_unit_test(test_twins),
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
