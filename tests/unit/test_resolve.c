/*
 * Tests of old paths, environment variables, names for the archive and sums, on a catalogue made by
 * hand.
 *
 * Junctions need reparse data of a real volume: the demo drives test them
 * (tests/run/survey_demo.py).
 */
#include "unit.h"

#include "fake_survey.h"
#include "system/inner.h"

#include <stdio.h>
#include <string.h>

/* --- paths --- */

static struct location at(
    const struct fake *fake, const struct old_system *system, const char *path)
{
	return survey_resolve(&fake->survey, system, path);
}

static void test_paths(void **state)
{
	struct letter letters[] = {
	    {.letter = 'D', .volume = 1}, {.letter = 'E', .volume = SIZE_MAX}};
	struct mount mounts[1] = {{.volume = 1}};
	struct old_system system = {.letter = 'C',
	    .container = NODE_ROOT,
	    .letters = letters,
	    .n_letters = 2,
	    .mounts = mounts,
	    .n_mounts = 1};
	uint32_t mara, photos;
	struct fake fake;

	(void)state;
	assert_true(guid_from_text("c0ffee02-1a2b-4c3d-8e4f-5eed00000002", &mounts[0].guid));
	fake_start(&fake);
	fake_volume(&fake);
	fake_volume(&fake);
	mara = fake_folder(&fake, 0, "Users\\mara");
	photos = fake_folder(&fake, 1, "Photos\\2019");
	assert_int_equal(at(&fake, &system, "C:\\Users\\mara").node, mara);
	assert_int_equal(at(&fake, &system, "c:/users/MARA/").node, mara);
	assert_int_equal(at(&fake, &system, "\\Users\\mara").node, mara);
	assert_int_equal(at(&fake, &system, "\\\\?\\C:\\Users\\mara").node, mara);
	assert_int_equal(at(&fake, &system, "C:\\Users\\.\\mara\\..\\mara").node, mara);
	assert_int_equal(at(&fake, &system, "C:\\").node, NODE_ROOT);
	assert_int_equal(at(&fake, &system, "D:\\Photos\\2019").node, photos);
	assert_int_equal(at(&fake, &system, "D:\\Photos\\2019").volume, 1);
	assert_int_equal(
	    at(&fake, &system, "Volume{c0ffee02-1a2b-4c3d-8e4f-5eed00000002}\\Photos\\2019").node,
	    photos);
	/* A file is no folder. */
	fake_file(&fake, 1, "Photos\\list.txt", 1);
	assert_int_equal(at(&fake, &system, "D:\\Photos\\list.txt").node, NONE);
	assert_int_equal(at(&fake, &system, "D:\\Photos\\list.txt").volume, 1);
	/* Not there; not attached; unknown letter; shares; nonsense. */
	assert_int_equal(at(&fake, &system, "D:\\Photos\\2020").node, NONE);
	assert_int_equal(at(&fake, &system, "D:\\Photos\\2020").volume, 1);
	assert_true(at(&fake, &system, "E:\\Music").volume == SIZE_MAX);
	assert_true(at(&fake, &system, "Q:\\Music").volume == SIZE_MAX);
	assert_true(at(&fake, &system, "\\\\hut-server\\film").volume == SIZE_MAX);
	assert_true(at(&fake, &system, "\\\\?\\UNC\\hut-server\\film").volume == SIZE_MAX);
	assert_true(at(&fake, &system, "").volume == SIZE_MAX);
	assert_true(at(&fake, &system, "Volume{not-a-guid}\\x").volume == SIZE_MAX);
	assert_true(at(&fake, &system, "Photos").volume == SIZE_MAX);
	fake_end(&fake);
}

/* In an old copy, "C:\" stands for the folder that holds it. */
static void test_paths_of_a_copy(void **state)
{
	struct old_system system = {.letter = 'C', .is_copy = true};
	struct fake fake;
	uint32_t old;

	(void)state;
	fake_start(&fake);
	fake_volume(&fake);
	fake_folder(&fake, 0, "Users\\mara");
	old = fake_folder(&fake, 0, "Windows.old\\Users\\mara");
	system.container = fake_folder(&fake, 0, "Windows.old");
	assert_int_equal(at(&fake, &system, "C:\\Users\\mara").node, old);
	assert_int_equal(at(&fake, &system, "C:\\..\\..\\Users\\mara").node, old);
	fake_end(&fake);
}

/* --- old systems --- */

static void test_find_systems(void **state)
{
	struct fake fake;
	struct error error;
	uint32_t windows;

	(void)state;
	fake_start(&fake);
	fake_volume(&fake);
	fake_volume(&fake);
	fake_file(&fake, 0, "Backup\\old pc\\WINNT\\system32\\config\\software", 1);
	fake_file(&fake, 0, "Windows\\WinSxS\\x\\Windows\\System32\\config\\SYSTEM", 1);
	fake_file(&fake, 0, "Windows\\System32\\config\\RegBack\\SYSTEM", 1);
	fake_file(&fake, 0,
	    "ProgramData\\Microsoft\\Windows\\Containers\\BaseImages\\x\\Files\\Windows\\System32\\"
	    "config\\SYSTEM",
	    1);
	fake_file(&fake, 0, "Windows\\System32\\config\\SYSTEM", 1);
	fake_file(&fake, 0, "Windows.old\\Windows\\System32\\config\\SYSTEM", 1);
	fake_file(&fake, 0, "Tools\\System32\\config\\notes.txt", 1);
	windows = fake_folder(&fake, 1, "Windows");
	fake_file(&fake, 1, "Windows\\System32\\ntoskrnl.exe", 1);
	fake_folder(&fake, 1, "Windows\\System32\\config");
	assert_true(find_systems(&fake.survey, &error));
	assert_int_equal(fake.survey.n_systems, 4);
	/* Installations first, copies last. */
	assert_string_equal(fake.survey.systems[0].windows_path, "\\Windows");
	assert_int_equal(fake.survey.systems[0].volume, 0);
	assert_int_equal(fake.survey.systems[1].volume, 1);
	assert_int_equal(fake.survey.systems[1].windows, windows);
	assert_false(fake.survey.systems[1].is_copy);
	assert_string_equal(fake.survey.systems[2].windows_path, "\\Backup\\old pc\\WINNT");
	assert_true(fake.survey.systems[2].is_copy);
	assert_string_equal(fake.survey.systems[3].windows_path, "\\Windows.old\\Windows");
	fake_end(&fake);
}

/* However many copies there are, installations are found and the rest is named. */
static void test_many_systems(void **state)
{
	struct findings findings;
	struct fake fake;
	struct error error;

	(void)state;
	findings_init(&findings);
	fake_start(&fake);
	fake.survey.findings = &findings;
	fake_volume(&fake);
	fake_volume(&fake);
	for (unsigned i = 0; i < 70; i++) {
		char path[80];

		snprintf(path, sizeof(path), "%02u\\Windows\\System32\\config\\SYSTEM", i);
		fake_file(&fake, 0, path, 1);
	}
	fake_file(&fake, 1, "Windows\\System32\\config\\SYSTEM", 1);
	assert_true(find_systems(&fake.survey, &error));
	assert_int_equal(fake.survey.systems[0].volume, 1);
	assert_true(fake.survey.n_systems >= 20 && fake.survey.n_systems < 71);
	assert_true(findings_have(&findings, "too-many-systems"));
	fake_end(&fake);
	findings_free(&findings);
}

static void test_sum(void **state)
{
	struct fake fake;
	struct sum sum;

	(void)state;
	fake_start(&fake);
	fake_volume(&fake);
	fake_file(&fake, 0, "Users\\mara\\a.txt", 100);
	fake_file(&fake, 0, "Users\\mara\\Deep\\Deeper\\b.txt", 20);
	fake_file(&fake, 0, "Users\\zoe\\c.txt", 3);
	sum = survey_sum(&fake.survey, (struct location){0, fake_folder(&fake, 0, "Users\\mara")});
	assert_int_equal(sum.files, 2);
	assert_int_equal(sum.bytes, 120);
	assert_int_equal(sum.folders, 2);
	assert_int_equal(survey_sum(&fake.survey, NO_LOCATION).files, 0);
	fake_end(&fake);
}

/* A place may be the root of a drive, where the file system's own files lie, too. */
static void test_sum_of_a_root(void **state)
{
	struct fake fake;
	struct catalogue *catalogue;
	uint32_t bad, letter, second;
	struct sum sum;

	(void)state;
	fake_start(&fake);
	fake_volume(&fake);
	catalogue = &fake.catalogues[0];
	bad = fake_file(&fake, 0, "$BadClus", 500000000);
	catalogue->nodes[bad].flags |= NODE_SYSTEM;
	catalogue->nodes[NODE_ROOT].flags |= NODE_SYSTEM;
	letter = fake_file(&fake, 0, "Letters\\one.txt", 7);
	second = fake_file(&fake, 0, "Letters\\second name.txt", 7);
	fake_file(&fake, 0, "plan.txt", 5);
	/* Both names lead to one file: entries of one node stand side by side. */
	catalogue->entries[catalogue->nodes[second].first_entry].node = letter;
	catalogue->nodes[letter].n_entries = 2;
	sum = survey_sum(&fake.survey, (struct location){0, NODE_ROOT});
	assert_int_equal(sum.files, 2);
	assert_int_equal(sum.bytes, 12);
	assert_int_equal(sum.folders, 1);
	fake_end(&fake);
}

/* --- variables --- */

static void check_expand(const struct environment *environment, const char *text,
    const char *expected, const char *expected_unknown)
{
	struct arena arena = {0};
	const char *unknown = NULL;

	assert_string_equal(environment_expand(environment, text, &arena, &unknown), expected);
	if (expected_unknown)
		assert_string_equal(unknown, expected_unknown);
	else
		assert_null(unknown);
	arena_free(&arena);
}

static void test_variables(void **state)
{
	struct environment environment = {0};
	struct arena arena = {0};
	char many[3 * 1024 + 1];

	(void)state;
	assert_true(environment_set(&environment, &arena, "SystemDrive", "C:"));
	assert_true(
	    environment_set(&environment, &arena, "USERPROFILE", "%SystemDrive%\\Users\\mara"));
	assert_true(environment_set(&environment, &arena, "LOOP", "%LOOP%%LOOP%"));
	assert_true(environment_set(&environment, &arena, "HOMEDRIVE", "H:"));
	assert_true(environment_set(&environment, &arena, "homedrive", "C:"));
	check_expand(&environment, "%userprofile%\\Documents", "C:\\Users\\mara\\Documents", NULL);
	check_expand(&environment, "%HOMEDRIVE%\\x", "C:\\x", NULL);
	check_expand(&environment, "D:\\100%", "D:\\100%", NULL);
	check_expand(&environment, "%%", "%%", NULL);
	check_expand(&environment, "%NOWHERE%\\Music", "%NOWHERE%\\Music", "NOWHERE");
	check_expand(&environment, "", "", NULL);
	/* A value that holds itself ends at a depth that no honest hive reaches. */
	assert_non_null(environment_expand(&environment, "%LOOP%", &arena, NULL));
	/* Nor may many that stand for nothing in the end take a lifetime. */
	for (unsigned i = 0; i < 1024; i++)
		memcpy(many + i * 3, "%A%", 4);
	assert_true(environment_set(&environment, &arena, "A", many));
	assert_non_null(environment_expand(&environment, many, &arena, NULL));
	for (char name = 'B'; name < 'H'; name++) {
		char inner[] = {'%', (char)(name - 1), '%', '\0'}, own[] = {name, '\0'};

		for (unsigned i = 0; i < 1024; i++)
			memcpy(many + i * 3, inner, 4);
		assert_true(environment_set(&environment, &arena, own, many));
	}
	assert_true(environment_set(&environment, &arena, "A", ""));
	assert_non_null(environment_expand(&environment, "%G%", &arena, NULL));
	environment_free(&environment);
	arena_free(&arena);
}

/* --- persons --- */

/* [MS-DTYP] 2.4.2.4: LOCAL_SYSTEM, LOCAL_SERVICE, NETWORK_SERVICE, NT_SERVICE; ADMINISTRATOR of a
 * machine. S-1-12-1: common practice, no source. */
static void test_service_accounts(void **state)
{
	(void)state;
	assert_true(sid_is_service("S-1-5-18"));
	assert_true(sid_is_service("S-1-5-19"));
	assert_true(sid_is_service("S-1-5-20"));
	assert_true(
	    sid_is_service("S-1-5-80-956008885-3418522649-1831038044-1853292631-2271478464"));
	assert_true(
	    sid_is_service("S-1-5-82-3006700770-424185619-1745488364-794895919-4004696415"));
	assert_false(sid_is_service("S-1-5-21-1004336348-1177238915-682003330-500"));
	assert_false(sid_is_service("S-1-12-1-1-2-3-4"));
	assert_false(sid_is_service(""));
}

static void test_account_value(void **state)
{
	uint8_t v[204 + 16] = {0};
	struct arena arena = {0};
	struct account account;

	(void)state;
	/* Entry 1, the name, at 0; entry 2, the full name, at 4. */
	v[12 + 4] = 4;
	v[24] = 4;
	v[24 + 4] = 6;
	memcpy(v + 204,
	    "z\0o\0"
	    "Z\0\xEB\0x\0",
	    10);
	assert_true(account_from_v(v, sizeof(v), &arena, &account));
	assert_string_equal(account.name, "zo");
	assert_string_equal(account.full_name, "Z\xC3\xABx");
	/* Lengths and offsets that lead outside. */
	v[24] = 12;
	assert_true(account_from_v(v, sizeof(v), &arena, &account));
	assert_string_equal(account.full_name, "");
	v[12 + 7] = 0xFF;
	assert_false(account_from_v(v, sizeof(v), &arena, &account));
	assert_false(account_from_v(v, 203, &arena, &account));
	arena_free(&arena);
}

static void check_key(const char *name, const char *expected)
{
	struct arena arena = {0};

	assert_string_equal(key_make(&arena, name, "person"), expected);
	arena_free(&arena);
}

static bool is_one_of_two(const void *context, const char *key)
{
	(void)context;
	return strcmp(key, "mara") == 0 || strcmp(key, "mara-2") == 0;
}

/* "plot", "plot-2" ... up to a number are taken. */
static bool is_up_to(const void *context, const char *key)
{
	unsigned number = 1;

	sscanf(key, "plot-%u", &number);
	return number <= *(const unsigned *)context;
}

static void check_number(struct arena *arena, unsigned taken)
{
	char expected[20];

	snprintf(expected, sizeof(expected), "plot-%u", taken + 1);
	assert_string_equal(key_unique(arena, "plot", is_up_to, &taken), expected);
}

static void test_keys(void **state)
{
	struct arena arena = {0};

	(void)state;
	check_key("mara", "mara");
	check_key("Zo\xC3\xAB", "Zo\xC3\xAB");
	check_key("a/b\\c:d", "a_b_c_d");
	check_key("..\\..", "_");
	check_key("..", "person");
	check_key("-rf", "rf");
	check_key("", "person");
	check_key("Con", "_Con");
	check_key("com1.x", "_com1.x");
	check_key("dot. .", "dot");
	check_key("a\x1b[2J", "a_[2J");
	check_key("evil\xE2\x80\xAEtxt", "evil_txt");
	for (unsigned taken = 1; taken < 40; taken++)
		check_number(&arena, taken);
	assert_string_equal(key_unique(&arena, "mara", is_one_of_two, NULL), "mara-3");
	assert_string_equal(key_unique(&arena, "zoe", is_one_of_two, NULL), "zoe");
	arena_free(&arena);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_paths),
	    cmocka_unit_test(test_paths_of_a_copy),
	    cmocka_unit_test(test_find_systems),
	    cmocka_unit_test(test_many_systems),
	    cmocka_unit_test(test_sum),
	    cmocka_unit_test(test_sum_of_a_root),
	    cmocka_unit_test(test_variables),
	    cmocka_unit_test(test_service_accounts),
	    cmocka_unit_test(test_account_value),
	    cmocka_unit_test(test_keys),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
