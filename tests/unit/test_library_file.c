/*
 * Tests of the files that note where folders are. Texts after Microsoft's "Library Description
 * Schema" (its example of a library), XML 1.0 (references), and a profiles.ini (common practice, no
 * source).
 */
#include "unit.h"

#include "system/library_file.h"

#include <string.h>

static size_t folders_of(const char *text, struct arena *arena, const char *folders[])
{
	return library_file_folders((const uint8_t *)text, strlen(text), arena, folders);
}

static void test_library(void **state)
{
	static const char text[] =
	    "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<libraryDescription>"
	    "<iconReference>imageres.dll,-1002</iconReference><searchConnectorDescriptionList>"
	    "<searchConnectorDescription><simpleLocation>\n <url>\n  D:\\Papers &amp; Plans</url>"
	    "<serialized>AAAA</serialized></simpleLocation></searchConnectorDescription>"
	    "<simpleLocation><url>knownfolder:{FDD39AD0-238F-46AF-ADB4-6C85480369C7}</url>"
	    "</simpleLocation><url></url><url>\\\\server\\caf\xC3\xA9&#32;&#x1F331;&#0;&broken</"
	    "url>"
	    "<url>never closed";
	const char *folders[LIBRARY_FOLDERS];
	struct arena arena = {0};

	(void)state;
	assert_int_equal(folders_of(text, &arena, folders), 3);
	assert_string_equal(folders[0], "D:\\Papers & Plans");
	assert_string_equal(folders[1], "knownfolder:{FDD39AD0-238F-46AF-ADB4-6C85480369C7}");
	assert_string_equal(folders[2], "\\\\server\\caf\xC3\xA9 \xF0\x9F\x8C\xB1&#0;&broken");
	assert_int_equal(folders_of("", &arena, folders), 0);
	arena_free(&arena);
}

static void test_utf16_and_limits(void **state)
{
	static const uint8_t wide[] = "\xFF\xFE<\0u\0r\0l\0>\0E\0:\0\\\0<\0/\0u\0r\0l\0>\0";
	static char many[2000];
	const char *folders[LIBRARY_FOLDERS];
	struct arena arena = {0};

	(void)state;
	assert_int_equal(library_file_folders(wide, sizeof(wide) - 1, &arena, folders), 1);
	assert_string_equal(folders[0], "E:\\");
	for (size_t i = 0; i + 13 < sizeof(many); i += 13)
		memcpy(many + i, "<url>X:</url>", 13);
	assert_int_equal(folders_of(many, &arena, folders), LIBRARY_FOLDERS);
	assert_int_equal(
	    library_file_folders((const uint8_t *)many, LIBRARY_FILE_LIMIT + 1, &arena, folders),
	    0); /* unread */
	arena_free(&arena);
}

static size_t addresses_of(const char *text, bool of_mail, const char *addresses[])
{
	static struct arena arena;

	return preferences_addresses(
	    (const uint8_t *)text, strlen(text), of_mail, &arena, addresses);
}

/* How such files look: common practice, no source. */
static void test_addresses(void **state)
{
	static const char json[] = "{\"account_info\":[{\"account_id\":\"5eed\",\"email\":"
				   "\"mara@fernhill.example\",\"token\":\"x@secret\"}],"
				   "\"note\":\"write to rowan@fernhill.example\",\"email\":\"none\"}";
	static const char script[] =
	    "user_pref(\"mail.identity.id1.useremail\", \"treasurer@fernhill.example\");\n"
	    "user_pref(\"mail.server.server1.password\", \"a@b\");\n"
	    "user_pref(\"services.sync.username\", \"mara@fernhill.example\");\n";
	const char *found[LIBRARY_FOLDERS];

	(void)state;
	assert_int_equal(addresses_of(json, false, found), 1);
	assert_string_equal(found[0], "mara@fernhill.example");
	assert_int_equal(addresses_of(json, true, found), 0);
	assert_int_equal(addresses_of(script, true, found), 1);
	assert_string_equal(found[0], "treasurer@fernhill.example");
	assert_int_equal(addresses_of(script, false, found), 1);
	assert_string_equal(found[0], "mara@fernhill.example");
	assert_int_equal(addresses_of("\"email\":\"never@closed", false, found), 0);
}

static void test_profile_list(void **state)
{
	static const char text[] =
	    "[Profile0]\r\nName=default\r\nIsRelative=1\r\n"
	    "Path=Profiles/5eed.default\r\n\r\n[Profile1]\r\nIsRelative=0\r\n"
	    "Path=E:\\Lantern\\old\nPath=\\\\server\\share\\p\nPath=E:";
	const char *folders[LIBRARY_FOLDERS];
	struct arena arena = {0};

	(void)state;
	assert_int_equal(
	    profile_list_folders((const uint8_t *)text, strlen(text), &arena, folders), 2);
	assert_string_equal(folders[0], "E:\\Lantern\\old");
	assert_string_equal(folders[1], "\\\\server\\share\\p");
	arena_free(&arena);
}

static void test_preferences(void **state)
{
	static const char text[] =
	    "{\"download\":{\"default_directory\":\"E:\\\\Caf\\u00e9 \\\"x\\\"\",\"prompt\":true},"
	    "\"selectfile\":{\"last_directory\":\"F:\\\\a\"},\"savefile\":{\"d\":\"C:\"}}"
	    "user_pref(\"mail.server.server1.directory\", \"\\\\\\\\server\\\\mail\\\\a\");\r\n"
	    "user_pref(\"a.recent\", \"E:\\\\b\"); user_pref(\"b\", \"\\ud800E:\"); \"E:\\\\never "
	    "closed";
	const char *folders[LIBRARY_FOLDERS];
	struct arena arena = {0};

	(void)state;
	assert_int_equal(
	    preferences_folders((const uint8_t *)text, strlen(text), &arena, folders), 2);
	assert_string_equal(folders[0], "E:\\Caf\xC3\xA9 \"x\"");
	assert_string_equal(folders[1], "\\\\server\\mail\\a");
	arena_free(&arena);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_library),
	    cmocka_unit_test(test_utf16_and_limits),
	    cmocka_unit_test(test_profile_list),
	    cmocka_unit_test(test_preferences),
	    cmocka_unit_test(test_addresses),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
