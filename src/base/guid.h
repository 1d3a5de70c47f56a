/*
 * GUIDs and SIDs as text.
 *
 * Sources: [MS-DTYP] section 2.3.4 (GUID), 2.4.2 (SID); RFC 4122 for the text form.
 */
#ifndef BASE_GUID_H
#define BASE_GUID_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct guid {
	uint8_t bytes[16]; /* as stored on disk: the first three fields little-endian */
};

struct guid_text {
	char text[40];
};

/* "{FDD39AD0-238F-46AF-ADB4-6C85480369C7}", upper-case, in braces. */
struct guid_text guid_to_text(const struct guid *guid);

/* With or without braces, either case. False when it is no GUID. */
bool guid_from_text(const char *text, struct guid *guid);
bool guid_equal(const struct guid *a, const struct guid *b);
bool guid_is_zero(const struct guid *guid);

struct sid_text {
	char text[192];
};

/* "S-1-5-21-..." of a SID of at most `length` bytes; an empty text when it is broken. */
struct sid_text sid_to_text(const uint8_t *bytes, size_t length);

#endif
