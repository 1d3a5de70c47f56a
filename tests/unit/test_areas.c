/*
 * Tests of areas: whose a folder is, what it is, and where it goes in the archive.
 *
 * What is expected follows the project's own promises (nothing silently missing, one state for
 * every stream); there is no source outside for them. Default locations: KNOWNFOLDERID page; the
 * folders of XP and of programs: common practice, no source.
 */
#include "unit.h"

#include "base/locale.h"
#include "base/utf.h"
#include "plan/plan.h"
#include "scene.h"

#include <stdio.h>
#include <string.h>

static void test_areas(void **state)
{
	struct scene scene;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 0, "\\Users\\mara\\Own folder\\a.txt", 1);
	forge_file(&scene.forge, 0, "\\Users\\Public\\ledger.csv", 1);
	forge_file(&scene.forge, 1, "\\Committee\\minutes.txt", 1);
	forge_folder(&scene.forge, 1, "\\Empty");
	scene_settle(&scene);
	scene_make(&scene, NULL);
	scene_expect(&scene, "C:\\Users\\mara\\Documents\\mara.txt",
	    "taken place " PC "mara/Documents/mara.txt");
	scene_expect(&scene, "C:\\Users\\mara\\Documents", "taken place " PC "mara/Documents");
	scene_expect(&scene, "C:\\Users\\mara\\Own folder\\a.txt",
	    "taken profile " PC "mara/other/Own folder/a.txt");
	scene_expect(&scene, "C:\\Users\\mara", "taken profile " PC "mara/other");
	scene_expect(&scene, "C:\\Users\\mara\\AppData\\Roaming\\Prog\\prog.ini",
	    "taken settings " PC "mara/settings/AppData/Roaming/Prog/prog.ini");
	scene_expect(&scene, "C:\\Users\\Public\\Documents\\all.txt",
	    "taken shared " PC "shared/Documents/all.txt");
	scene_expect(
	    &scene, "C:\\Users\\Public\\ledger.csv", "taken shared " PC "shared/other/ledger.csv");
	scene_expect(&scene, "C:\\Windows\\System32\\config\\SYSTEM", "left system");
	scene_expect(&scene, "C:\\Windows", "left system");
	scene_expect(&scene, "C:\\Users\\Default", "left system");
	scene_expect(&scene, "C:\\ProgramData", "left program");
	scene_expect(&scene, "D:\\Committee\\minutes.txt",
	    "taken outside data/drives/D/Committee/minutes.txt");
	scene_expect(&scene, "D:\\Empty", "taken outside data/drives/D/Empty");
	/* Everything in it is somebody's and goes elsewhere: no empty folder in the archive. */
	scene_expect(&scene, "C:\\Users", "taken outside");
	scene_end(&scene);
}

/* A place that was moved, its leftover, a place in a place, and one in the root of a volume. */
static void test_moved_places(void **state)
{
	struct scene scene;
	struct place *place;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 1, "\\Photos\\2019\\a.jpg", 1);
	forge_file(&scene.forge, 1, "\\Photos\\Roll\\b.jpg", 1);
	forge_file(&scene.forge, 0, "\\Users\\mara\\Pictures\\left.jpg", 1);
	scene_settle(&scene);
	place = forge_place(
	    &scene.forge, 0, scene.mara, "pictures", "Pictures", "D:\\Photos", PLACE_OTHER_VOLUME);
	place->leftover = forge_at(&scene.forge, "C:\\Users\\mara\\Pictures");
	forge_place(&scene.forge, 0, scene.mara, "camera-roll", "Camera Roll", "D:\\Photos\\Roll",
	    PLACE_OTHER_VOLUME);
	scene_make(&scene, NULL);
	scene_expect(
	    &scene, "D:\\Photos\\2019\\a.jpg", "taken place " PC "mara/Pictures/2019/a.jpg");
	scene_expect(&scene, "D:\\Photos\\Roll\\b.jpg", "taken place " PC "mara/Camera Roll/b.jpg");
	scene_expect(&scene, "C:\\Users\\mara\\Pictures\\left.jpg",
	    "taken profile " PC "mara/other/Pictures/left.jpg");
	scene_end(&scene);

	scene_start(&scene);
	forge_file(&scene.forge, 1, "\\letter.txt", 1);
	forge_file(&scene.forge, 1, "\\$RECYCLE.BIN\\S-1-5-21-1\\$R1.txt", 1);
	scene_settle(&scene);
	forge_place(
	    &scene.forge, 0, scene.mara, "documents", "Documents", "D:\\", PLACE_OTHER_VOLUME);
	scene_make(&scene, NULL);
	scene_expect(&scene, "D:\\letter.txt", "taken place " PC "mara/Documents/letter.txt");
	scene_expect(&scene, "D:\\$RECYCLE.BIN\\S-1-5-21-1\\$R1.txt", "left recycle-bin");
	scene_end(&scene);
}

/* Moved folders of settings have a folder of their own in the archive. */
static void test_moved_settings(void **state)
{
	struct place moved = {.role = "settings-roaming", .folder = "settings (Roaming)",
	    .status = PLACE_OTHER_VOLUME, .path = "D:\\Settings", .from = "User Shell Folders"};
	struct scene scene;
	struct person *mara;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 1, "\\Settings\\Prog\\prog.ini", 1);
	scene_settle(&scene);
	moved.at = forge_at(&scene.forge, "D:\\Settings");
	moved.leftover = moved.offline = (struct location){SIZE_MAX, NONE};
	mara = &scene.forge.persons[0][scene.mara];
	mara->settings = &moved;
	mara->n_settings = 1;
	scene_make(&scene, NULL);
	scene_expect(&scene, "D:\\Settings\\Prog\\prog.ini",
	    "taken settings " PC "mara/settings (Roaming)/Prog/prog.ini");
	scene_expect(&scene, "C:\\Users\\mara\\AppData\\Roaming\\Prog\\prog.ini",
	    "taken settings " PC "mara/settings/AppData/Roaming/Prog/prog.ini");
	scene_end(&scene);
}

/* Two persons, one folder: it goes to the first, and to whom it belongs by default before others.
 */
static void test_one_folder_of_two(void **state)
{
	struct scene scene;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 1, "\\Music\\song.mp3", 1);
	scene_settle(&scene);
	forge_place(&scene.forge, 0, scene.mara, "music", "Music", "D:\\Music", PLACE_OTHER_VOLUME);
	forge_place(
	    &scene.forge, 0, scene.rowan, "music", "Music", "D:\\Music", PLACE_OTHER_VOLUME);
	forge_place(&scene.forge, 0, scene.mara, "downloads", "Downloads",
	    "C:\\Users\\rowan\\Documents", PLACE_REDIRECTED);
	scene_make(&scene, NULL);
	scene_expect(&scene, "D:\\Music\\song.mp3", "taken place " PC "mara/Music/song.mp3");
	scene_expect(&scene, "C:\\Users\\rowan\\Documents\\rowan.txt",
	    "taken place " PC "rowan/Documents/rowan.txt");
	assert_true(findings_have(&scene.findings, "place-of-several"));
	scene_end(&scene);
}

/* A place that is said to be the Windows folder does not make the system somebody's. */
static void test_senseless_place(void **state)
{
	struct scene scene;

	(void)state;
	scene_start(&scene);
	scene_settle(&scene);
	forge_place(&scene.forge, 0, scene.mara, "music", "Music", "C:\\Windows", PLACE_REDIRECTED);
	scene_make(&scene, NULL);
	scene_expect(&scene, "C:\\Windows\\System32\\config\\SYSTEM", "left system");
	scene_end(&scene);
}

static void test_offline_copies(void **state)
{
	static const char copies[] = "C:\\Windows\\CSC\\v2.0.6\\namespace\\HUT\\film";
	struct scene scene;
	struct place *place;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 0, "\\Windows\\CSC\\v2.0.6\\namespace\\HUT\\film\\a.mp4", 1);
	scene_settle(&scene);
	place = forge_place(
	    &scene.forge, 0, scene.mara, "videos", "Videos", "\\\\HUT\\film", PLACE_SHARE);
	place->offline = forge_at(&scene.forge, copies);
	scene_make(&scene, NULL);
	scene_expect(&scene, "C:\\Windows\\CSC\\v2.0.6\\namespace\\HUT\\film\\a.mp4",
	    "taken place " PC "mara/Videos/a.mp4");
	/* Folders on the way say that something in them is taken, and are no folders of the
	 * archive. */
	scene_expect(&scene, "C:\\Windows\\CSC", "taken place");
	scene_end(&scene);
}

static void test_service_profile(void **state)
{
	struct scene scene;
	size_t service;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 0, "\\Users\\sync\\Documents\\x", 1);
	scene_settle(&scene);
	service = forge_person(&scene.forge, 0, "sync", "C:\\Users\\sync");
	scene.forge.persons[0][service].is_service = true;
	scene_make(&scene, NULL);
	scene_expect(&scene, "C:\\Users\\sync\\Documents\\x", "left service-profile");
	scene_end(&scene);
}

/* XP: other folders of settings, in any language, and a shared Application Data. */
static void test_xp(void **state)
{
	struct scene scene;
	struct old_system *system;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 1, "\\Windows\\System32\\config\\SYSTEM", 1);
	forge_folder(&scene.forge, 1, "\\Windows\\System32\\drivers");
	forge_file(&scene.forge, 1, "\\Docs\\ada\\Anwendungsdaten\\Microsoft\\x.ini", 1);
	forge_file(&scene.forge, 1, "\\Docs\\ada\\Lokal\\Anwendungsdaten\\Microsoft\\y.ini", 1);
	forge_file(&scene.forge, 1, "\\Docs\\ada\\Lokal\\Temp\\z.txt", 1);
	forge_file(
	    &scene.forge, 1, "\\Docs\\ada\\Lokal\\Temporary Internet Files\\Content.IE5\\p", 1);
	forge_file(&scene.forge, 1, "\\Docs\\ada\\Eigene Dateien\\brief.doc", 1);
	forge_file(&scene.forge, 1, "\\Docs\\All Users\\Application Data\\Microsoft\\c", 1);
	forge_file(&scene.forge, 1, "\\Programme\\Windows NT\\a.exe", 1);
	forge_folder(&scene.forge, 1, "\\Programme\\Internet Explorer");
	forge_folder(&scene.forge, 1, "\\Programme\\Common Files");
	forge_file(&scene.forge, 1, "\\Programme\\Ledger\\b.exe", 1);
	scene_settle(&scene);
	system = &scene.forge.systems[forge_system(&scene.forge, 1, "OLD")];
	system->public_profile = forge_at(&scene.forge, "D:\\Docs\\All Users");
	forge_person(&scene.forge, 1, "ada", "D:\\Docs\\ada");
	forge_place(&scene.forge, 1, 0, "documents", "Documents", "D:\\Docs\\ada\\Eigene Dateien",
	    PLACE_HERE);
	scene_make(&scene, NULL);
	scene_expect(&scene, "D:\\Docs\\ada\\Anwendungsdaten\\Microsoft\\x.ini",
	    "taken settings data/OLD/ada/settings/Anwendungsdaten/Microsoft/x.ini");
	scene_expect(&scene, "D:\\Docs\\ada\\Lokal\\Anwendungsdaten\\Microsoft\\y.ini",
	    "taken settings data/OLD/ada/settings/Lokal/Anwendungsdaten/Microsoft/y.ini");
	scene_expect(&scene, "D:\\Docs\\ada\\Lokal\\Temp\\z.txt", "left temporary");
	scene_expect(
	    &scene, "D:\\Docs\\ada\\Lokal\\Temporary Internet Files\\Content.IE5\\p", "left cache");
	scene_expect(&scene, "D:\\Docs\\ada\\Eigene Dateien\\brief.doc",
	    "taken place data/OLD/ada/Documents/brief.doc");
	scene_expect(&scene, "D:\\Docs\\All Users\\Application Data\\Microsoft\\c", "left system");
	scene_expect(&scene, "D:\\Programme\\Ledger\\b.exe", "left program");
	scene_end(&scene);
}

/* An old copy in a folder: its profiles are persons' too, its root is like a root. */
static void test_old_copy(void **state)
{
	struct scene scene;
	struct old_system *system;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 0, "\\Windows.old\\Windows\\System32\\config\\SYSTEM", 1);
	forge_folder(&scene.forge, 0, "\\Windows.old\\Windows\\System32\\drivers");
	forge_file(&scene.forge, 0, "\\Windows.old\\Users\\mara\\Documents\\old.txt", 1);
	forge_file(&scene.forge, 0, "\\Windows.old\\Program Files\\P\\p.exe", 1);
	forge_file(&scene.forge, 0, "\\Windows.old\\pagefile.sys", 1);
	scene_settle(&scene);
	system = &scene.forge.systems[forge_system(&scene.forge, 0, "FERNHILL-PC-2")];
	system->container = forge_at(&scene.forge, "C:\\Windows.old").node;
	system->windows = forge_at(&scene.forge, "C:\\Windows.old\\Windows").node;
	system->is_copy = true;
	forge_person(&scene.forge, 1, "mara", "C:\\Windows.old\\Users\\mara");
	forge_place(&scene.forge, 1, 0, "documents", "Documents",
	    "C:\\Windows.old\\Users\\mara\\Documents", PLACE_HERE);
	scene_make(&scene, NULL);
	scene_expect(&scene, "C:\\Windows.old\\Users\\mara\\Documents\\old.txt",
	    "taken place data/FERNHILL-PC-2/mara/Documents/old.txt");
	scene_expect(&scene, "C:\\Windows.old\\Program Files\\P\\p.exe", "left program");
	scene_expect(&scene, "C:\\Windows.old\\Windows\\System32\\config\\SYSTEM", "left system");
	scene_expect(&scene, "C:\\Windows.old\\pagefile.sys", "left page-file");
	/* Two groups of the same person and place have different keys. */
	for (size_t i = 0; i < scene.plan.n_groups; i++)
		for (size_t k = 0; k < i; k++) {
			assert_false(
			    utf_equal_fold(scene.plan.groups[i].key, scene.plan.groups[k].key));
			assert_false(utf_equal_fold(
			    scene.plan.groups[i].folder, scene.plan.groups[k].folder));
		}
	scene_end(&scene);
}

/* A person called like a folder of the layout, a PC called like another. */
static void test_layout_names(void **state)
{
	struct scene scene;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 0, "\\Users\\Shared\\a.txt", 1);
	forge_folder(&scene.forge, 0, "\\Users\\Shared\\AppData");
	scene_settle(&scene);
	scene.forge.systems[0].key = "Drives";
	forge_person(&scene.forge, 0, "Shared", "C:\\Users\\Shared");
	scene_make(&scene, NULL);
	scene_expect(&scene, "C:\\Users\\Shared\\a.txt",
	    "taken profile data/Drives%7E2/Shared%7E2/other/a.txt");
	scene_expect(&scene, "C:\\Users\\Public\\Documents\\all.txt",
	    "taken shared data/Drives%7E2/shared/Documents/all.txt");
	scene_end(&scene);
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
	scene_start(&scene);
	times(&scene, forge_folder(forge, 0, "\\Program Files\\Ledger"), 10, 900);
	times(
	    &scene, forge_file(forge, 0, "\\Program Files\\Ledger\\Data\\books.sldb", 1), 10, 900);
	times(&scene, forge_file(forge, 0, "\\Program Files\\Ledger\\Data\\new.sldb", 1), 800, 800);
	times(&scene, forge_file(forge, 0, "\\Program Files\\Ledger\\Data\\empty.sldb", 1), 10, 10);
	times(&scene, forge_file(forge, 0, "\\Program Files\\Ledger\\ledger.exe", 1), 10, 900);
	times(&scene, forge_file(forge, 0, "\\Program Files\\Ledger\\skin.html", 1), 10, 900);
	times(&scene, forge_file(forge, 0, "\\Program Files\\Ledger\\ledger.lic", 200), 10, 10);
	times(&scene, forge_file(forge, 0, "\\Program Files\\Ledger\\licence.txt", 200), 10, 10);
	times(&scene, forge_file(forge, 0, "\\Tools\\ledger.lic", 200), 10, 10);
	times(&scene, forge_folder(forge, 0, "\\ProgramData\\Planner"), 10, 900);
	times(&scene, forge_file(forge, 0, "\\ProgramData\\Planner\\plan.json", 1), 700, 700);
	times(
	    &scene, forge_file(forge, 0, "\\ProgramData\\Planner\\Cache\\plan.json", 1), 700, 700);
	times(&scene, forge_file(forge, 0, "\\ProgramData\\Microsoft\\x.json", 1), 700, 900);
	/* Copied to a new drive: every folder looks new, the file's own times still tell. */
	times(&scene, forge_folder(forge, 0, "\\ProgramData\\Moved"), 950, 950);
	times(&scene, forge_file(forge, 0, "\\ProgramData\\Moved\\a.db", 1), 10, 900);
	scene_settle(&scene);
	scene_make(&scene, NULL);
	scene_expect(&scene, "C:\\Program Files\\Ledger\\ledger.lic", "left offered");
	scene_expect(&scene, "C:\\Program Files\\Ledger\\licence.txt", "left program");
	scene_expect(
	    &scene, "C:\\Tools\\ledger.lic", "taken outside data/drives/C/Tools/ledger.lic");
	scene_expect(&scene, "C:\\Program Files\\Ledger\\Data\\books.sldb",
	    "taken changed data/drives/C/Program Files/Ledger/Data/books.sldb");
	scene_expect(&scene, "C:\\Program Files\\Ledger\\Data\\new.sldb",
	    "taken changed data/drives/C/Program Files/Ledger/Data/new.sldb");
	scene_expect(&scene, "C:\\Program Files\\Ledger\\Data\\empty.sldb", "left program");
	scene_expect(&scene, "C:\\Program Files\\Ledger\\ledger.exe", "left program");
	scene_expect(&scene, "C:\\Program Files\\Ledger\\skin.html", "left program");
	scene_expect(&scene, "C:\\ProgramData\\Planner\\plan.json",
	    "taken changed data/drives/C/ProgramData/Planner/plan.json");
	scene_expect(&scene, "C:\\ProgramData\\Planner\\Cache\\plan.json", "left cache");
	scene_expect(&scene, "C:\\ProgramData\\Microsoft\\x.json", "left system");
	scene_expect(&scene, "C:\\ProgramData\\Moved\\a.db",
	    "taken changed data/drives/C/ProgramData/Moved/a.db");
	/* Folders above what is taken are taken. */
	scene_expect(&scene, "C:\\Program Files\\Ledger\\Data",
	    "taken changed data/drives/C/Program Files/Ledger/Data");
	scene_expect(&scene, "C:\\Program Files", "taken changed data/drives/C/Program Files");
	scene_end(&scene);
}

/* Much data of a program is offered; what a person did with it is taken as anywhere. */
static void test_bulk(void **state)
{
	struct scene scene;
	struct forge *forge = &scene.forge;
	uint32_t game, shelf;
	struct bulk bulks[2];

	(void)state;
	scene_start(&scene);
	game = forge_folder(forge, 0, "\\Program Files\\Rally");
	times(&scene, game, 10, 10);
	times(&scene, forge_file(forge, 0, "\\Program Files\\Rally\\tracks.pak", 1), 10, 10);
	times(&scene, forge_file(forge, 0, "\\Program Files\\Rally\\Cache\\c.pak", 1), 10, 10);
	times(&scene, forge_file(forge, 0, "\\Program Files\\Rally\\my.car", 1), 10, 900);
	times(&scene, forge_file(forge, 0, "\\Program Files\\Other\\o.pak", 1), 10, 10);
	shelf = forge_folder(forge, 1, "\\Games\\common");
	times(&scene, forge_file(forge, 1, "\\Games\\common\\Pond\\p.pak", 1), 10, 10);
	times(&scene, forge_file(forge, 1, "\\Games\\list.txt", 1), 10, 10);
	scene_settle(&scene);
	bulks[0] = (struct bulk){.at = {0, game}, .path = "", .program = 0};
	bulks[1] = (struct bulk){.at = {1, shelf}, .path = "", .program = SIZE_MAX};
	scene.forge.survey.bulks = bulks;
	scene.forge.survey.n_bulks = 2;
	scene_make(&scene, NULL);
	scene_expect(&scene, "C:\\Program Files\\Rally\\tracks.pak", "left offered");
	scene_expect(&scene, "C:\\Program Files\\Rally\\Cache\\c.pak", "left cache");
	scene_expect(&scene, "C:\\Program Files\\Rally\\my.car",
	    "taken changed data/drives/C/Program Files/Rally/my.car");
	scene_expect(&scene, "C:\\Program Files\\Other\\o.pak", "left program");
	scene_expect(&scene, "D:\\Games\\common\\Pond\\p.pak", "left offered");
	scene_expect(&scene, "D:\\Games\\list.txt", "taken outside data/drives/D/Games/list.txt");
	scene_end(&scene);
}

/* A program's own word on where it is counts only for a folder that looks like one. */
static void test_program_folders(void **state)
{
	struct scene scene;
	struct program *programs = scene.forge.programs;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 1, "\\Games\\Bean Race\\race.exe", 1);
	forge_file(&scene.forge, 1, "\\Games\\Bean Race\\beans.pak", 1);
	forge_file(&scene.forge, 1, "\\Photos\\a.jpg", 1);
	forge_file(&scene.forge, 1, "\\All\\b.exe", 1);
	forge_file(&scene.forge, 1, "\\All\\Music\\a.mp3", 1);
	scene_settle(&scene);
	programs = scene.forge.programs;
	programs[0] = (struct program){.folder = "D:\\Games\\Bean Race"};
	programs[1] = (struct program){.folder = "D:\\Photos"};
	programs[2] = (struct program){.folder = "C:\\Users\\mara\\Documents"};
	programs[3] = (struct program){.folder = "D:\\"};
	programs[4] = (struct program){.folder = "D:\\All"};
	scene.forge.systems[0].n_programs = 5;
	forge_place(
	    &scene.forge, 0, scene.mara, "music", "Music", "D:\\All\\Music", PLACE_OTHER_VOLUME);
	scene_make(&scene, NULL);
	scene_expect(&scene, "D:\\Games\\Bean Race\\beans.pak", "left program");
	scene_expect(&scene, "D:\\Photos\\a.jpg", "taken outside data/drives/D/Photos/a.jpg");
	scene_expect(&scene, "C:\\Users\\mara\\Documents\\mara.txt",
	    "taken place " PC "mara/Documents/mara.txt");
	scene_expect(&scene, "D:\\All\\b.exe", "taken outside data/drives/D/All/b.exe");
	scene_end(&scene);
}

/* Persons' files in profiles that are nobody's: where desktops and documents lie, and no deeper in settings. */
static void test_strays(void **state)
{
	static const char service[] = "\\Windows\\System32\\config\\systemprofile\\";
	static const char *const names[] = {"Desktop\\list.csv", "Desktop\\old.csv",
	    "Documents\\tool.exe", "Desktop\\desktop.ini", "AppData\\Roaming\\list.csv"};
	static const char *const expected[] = {
	    "taken outside " PC "shared/system-profile/Desktop/list.csv", "left offered",
	    "left offered", "left service-profile", "left service-profile"};
	struct scene scene;
	char path[120];

	(void)state;
	scene_start(&scene);
	for (size_t i = 0; i < 5; i++) {
		uint32_t node;

		snprintf(path, sizeof(path), "%s%s", service, names[i]);
		node = forge_file(&scene.forge, 0, path, 1);
		if (i == 1)
			forge_node(&scene.forge, 0, node)->node.modified -= 60 * FORGE_DAY;
	}
	forge_file(&scene.forge, 0, "\\Users\\Default\\Desktop\\hint.txt", 1);
	forge_file(&scene.forge, 0, "\\Users\\Default\\Desktop\\Shop.lnk", 1);
	forge_file(&scene.forge, 0, "\\Users\\Default\\hint.txt", 1);
	scene_settle(&scene);
	scene.forge.systems[0].last_used = FORGE_TIME + 3 * FORGE_DAY;
	scene_make(&scene, NULL);
	for (size_t i = 0; i < 5; i++) {
		snprintf(path, sizeof(path), "C:%s%s", service, names[i]);
		scene_expect(&scene, path, expected[i]);
	}
	scene_expect(&scene, "C:\\Users\\Default\\Desktop\\hint.txt",
	    "taken outside " PC "shared/default-profile/Desktop/hint.txt");
	scene_expect(&scene, "C:\\Users\\Default\\Desktop\\Shop.lnk", "left system");
	scene_expect(&scene, "C:\\Users\\Default\\hint.txt", "left system");
	scene_end(&scene);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_areas),
	    cmocka_unit_test(test_moved_places),
	    cmocka_unit_test(test_moved_settings),
	    cmocka_unit_test(test_one_folder_of_two),
	    cmocka_unit_test(test_senseless_place),
	    cmocka_unit_test(test_offline_copies),
	    cmocka_unit_test(test_service_profile),
	    cmocka_unit_test(test_xp),
	    cmocka_unit_test(test_old_copy),
	    cmocka_unit_test(test_layout_names),
	    cmocka_unit_test(test_changed),
	    cmocka_unit_test(test_bulk),
	    cmocka_unit_test(test_program_folders),
	    cmocka_unit_test(test_strays),
	};

	assert_true(locale_use_utf8(NULL));
	return cmocka_run_group_tests(tests, NULL, NULL);
}
