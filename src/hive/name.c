/*
 * Names of keys and values: UTF-16, or one byte a character (the first 256 of Unicode).
 *
 * Source: regf specification, section "Key node" (flag KEY_COMP_NAME: extended ASCII, made from
 * characters below 256 by leaving out the upper byte).
 */
#include "base/utf.h"
#include "hive/internal.h"

static size_t units_of(const struct raw_name *name)
{
	return name->compressed ? name->length : name->length / 2;
}

static uint32_t unit_at(const struct raw_name *name, size_t i)
{
	return name->compressed ? name->data[i] : get_u16(name->data + 2 * i);
}

char *raw_name_text(const struct raw_name *name, struct arena *arena)
{
	struct buf buf = {0};
	char *text;

	if (!name->compressed)
		return utf_arena_from_utf16(arena, name->data, name->length / 2, NULL);
	for (size_t i = 0; i < name->length; i++)
		utf_add(&buf, name->data[i]);
	text = buf.failed ? NULL : arena_strdup(arena, buf_text(&buf));
	buf_free(&buf);
	return text;
}

static bool unit_equals(const struct raw_name *name, size_t i, uint32_t unit)
{
	uint32_t stored;

	if (i >= units_of(name))
		return false;
	stored = unit_at(name, i);
	return stored == unit || utf_upcase(stored) == utf_upcase(unit);
}

bool raw_name_equals(const struct raw_name *name, const char *text, size_t length)
{
	const char *end = text + length;
	size_t i = 0;

	while (text < end) {
		uint32_t point = utf_next(&text, end);

		if (point < 0x10000) {
			if (!unit_equals(name, i++, point))
				return false;
			continue;
		}
		if (!unit_equals(name, i++, 0xD800 + ((point - 0x10000) >> 10)) ||
		    !unit_equals(name, i++, 0xDC00 + (point & 0x3FF)))
			return false;
	}
	return i == units_of(name);
}

uint32_t raw_name_hash(const struct raw_name *name)
{
	uint32_t hash = 2166136261u;

	for (size_t i = 0; i < units_of(name); i++)
		hash = (hash ^ utf_upcase(unit_at(name, i))) * 16777619u;
	return hash;
}
