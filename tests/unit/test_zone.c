/*
 * Tests of the old PC's time zone as a POSIX TZ value.
 *
 * Sources: POSIX.1-2017, Base Definitions 8.3 (TZ); the time zone database of the system that the
 * test runs on, read by its C library, as independent reference: every hour of 30 years must have
 * the same offset. The rules are those that the old system has for these zones (common practice, no
 * source); the Eastern rule is the one in the open sample hive windows-hives/SYSTEM.
 */
#include "unit.h"

#include "base/bytes.h"
#include "system/inner.h"

#include <stdlib.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

/* In the order of the hive: year, month, day (1 to 5), hour, minute, second, milliseconds, weekday.
 */
static void set_rule(uint8_t rule[16], unsigned month, unsigned day, unsigned hour)
{
	uint8_t hive[16] = {0};

	put_u16(hive + 2, (uint16_t)month);
	put_u16(hive + 4, (uint16_t)day);
	put_u16(hive + 6, (uint16_t)hour);
	zone_rule_from_hive(hive, rule);
}

static long offset_at(const char *zone, time_t time)
{
	struct tm tm;

	setenv("TZ", zone, 1);
	tzset();
	assert_non_null(localtime_r(&time, &tm));
	return tm.tm_gmtoff;
}

static void check_zone(
    const struct old_system *system, const char *expected, const char *name, int first_year)
{
	const time_t start = (time_t)(first_year - 1970) * 31556952 + 86400;
	char zone[96], path[200];
	struct stat status;

	assert_true(zone_to_posix(system, zone, sizeof(zone)));
	assert_string_equal(zone, expected);
	snprintf(path, sizeof(path), "/usr/share/zoneinfo/%s", name);
	if (stat(path, &status) != 0)
		skip();
	/* Whole days, and every hour on the days around each change. */
	for (time_t time = start; time < start + (time_t)30 * 31556952; time += 86400) {
		if (offset_at(zone, time) != offset_at(name, time))
			fail_msg("%s at %lld: %ld, not %ld", name, (long long)time,
			    offset_at(zone, time), offset_at(name, time));
		if (offset_at(name, time) == offset_at(name, time + 86400))
			continue;
		for (time_t hour = time; hour < time + 86400; hour += 1800)
			assert_int_equal(offset_at(zone, hour), offset_at(name, hour));
	}
}

static void test_western_europe(void **state)
{
	struct old_system system = {.has_zone = true, .bias = -60, .daylight_bias = -60};

	(void)state;
	set_rule(system.daylight_start, 3, 5, 2);
	set_rule(system.standard_start, 10, 5, 3);
	check_zone(&system, "<+01>-1<+02>-2,M3.5.0/2,M10.5.0/3", "Europe/Berlin", 1997);
}

static void test_britain(void **state)
{
	struct old_system system = {.has_zone = true, .bias = 0, .daylight_bias = -60};

	(void)state;
	set_rule(system.daylight_start, 3, 5, 1);
	set_rule(system.standard_start, 10, 5, 2);
	check_zone(&system, "<+00>0<+01>-1,M3.5.0/1,M10.5.0/2", "Europe/London", 1997);
}

static void test_eastern(void **state)
{
	/* As in the sample hive, byte for byte. */
	static const uint8_t daylight[16] = {0, 0, 3, 0, 2, 0, 2, 0};
	static const uint8_t standard[16] = {0, 0, 11, 0, 1, 0, 2, 0};
	struct old_system system = {.has_zone = true, .bias = 300, .daylight_bias = -60};

	(void)state;
	zone_rule_from_hive(daylight, system.daylight_start);
	zone_rule_from_hive(standard, system.standard_start);
	check_zone(&system, "<-05>5<-04>4,M3.2.0/2,M11.1.0/2", "America/New_York", 2008);
}

/* Daylight time over the turn of the year, and an offset with half an hour. */
static void test_south_australia(void **state)
{
	struct old_system system = {.has_zone = true, .bias = -570, .daylight_bias = -60};

	(void)state;
	set_rule(system.daylight_start, 10, 1, 2);
	set_rule(system.standard_start, 4, 1, 3);
	check_zone(
	    &system, "<+0930>-9:30<+1030>-10:30,M10.1.0/2,M4.1.0/3", "Australia/Adelaide", 2009);
}

static void test_no_daylight_time(void **state)
{
	struct old_system system = {.has_zone = true, .bias = -330, .daylight_bias = -60};

	(void)state;
	check_zone(&system, "<+0530>-5:30", "Asia/Kolkata", 1990);
}

static void test_bad_zones(void **state)
{
	struct old_system system = {.has_zone = true, .bias = -60, .daylight_bias = -60};
	char zone[96];

	(void)state;
	/* A rule that is none: no daylight time, rather than a TZ that nothing understands. */
	set_rule(system.daylight_start, 13, 5, 2);
	set_rule(system.standard_start, 10, 5, 3);
	assert_true(zone_to_posix(&system, zone, sizeof(zone)));
	assert_string_equal(zone, "<+01>-1");
	assert_false(zone_to_posix(&system, zone, 4));
	system.bias = INT32_MIN;
	assert_false(zone_to_posix(&system, zone, sizeof(zone)));
	system.has_zone = false;
	assert_false(zone_to_posix(&system, zone, sizeof(zone)));
}

/* "23:59:59.999" on a Saturday means the end of that day. */
static void test_end_of_day(void **state)
{
	static const uint8_t end[16] = {0, 0, 10, 0, 5, 0, 23, 0, 59, 0, 59, 0, 0xE7, 3, 6, 0};
	struct old_system system = {.has_zone = true, .bias = 240, .daylight_bias = -60};
	char zone[96];

	(void)state;
	zone_rule_from_hive(end, system.standard_start);
	set_rule(system.daylight_start, 3, 2, 0);
	assert_true(zone_to_posix(&system, zone, sizeof(zone)));
	assert_string_equal(zone, "<-04>4<-03>3,M3.2.0/0,M10.5.6/24");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_western_europe),
	    cmocka_unit_test(test_britain),
	    cmocka_unit_test(test_eastern),
	    cmocka_unit_test(test_south_australia),
	    cmocka_unit_test(test_no_daylight_time),
	    cmocka_unit_test(test_bad_zones),
	    cmocka_unit_test(test_end_of_day),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
