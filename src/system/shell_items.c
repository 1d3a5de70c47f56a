/* Paths from lists of shell items: see shell_link.h. */
#include "system/shell_link.h"

#include "base/buf.h"
#include "base/bytes.h"
#include "base/utf.h"

#include <string.h>

#define ITEM_LIMIT 128u
#define EXTENSION_NAME 0xBEEF0004u

/* What the upper half of Windows-1252 stands for in 0x80 to 0x9F; 0: nothing. */
static const uint16_t upper_1252[32] = {0x20AC, 0, 0x201A, 0x192, 0x201E, 0x2026, 0x2020, 0x2021,
    0x2C6, 0x2030, 0x160, 0x2039, 0x152, 0, 0x17D, 0, 0, 0x2018, 0x2019, 0x201C, 0x201D, 0x2022,
    0x2013, 0x2014, 0x2DC, 0x2122, 0x161, 0x203A, 0x153, 0, 0x17E, 0x178};

char *shell_text_8bit(struct arena *arena, const uint8_t *bytes, size_t length)
{
	struct buf text = {0};
	char *kept = NULL;

	for (size_t i = 0; i < length && bytes[i] != 0; i++) {
		uint32_t point = bytes[i];

		if (point >= 0x80 && point < 0xA0)
			point =
			    upper_1252[point - 0x80] ? upper_1252[point - 0x80] : UTF_REPLACEMENT;
		utf_add(&text, point);
	}
	if (!text.failed)
		kept = arena_strdup(arena, buf_text(&text));
	buf_free(&text);
	return kept;
}

static char *wide_text(struct arena *arena, const uint8_t *bytes, size_t length)
{
	size_t units = 0;

	while (units < length / 2 && get_u16(bytes + 2 * units) != 0)
		units++;
	return utf_arena_from_utf16(arena, bytes, units, NULL);
}

/* Where the long name stands in the extension block, by its version; 0: it has none. */
static size_t name_offset(unsigned version)
{
	if (version >= 9)
		return 46;
	if (version == 8)
		return 42;
	if (version == 7)
		return 38;
	return version >= 3 ? 20 : 0;
}

/* The long name in the extension blocks, whose first begins where the item's last number says. */
static char *long_name(const uint8_t *item, size_t size, struct arena *arena)
{
	size_t at = get_u16(item + size - 2);

	for (unsigned i = 0; i < 8 && at >= 14 && at + 8 <= size; i++) {
		size_t length = get_u16(item + at);
		size_t name = name_offset(get_u16(item + at + 2));

		if (length < 8 || length > size - at)
			return NULL;
		if (get_u32(item + at + 4) == EXTENSION_NAME)
			return name && name + 2 <= length
				   ? wide_text(arena, item + at + name, length - name)
				   : NULL;
		at += length;
	}
	return NULL;
}

static char *file_name(const uint8_t *item, size_t size, struct arena *arena)
{
	char *name;

	if (size < 16)
		return NULL;
	name = long_name(item, size, arena);
	if (name && *name)
		return name;
	return item[2] & 0x04 ? wide_text(arena, item + 14, size - 14)
			      : shell_text_8bit(arena, item + 14, size - 14);
}

/* Appends what one item adds to the path. False when its kind is not known. */
static bool add_item(struct buf *path, const uint8_t *item, size_t size, struct arena *arena)
{
	const char *name = NULL;

	if (item[2] == 0x1F && path->length == 0)
		return true; /* where the lists begin: "this PC", a known folder */
	switch (item[2] & 0x70) {
	case 0x20:
		if (path->length != 0 || size < 6)
			return false;
		name = shell_text_8bit(arena, item + 3, size - 3);
		/* "C:\"; other volumes have only a GUID. */
		return name && strlen(name) >= 2 && name[1] == ':' &&
		       (buf_add(path, name, 2), true);
	case 0x30:
		name = file_name(item, size, arena);
		break;
	case 0x40:
		/* The whole location again, also below a server. */
		if (size < 8)
			return false;
		name = shell_text_8bit(arena, item + 5, size - 5);
		if (!name || strncmp(name, "\\\\", 2) != 0)
			return name && path->length == 0;
		buf_clear(path);
		buf_add_text(path, name);
		return true;
	default:
		return false;
	}
	if (!name || !*name || path->length == 0)
		return false;
	buf_printf(path, "\\%s", name);
	return true;
}

char *shell_items_path(const uint8_t *data, size_t length, struct arena *arena)
{
	struct buf path = {0};
	struct arena parts = {0};
	char *kept = NULL;
	bool good = true;
	size_t at = 0;

	for (unsigned i = 0; good && length - at >= 2; i++) {
		size_t size = get_u16(data + at);

		if (size == 0)
			break;
		good = i < ITEM_LIMIT && size >= 4 && size <= length - at &&
		       add_item(&path, data + at, size, &parts);
		at += size;
	}
	if (good && path.length > 0 && !path.failed)
		kept = arena_strdup(arena, buf_text(&path));
	arena_free(&parts);
	buf_free(&path);
	return kept;
}
