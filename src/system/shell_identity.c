/*
 * The identity under which a shortcut's program appears in the task bar, from the link's store of
 * properties.
 *
 * Sources: [MS-SHLLINK] 2.5.7; [MS-PROPSTORE] 2.2 to 2.4; "System.AppUserModel.ID" (Windows
 * developer documentation: its property set and number).
 */
#include "system/shell_link.h"

#include "base/bytes.h"
#include "base/utf.h"

#include <string.h>

enum { PROPERTY_IDENTITY = 5, TYPE_TEXT = 0x1F };
#define STORAGE_VERSION 0x53505331u
#define STORAGE_HEAD 24u /* size, version, property set */
#define VALUE_HEAD 9u    /* size, number, reserved */

/* {9F4C2855-9F79-4B39-A8D0-E1D42DE1D5F3} */
static const uint8_t identity_set[16] = {
    0x55, 0x28, 0x4C, 0x9F, 0x79, 0x9F, 0x39, 0x4B, 0xA8, 0xD0, 0xE1, 0xD4, 0x2D, 0xE1, 0xD5, 0xF3};

/* A value: type, padding, number of characters with the NUL, UTF-16. */
static char *value_text(const uint8_t *value, size_t length, struct arena *arena)
{
	size_t units = 0, count;

	if (length < 8 || get_u16(value) != TYPE_TEXT)
		return NULL;
	count = get_u32(value + 4);
	if (count > (length - 8) / 2)
		return NULL;
	while (units < count && get_u16(value + 8 + 2 * units) != 0)
		units++;
	return utf_arena_from_utf16(arena, value + 8, units, NULL);
}

static char *text_in_storage(const uint8_t *storage, size_t length, struct arena *arena)
{
	size_t at = STORAGE_HEAD;

	while (length - at >= 4) {
		uint32_t size = get_u32(storage + at);

		if (size < VALUE_HEAD || size > length - at)
			return NULL;
		if (get_u32(storage + at + 4) == PROPERTY_IDENTITY)
			return value_text(storage + at + VALUE_HEAD, size - VALUE_HEAD, arena);
		at += size;
	}
	return NULL;
}

char *shell_link_identity(const uint8_t *store, size_t length, struct arena *arena)
{
	size_t at = 0;

	while (length - at >= STORAGE_HEAD) {
		uint32_t size = get_u32(store + at);

		if (size < STORAGE_HEAD || size > length - at)
			return NULL;
		if (get_u32(store + at + 4) == STORAGE_VERSION &&
		    memcmp(store + at + 8, identity_set, sizeof(identity_set)) == 0)
			return text_in_storage(store + at, size, arena);
		at += size;
	}
	return NULL;
}
