/*
 * Tests of local time without the process's zone.
 *
 * Reference: the C library's localtime_r() and gmtime_r(), which read the same TZ texts by
 * POSIX.1-2017, Base Definitions 8.3.
 */
#include "unit.h"

#include "base/zone.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

static void check_against_library(const char *text, int64_t from, int64_t to, int64_t step)
{
	struct zone zone;

	assert_true(zone_parse(&zone, text));
	setenv("TZ", text, 1);
	tzset();
	for (int64_t at = from; at < to; at += step) {
		time_t time = (time_t)at;
		struct tm tm;
		int64_t local = zone_local(&zone, at);

		assert_non_null(localtime_r(&time, &tm));
		if (local != at + tm.tm_gmtoff)
			fail_msg("%s at %lld: %lld, not %ld", text, (long long)at,
			    (long long)(local - at), tm.tm_gmtoff);
	}
}

static void test_zones(void **state)
{
	/* North, south, odd offsets, the date line, rules at odd hours and the end of a day. */
	static const char *const zones[] = {"UTC0", "CET-1CEST,M3.5.0,M10.5.0/3",
	    "<+01>-1<+02>-2,M3.5.0/2,M10.5.0/3", "EST5EDT,M3.2.0,M11.1.0",
	    "<+0930>-9:30<+1030>-10:30,M10.1.0/2,M4.1.0/3", "<+0530>-5:30",
	    "NZST-12NZDT,M9.5.0,M4.1.0/3",
	    "<-04>4<-03>3,M3.2.0/0,M10.5.6/24", "<-03>3<-02>,M3.5.0/-2,M10.5.0/-1",
	    "IST-2IDT,M3.4.4/26,M10.5.0", "<+00>0<+01>-1,M3.5.0/1,M10.5.0/2",
	    "XXX3:15:20YYY2:10,M2.1.1,M11.5.6/23:59:59", "<+14>-14", "AAA12BBB,M6.3.2/1:30,M7.4.5"};

	(void)state;
	for (size_t i = 0; i < sizeof(zones) / sizeof(zones[0]); i++) {
		/*
		 * 30 years by the half-hour and a bit, and two centuries coarsely; glibc does not
		 * count the rules back beyond 1970.
		 */
		check_against_library(zones[i], 946598400, INT64_C(1893393360), 1801);
		check_against_library(zones[i], 86400, 7258118400, 7777777);
		/* The turn of a year by the second. */
		check_against_library(zones[i], 1577836800 - 3600, 1577836800 + 3600, 1);
	}
}

static void test_dates(void **state)
{
	(void)state;
	for (int64_t at = -70000000000; at < 260000000000; at += 98765432) {
		time_t time = (time_t)at;
		struct date date = date_of(at);
		struct tm tm;

		assert_non_null(gmtime_r(&time, &tm));
		assert_int_equal(date.year, tm.tm_year + 1900);
		assert_int_equal(date.month, tm.tm_mon + 1);
		assert_int_equal(date.day, tm.tm_mday);
		assert_int_equal(date.hour, tm.tm_hour);
		assert_int_equal(date.minute, tm.tm_min);
		assert_int_equal(date.second, tm.tm_sec);
		assert_int_equal(date_days(date.year, date.month, date.day) * 86400 +
			date.hour * 3600 + date.minute * 60 + date.second, at);
	}
}

static void test_what_is_no_zone(void **state)
{
	static const char *const texts[] = {"", "CE", "CET", "CET-", "CET-1CEST",
	    "CET-1CEST,M3.5.0", "CET-1CEST,M13.5.0,M10.5.0", "CET-1CEST,M3.6.0,M10.5.0",
	    "CET-1CEST,M3.5.7,M10.5.0", "CET-1CEST,J60,J300", "CET-1CEST,M3.5.0,M10.5.0/3x",
	    "<+01-1", "<>1", "CET-1:60", "CET-168", ":Europe/Berlin"};
	struct zone zone;

	(void)state;
	for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++) {
		assert_false(zone_parse(&zone, texts[i]));
		assert_int_equal(zone_local(&zone, 1563099630), 1563099630);
	}
	assert_false(zone_parse(&zone, NULL));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_zones),
	    cmocka_unit_test(test_dates),
	    cmocka_unit_test(test_what_is_no_zone),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
