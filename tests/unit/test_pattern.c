/*
 * Tests of patterns for names and paths. `*`, `?` and `**` mean what they mean in the shells'
 * "globstar" (POSIX.1-2017, XCU 2.13 for `*` and `?`; `**`: common practice, no source). fnmatch()
 * of the C library is the reference for patterns without `**`.
 */
#include "unit.h"

#include "base/arena.h"
#include "base/locale.h"
#include "plan/pattern.h"

#include <fnmatch.h>
#include <stdlib.h>
#include <string.h>

static bool matches(const char *text, const char *path)
{
	struct arena arena = {0};
	struct pattern pattern;
	bool match;

	assert_true(pattern_compile(&arena, text, &pattern));
	match = pattern_match(&pattern, path);
	arena_free(&arena);
	return match;
}

static void test_within_names(void **state)
{
	(void)state;
	assert_true(matches("*.tmp", "x.TMP"));
	assert_true(matches("*.tmp", ".tmp"));
	assert_false(matches("*.tmp", "x.tmp2"));
	assert_false(matches("*.tmp", "a\\x.tmp"));
	assert_true(matches("?", "\xF0\x9F\x8C\xB1"));
	assert_false(matches("?", "\\"));
	assert_false(matches("?", ""));
	assert_true(matches("", ""));
	assert_true(matches("*", ""));
	assert_true(matches("thumbcache_*.db", "thumbcache_256.db"));
	assert_true(matches("a*b*c", "aXbXbXc"));
	assert_true(matches("\xC3\xA9t\xC3\xA9", "\xC3\x89T\xC3\x89"));
}

static void test_over_folders(void **state)
{
	(void)state;
	assert_true(matches("D:\\Photos\\**", "d:\\photos\\2019\\a.jpg"));
	assert_true(matches("D:\\Photos\\**", "D:\\Photos\\a.jpg"));
	assert_false(matches("D:\\Photos\\**", "D:\\Photos2\\a.jpg"));
	assert_true(matches("D:/Photos/**", "D:\\Photos\\x"));
	assert_true(matches("D:\\**\\x.jpg", "D:\\x.jpg"));
	assert_true(matches("D:\\**\\x.jpg", "D:\\a\\b\\x.jpg"));
	assert_false(matches("D:\\**\\x.jpg", "D:\\ax.jpg"));
	assert_true(matches("**\\x", "x"));
	assert_true(matches("**\\x", "a\\x"));
	assert_false(matches("**\\x", "ax"));
	assert_true(matches("**\\a\\**\\b", "z\\a\\a\\c\\b"));
	assert_false(matches("**\\a\\**\\b", "z\\b"));
	assert_true(matches("**", "a\\b\\c"));
	assert_true(matches("a**b", "a\\x\\b"));
	assert_false(matches("D:\\*\\x", "D:\\a\\b\\x"));
}

/* Against fnmatch() on random short texts of few letters. */
static void test_against_fnmatch(void **state)
{
	static const char letters[] = "ab/*?";

	(void)state;
	srand(1);
	for (int round = 0; round < 100000; round++) {
		char pattern[9] = {0}, text[9] = {0};
		size_t n = (size_t)rand() % 8, m = (size_t)rand() % 8;

		for (size_t i = 0; i < n; i++)
			pattern[i] = letters[rand() % 5];
		for (size_t i = 0; i < m; i++)
			text[i] = letters[rand() % 3];
		if (strstr(pattern, "**"))
			continue;
		if (matches(pattern, text) != (fnmatch(pattern, text, FNM_PATHNAME) == 0))
			fail_msg("pattern '%s', text '%s'", pattern, text);
	}
}

/* No pattern takes long: this one would for a matcher that tries every way. */
static void test_hostile(void **state)
{
	char pattern[200] = {0}, text[2000];

	(void)state;
	for (int i = 0; i < 60; i++)
		strcat(pattern, "*a");
	strcat(pattern, "b");
	memset(text, 'a', sizeof(text) - 1);
	text[sizeof(text) - 1] = 0;
	assert_false(matches(pattern, text));
}

static void test_too_long(void **state)
{
	char text[PATTERN_LIMIT + 2];
	struct arena arena = {0};
	struct pattern pattern;

	(void)state;
	memset(text, '*', sizeof(text) - 1);
	text[sizeof(text) - 1] = 0;
	assert_false(pattern_compile(&arena, text, &pattern));
	memset(text, 'a', sizeof(text) - 1);
	text[PATTERN_LIMIT] = 0;
	assert_true(pattern_compile(&arena, text, &pattern));
	assert_true(pattern_match(&pattern, text));
	arena_free(&arena);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_within_names),
	    cmocka_unit_test(test_over_folders),
	    cmocka_unit_test(test_against_fnmatch),
	    cmocka_unit_test(test_hostile),
	    cmocka_unit_test(test_too_long),
	};

	assert_true(locale_use_utf8(NULL));
	return cmocka_run_group_tests(tests, NULL, NULL);
}
