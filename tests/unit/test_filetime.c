/*
 * Tests of base/filetime.h.
 *
 * Sources: [MS-DTYP] 2.3.3 (FILETIME counts from 1601-01-01), 2.3.13 (SYSTEMTIME);
 * [MS-SHLLINK] 3.1, the worked example (CreationTime D0 E9 EE F2 15 15 C9 01 is 9/12/08,
 * 8:27:17PM); the C library's gmtime() as an independent calendar.
 */
#include "unit.h"

#include "base/bytes.h"
#include "base/filetime.h"

#include <string.h>
#include <time.h>

static void test_shell_link_example(void **state)
{
	static const uint8_t stored[] = {0xD0, 0xE9, 0xEE, 0xF2, 0x15, 0x15, 0xC9, 0x01};
	struct filetime_text text = filetime_to_text((int64_t)get_u64(stored));
	int64_t back;

	(void)state;
	assert_int_equal(strlen(text.text), 28);
	assert_memory_equal(text.text, "2008-09-12T20:27:17.", 20);
	assert_true(filetime_from_text(text.text, &back));
	assert_int_equal(back, (int64_t)get_u64(stored));
}

static void test_epochs(void **state)
{
	int64_t seconds;
	uint32_t nanoseconds;

	(void)state;
	filetime_to_unix(FILETIME_UNIX_EPOCH, &seconds, &nanoseconds);
	assert_int_equal(seconds, 0);
	assert_int_equal(nanoseconds, 0);
	assert_string_equal(
	    filetime_to_text(FILETIME_UNIX_EPOCH).text, "1970-01-01T00:00:00.0000000Z");
	/* One step after 1601 began; zero is "not set". */
	assert_string_equal(filetime_to_text(1).text, "1601-01-01T00:00:00.0000001Z");
	assert_string_equal(filetime_to_text(0).text, "");
	assert_string_equal(filetime_to_text(-1).text, "");
	assert_string_equal(filetime_to_text(INT64_MAX).text, "");
}

/* One time in each of 400 years (a whole cycle of the calendar), against gmtime(). */
static void test_against_gmtime(void **state)
{
	(void)state;
	for (int64_t year = 0; year < 400; year++) {
		int64_t seconds = (year - 300) * 31556952 + year * 40503, back;
		time_t time = (time_t)seconds;
		char expected[64];
		struct tm tm;

		strftime(
		    expected, sizeof(expected), "%Y-%m-%dT%H:%M:%S.0000000Z", gmtime_r(&time, &tm));
		if (tm.tm_year + 1900 <= 1601)
			continue;
		assert_string_equal(
		    filetime_to_text(filetime_from_unix(seconds, 0)).text, expected);
		assert_true(filetime_from_text(expected, &back));
		assert_int_equal(back, filetime_from_unix(seconds, 0));
	}
}

static void test_systemtime(void **state)
{
	/* Year, month, day of week, day, hour, minute, second, milliseconds: 2008-09-12 20:27:17.5
	 */
	static const uint8_t fields[16] = {
	    0xD8, 7, 9, 0, 5, 0, 12, 0, 20, 0, 27, 0, 17, 0, 0xF4, 1};
	static const uint8_t no_month[16] = {0xD8, 7, 0, 0, 5, 0, 12, 0};
	int64_t filetime;

	(void)state;
	assert_true(filetime_from_systemtime(fields, &filetime));
	assert_string_equal(filetime_to_text(filetime).text, "2008-09-12T20:27:17.5000000Z");
	assert_false(filetime_from_systemtime(no_month, &filetime));
}

static void test_no_times(void **state)
{
	static const char *const texts[] = {"", "2008", "2008-13-01T00:00:00Z",
	    "2008-09-12 20:27:17Z", "2008-09-12T20:27:17.12345678Z", "2008-09-12T20:27:17"};
	int64_t filetime;

	(void)state;
	for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++)
		assert_false(filetime_from_text(texts[i], &filetime));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_shell_link_example),
	    cmocka_unit_test(test_epochs),
	    cmocka_unit_test(test_against_gmtime),
	    cmocka_unit_test(test_systemtime),
	    cmocka_unit_test(test_no_times),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
