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

/* Inner text as upper-cased UTF-16 units, one after the other. */
struct units {
	const char *text, *end;
	uint32_t low; /* the second half of a pair that is still to come, or 0 */
};

static bool next_unit(struct units *units, uint32_t *unit)
{
	uint32_t point;

	if (units->low != 0) {
		*unit = units->low;
		units->low = 0;
		return true;
	}
	if (units->text >= units->end)
		return false;
	point = utf_next(&units->text, units->end);
	if (point >= 0x10000) {
		units->low = 0xDC00 + (point & 0x3FF);
		*unit = 0xD800 + ((point - 0x10000) >> 10);
	} else {
		*unit = utf_upcase(point);
	}
	return true;
}

bool raw_name_equals(const struct raw_name *name, const char *text, size_t length)
{
	struct units units = {.text = text, .end = text + length};
	size_t n = units_of(name), i = 0;
	uint32_t unit;

	while (next_unit(&units, &unit)) {
		if (i >= n || utf_upcase(unit_at(name, i)) != unit)
			return false;
		i++;
	}
	return i == n;
}

/* lf: four characters, padded with zeros; one that is no Latin-1 makes the whole hint void. */
static bool start_fits(uint32_t hint, struct units units)
{
	uint32_t unit;

	if ((hint & 0xFF) == 0)
		return false;
	for (unsigned i = 0; i < 4; i++) {
		uint32_t stored = hint >> 8 * i & 0xFF;

		if (!next_unit(&units, &unit))
			return stored == 0;
		if (utf_upcase(stored) != unit)
			return false;
	}
	return true;
}

bool hint_fits(const struct list_entry *entry, const char *name, size_t length)
{
	struct units units = {.text = name, .end = name + length};
	uint32_t hash = 0, unit;

	if (entry->kind == HINT_START)
		return start_fits(entry->hint, units);
	if (entry->kind != HINT_HASH)
		return false;
	while (next_unit(&units, &unit))
		hash = 37 * hash + unit;
	return hash == entry->hint;
}

uint32_t raw_name_hash(const struct raw_name *name)
{
	uint32_t hash = 2166136261u;

	for (size_t i = 0; i < units_of(name); i++)
		hash = (hash ^ utf_upcase(unit_at(name, i))) * 16777619u;
	return hash;
}
