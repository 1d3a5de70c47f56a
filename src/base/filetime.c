/* FILETIME: see filetime.h. */
#include "base/filetime.h"

#include "base/bytes.h"

#include <stdio.h>
#include <string.h>
#include <time.h>

#define YEAR_10000 INT64_C(2650467744000000000)

void filetime_to_unix(int64_t filetime, int64_t *seconds, uint32_t *nanoseconds)
{
	int64_t rest = filetime % FILETIME_PER_SECOND;
	int64_t whole = filetime / FILETIME_PER_SECOND;

	if (rest < 0) {
		rest += FILETIME_PER_SECOND;
		whole--;
	}
	*seconds = whole - FILETIME_UNIX_EPOCH / FILETIME_PER_SECOND;
	*nanoseconds = (uint32_t)rest * 100;
}

int64_t filetime_from_unix(int64_t seconds, uint32_t nanoseconds)
{
	return seconds * FILETIME_PER_SECOND + FILETIME_UNIX_EPOCH + nanoseconds / 100;
}

struct filetime_text filetime_to_text(int64_t filetime)
{
	struct filetime_text result = {""};
	int64_t seconds;
	uint32_t nanoseconds;
	struct tm tm;
	time_t time;

	if (filetime <= 0 || filetime >= YEAR_10000)
		return result;
	filetime_to_unix(filetime, &seconds, &nanoseconds);
	time = (time_t)seconds;
	if (gmtime_r(&time, &tm) == NULL)
		return result;
	snprintf(result.text, sizeof(result.text), "%04d-%02d-%02dT%02d:%02d:%02d.%07uZ",
	    tm.tm_year + 1900, tm.tm_mon + 1, tm.tm_mday, tm.tm_hour, tm.tm_min, tm.tm_sec,
	    nanoseconds / 100);
	return result;
}

static bool from_fields(int year, int month, int day, int hour, int minute, int second,
    uint32_t hundreds, int64_t *filetime)
{
	struct tm tm = {
	    .tm_year = year - 1900,
	    .tm_mon = month - 1,
	    .tm_mday = day,
	    .tm_hour = hour,
	    .tm_min = minute,
	    .tm_sec = second,
	};
	struct tm check = tm;

	if (year < 1601 || year > 9999 || month < 1 || month > 12 || day < 1 || day > 31 ||
	    hour < 0 || hour > 23 || minute < 0 || minute > 59 || second < 0 || second > 59)
		return false;
	*filetime = filetime_from_unix((int64_t)timegm(&check), hundreds * 100);
	/* timegm() moves 31 April to 1 May: that is no date. */
	return check.tm_mday == tm.tm_mday && check.tm_mon == tm.tm_mon;
}

bool filetime_from_text(const char *text, int64_t *filetime)
{
	int year, month, day, hour, minute, second, used = 0;
	uint32_t hundreds = 0;
	unsigned digits = 0;

	if (sscanf(text, "%4d-%2d-%2dT%2d:%2d:%2d%n", &year, &month, &day, &hour, &minute, &second,
		&used) != 6)
		return false;
	text += used;
	if (*text == '.') {
		for (text++; *text >= '0' && *text <= '9' && digits < 7; text++, digits++)
			hundreds = hundreds * 10 + (uint32_t)(*text - '0');
		for (; digits < 7; digits++)
			hundreds *= 10;
	}
	if (strcmp(text, "Z") != 0)
		return false;
	return from_fields(year, month, day, hour, minute, second, hundreds, filetime);
}

bool filetime_from_systemtime(const uint8_t bytes[16], int64_t *filetime)
{
	/* Year, month, day of week, day, hour, minute, second, milliseconds. */
	return from_fields(get_u16(bytes), get_u16(bytes + 2), get_u16(bytes + 6),
	    get_u16(bytes + 8), get_u16(bytes + 10), get_u16(bytes + 12),
	    (uint32_t)get_u16(bytes + 14) % 1000 * 10000, filetime);
}
