/*
 * Local time in a zone that is given as a POSIX TZ text, without touching the process's own zone.
 *
 * Source: POSIX.1-2017, Base Definitions 8.3 (TZ). Of the three forms of a rule only "Mm.w.d" is
 * known here: it is the one that the old systems' rules come in.
 */
#ifndef BASE_ZONE_H
#define BASE_ZONE_H

#include <stdbool.h>
#include <stdint.h>

/* A day of the year on which the clocks change, every year. */
struct zone_change {
	int month;       /* 1 to 12 */
	int week;        /* 1 to 4, 5: the last */
	int weekday;     /* 0: Sunday */
	int32_t seconds; /* since that day's midnight, by the clock that is in force before */
};

struct zone {
	int32_t standard, daylight; /* seconds east of UTC */
	bool has_daylight;
	struct zone_change to_daylight, to_standard;
};

/* All zeros is UTC, which is also what a text makes that is not understood (then false). */
bool zone_parse(struct zone *zone, const char *text);

/* What the clock on the wall shows, counted as if it were UTC. Both in seconds since 1970. */
int64_t zone_local(const struct zone *zone, int64_t seconds);

/* Calendar date of a time, in the Gregorian calendar of any year. */
struct date {
	int64_t year;
	int month, day;           /* from 1 */
	int hour, minute, second;
};
struct date date_of(int64_t seconds);
/* Days from 1970-01-01 to that date; day and month need not be valid for a month. */
int64_t date_days(int64_t year, int month, int day);

#endif
