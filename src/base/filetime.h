/*
 * Points in time of the old system: FILETIME, 100-nanosecond steps since 1601-01-01 00:00 UTC.
 *
 * Source: [MS-DTYP] section 2.3.3 (FILETIME) and 2.3.13 (SYSTEMTIME).
 */
#ifndef BASE_FILETIME_H
#define BASE_FILETIME_H

#include <stdbool.h>
#include <stdint.h>

#define FILETIME_UNIX_EPOCH INT64_C(116444736000000000)
#define FILETIME_PER_SECOND INT64_C(10000000)

/* Seconds since 1970 and the nanoseconds behind them; also for times before 1970. */
void filetime_to_unix(int64_t filetime, int64_t *seconds, uint32_t *nanoseconds);
int64_t filetime_from_unix(int64_t seconds, uint32_t nanoseconds);

/*
 * "2026-03-01T09:30:00.1234567Z" (ISO 8601, UTC), always 28 characters; an empty text for 0 (the
 * old system's "not set") and for values that no calendar of it can hold (negative, beyond year
 * 9999).
 */
struct filetime_text {
	char text[96];
};
struct filetime_text filetime_to_text(int64_t filetime);

/* Parses what filetime_to_text() writes, with up to seven digits of fraction or none. */
bool filetime_from_text(const char *text, int64_t *filetime);

/* From the fields of a SYSTEMTIME (16 bytes, little-endian). False when they are no date. */
bool filetime_from_systemtime(const uint8_t bytes[16], int64_t *filetime);

#endif
