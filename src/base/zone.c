/* Local time in a zone: see zone.h. */
#include "base/zone.h"

#include <ctype.h>
#include <stddef.h>
#include <string.h>

#define DAY 86400
#define HOUR 3600

/* --- the calendar --- */

/*
 * Years are counted from 1 March, so that the leap day is the last of its year and the lengths of
 * the months before it follow one formula: 153 days for every five months.
 */
int64_t date_days(int64_t year, int month, int day)
{
	int64_t shifted = month > 2 ? year : year - 1;
	int64_t era = (shifted >= 0 ? shifted : shifted - 399) / 400;
	int64_t of_era = shifted - era * 400;
	int64_t of_year = (153 * (month > 2 ? month - 3 : month + 9) + 2) / 5 + day - 1;

	/* 1970-01-01 is day 719,468 from 0000-03-01. */
	return era * 146097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719468;
}

struct date date_of(int64_t seconds)
{
	int64_t rest = (seconds % DAY + DAY) % DAY;
	int64_t days = (seconds - rest) / DAY + 719468;
	int64_t era = (days >= 0 ? days : days - 146096) / 146097;
	int64_t of_era = days - era * 146097;
	/* Take the leap days out, and every year has 365. */
	int64_t year = (of_era - of_era / 1460 + of_era / 36524 - of_era / 146096) / 365;
	int64_t of_year = of_era - (365 * year + year / 4 - year / 100);
	int month = (int)((5 * of_year + 2) / 153);

	return (struct date){
	    .year = era * 400 + year + (month >= 10),
	    .month = month < 10 ? month + 3 : month - 9,
	    .day = (int)(of_year - (153 * month + 2) / 5 + 1),
	    .hour = (int)(rest / HOUR),
	    .minute = (int)(rest / 60 % 60),
	    .second = (int)(rest % 60),
	};
}

/* --- the text --- */

/* A name: at least three letters, or anything printable between angle brackets. */
static bool skip_name(const char **text)
{
	const char *at = *text;
	ptrdiff_t length;

	if (*at == '<') {
		while (*at != '\0' && *at != '>')
			at++;
		length = at - *text - 1;
		if (*at++ != '>')
			return false;
	} else {
		while (isalpha((unsigned char)*at))
			at++;
		length = at - *text;
	}
	*text = at;
	return length >= 3;
}

/* One to three digits. */
static bool take_number(const char **text, int32_t *number)
{
	const char *start = *text;

	for (*number = 0; **text >= '0' && **text <= '9' && *text - start < 3; (*text)++)
		*number = *number * 10 + (**text - '0');
	return *text > start;
}

/* [+-]hh[:mm[:ss]]; up to 167 hours, as later editions of the standard allow in rules. */
static bool take_time(const char **text, int32_t *seconds)
{
	int32_t sign = **text == '-' ? -1 : 1, hours, minutes = 0, rest = 0;

	if (**text == '-' || **text == '+')
		(*text)++;
	if (!take_number(text, &hours) || hours > 167)
		return false;
	if (**text == ':' && ((*text)++, !take_number(text, &minutes)))
		return false;
	if (**text == ':' && ((*text)++, !take_number(text, &rest)))
		return false;
	*seconds = sign * (hours * HOUR + minutes * 60 + rest);
	return minutes < 60 && rest < 60;
}

/* ",Mm.w.d[/time]" */
static bool take_change(const char **text, struct zone_change *change)
{
	int32_t month, week, weekday;

	if ((*text)[0] != ',' || (*text)[1] != 'M')
		return false;
	*text += 2;
	if (!take_number(text, &month) || *(*text)++ != '.' || !take_number(text, &week) ||
	    *(*text)++ != '.' || !take_number(text, &weekday))
		return false;
	*change = (struct zone_change){(int)month, (int)week, (int)weekday, 2 * HOUR};
	if (**text == '/' && ((*text)++, !take_time(text, &change->seconds)))
		return false;
	return month >= 1 && month <= 12 && week >= 1 && week <= 5 && weekday <= 6;
}

static bool take_zone(const char *text, struct zone *zone)
{
	int32_t west;

	if (!skip_name(&text) || !take_time(&text, &west))
		return false;
	zone->standard = -west;
	if (*text == '\0')
		return true;
	zone->daylight = zone->standard + HOUR;
	zone->has_daylight = true;
	if (!skip_name(&text))
		return false;
	if (*text != ',' && *text != '\0') {
		if (!take_time(&text, &west))
			return false;
		zone->daylight = -west;
	}
	return take_change(&text, &zone->to_daylight) && take_change(&text, &zone->to_standard) &&
	    *text == '\0';
}

bool zone_parse(struct zone *zone, const char *text)
{
	*zone = (struct zone){0};
	if (text != NULL && take_zone(text, zone))
		return true;
	*zone = (struct zone){0};
	return false;
}

/* --- the clock --- */

/* When the clocks change that year, by the clock before. */
static int64_t change_in(const struct zone_change *change, int64_t year)
{
	int64_t first = date_days(year, change->month, 1);
	int64_t next = date_days(year + change->month / 12, change->month % 12 + 1, 1);
	/* 1970-01-01 was a Thursday. */
	int64_t first_weekday = ((first + 4) % 7 + 7) % 7;
	int64_t day = first + (change->weekday - first_weekday + 7) % 7 + 7 * (change->week - 1);

	while (day >= next)
		day -= 7;
	return day * DAY + change->seconds;
}

static bool is_daylight(const struct zone *zone, int64_t seconds)
{
	int64_t year, begins, ends;

	if (!zone->has_daylight)
		return false;
	year = date_of(seconds + zone->standard).year;
	begins = change_in(&zone->to_daylight, year) - zone->standard;
	ends = change_in(&zone->to_standard, year) - zone->daylight;
	if (begins < ends)
		return seconds >= begins && seconds < ends;
	/* The south, where it lasts over the turn of the year. */
	return seconds >= begins || seconds < ends;
}

int64_t zone_local(const struct zone *zone, int64_t seconds)
{
	return seconds + (is_daylight(zone, seconds) ? zone->daylight : zone->standard);
}
