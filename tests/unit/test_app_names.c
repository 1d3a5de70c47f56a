/*
 * Names of store apps: out of manifests, and out of the names of packages.
 *
 * Sources: "Package manifest schema reference" (Windows developer documentation) for the manifest;
 * XML 1.0, 4.1 for references; how names are taken apart: our own choice.
 */
#include "unit.h"

#include "system/app_names.h"

#include <stdlib.h>
#include <string.h>

static char *property(const char *text, const char *element, struct arena *arena)
{
	return manifest_property((const uint8_t *)text, strlen(text), element, arena);
}

static void test_manifest(void **state)
{
	static const char text[] =
	    "<Package><Identity Name=\"x\"/><DisplayName>outside</DisplayName>"
	    "<Properties><Framework>false</Framework>\n<DisplayName> Rain &amp; Wind "
	    "</DisplayName><PublisherDisplayName/></Properties>"
	    "<Description>late</Description></Package>";
	struct arena arena = {0};

	(void)state;
	assert_string_equal(property(text, "DisplayName", &arena), "Rain & Wind");
	assert_null(property(text, "PublisherDisplayName", &arena));
	assert_null(property(text, "Description", &arena));
	assert_null(property("<Properties><DisplayName>x</DisplayName>", "DisplayName", &arena));
	assert_null(property("", "DisplayName", &arena));
	/* Cut anywhere: in a block of just that size, so that a sanitizer sees a step beyond. */
	for (size_t length = 0; length < sizeof(text); length++) {
		uint8_t *cut = malloc(length + 1);

		memcpy(cut, text, length);
		manifest_property(cut, length, "DisplayName", &arena);
		free(cut);
	}
	arena_free(&arena);
}

static void test_package_names(void **state)
{
	static const char *const packages[][3] = {{"LongAcre.RainNotes", "Rain Notes", "LongAcre"},
	    {"LongAcre.Field.RainNotes2", "Rain Notes2", "LongAcre"},
	    {"5EED0123.SlugLog", "Slug Log", ""}, {"RainNotes", "Rain Notes", ""},
	    {"1527c705-839a-4832-9118-54d4Bd6a0c89", "1527c705-839a-4832-9118-54d4Bd6a0c89", ""},
	    {"LongAcre.", "Long Acre.", "LongAcre"}, {"", "", ""}};
	struct arena arena = {0};

	(void)state;
	for (size_t i = 0; i < sizeof(packages) / sizeof(packages[0]); i++) {
		struct app_name made = app_name_of_package(packages[i][0], &arena);

		assert_string_equal(made.publisher, packages[i][2]);
		assert_string_equal(made.name, packages[i][1]);
	}
	arena_free(&arena);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_manifest),
	    cmocka_unit_test(test_package_names),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
