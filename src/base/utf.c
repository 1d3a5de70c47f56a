/* UTF-16LE and inner text: see utf.h. */
#include "base/utf.h"

#include "base/bytes.h"

#include <string.h>
#include <wctype.h>

static bool is_high(uint32_t unit)
{
	return unit >= 0xD800 && unit < 0xDC00;
}

static bool is_low(uint32_t unit)
{
	return unit >= 0xDC00 && unit < 0xE000;
}

void utf_add(struct buf *out, uint32_t point)
{
	uint8_t bytes[4];
	size_t length;

	if (point != 0 && point < 0x80) {
		bytes[0] = (uint8_t)point;
		length = 1;
	} else if (point < 0x800) {
		bytes[0] = (uint8_t)(0xC0 | point >> 6);
		bytes[1] = (uint8_t)(0x80 | (point & 0x3F));
		length = 2;
	} else if (point < 0x10000) {
		bytes[0] = (uint8_t)(0xE0 | point >> 12);
		bytes[1] = (uint8_t)(0x80 | (point >> 6 & 0x3F));
		bytes[2] = (uint8_t)(0x80 | (point & 0x3F));
		length = 3;
	} else {
		bytes[0] = (uint8_t)(0xF0 | point >> 18);
		bytes[1] = (uint8_t)(0x80 | (point >> 12 & 0x3F));
		bytes[2] = (uint8_t)(0x80 | (point >> 6 & 0x3F));
		bytes[3] = (uint8_t)(0x80 | (point & 0x3F));
		length = 4;
	}
	buf_add(out, bytes, length);
}

bool utf_from_utf16(struct buf *out, const void *bytes, size_t units)
{
	const uint8_t *p = bytes;
	bool valid = true;

	for (size_t i = 0; i < units; i++) {
		uint32_t unit = get_u16(p + 2 * i);

		if (is_high(unit) && i + 1 < units && is_low(get_u16(p + 2 * i + 2))) {
			uint32_t low = get_u16(p + 2 * ++i);

			unit = 0x10000 + ((unit - 0xD800) << 10) + (low - 0xDC00);
		} else if (unit == 0 || is_high(unit) || is_low(unit)) {
			valid = false;
		}
		utf_add(out, unit);
	}
	return valid;
}

char *utf_arena_from_utf16(struct arena *arena, const void *bytes, size_t units, bool *valid)
{
	struct buf buf = {0};
	bool is_valid = utf_from_utf16(&buf, bytes, units);
	char *text = buf.failed ? NULL : arena_strdup(arena, buf_text(&buf));

	buf_free(&buf);
	if (valid != NULL)
		*valid = is_valid;
	return text;
}

/* The length that a sequence starting with `first` must have, and its payload bits; 0: none. */
static unsigned sequence_length(uint8_t first, uint32_t *bits)
{
	if (first >= 0xC0 && first < 0xE0) {
		*bits = first & 0x1F;
		return 2;
	}
	if (first >= 0xE0 && first < 0xF0) {
		*bits = first & 0x0F;
		return 3;
	}
	if (first >= 0xF0 && first < 0xF5) {
		*bits = first & 0x07;
		return 4;
	}
	return 0;
}

uint32_t utf_next(const char **text, const char *end)
{
	static const uint32_t smallest[5] = {0, 0, 0x80, 0x800, 0x10000};
	const uint8_t *p = (const uint8_t *)*text;
	size_t left = (size_t)(end - *text);
	uint32_t point;
	unsigned length;

	if (p[0] < 0x80) {
		*text += 1;
		return p[0];
	}
	length = sequence_length(p[0], &point);
	if (length == 0 || length > left)
		goto broken;
	for (unsigned i = 1; i < length; i++) {
		if ((p[i] & 0xC0) != 0x80)
			goto broken;
		point = point << 6 | (p[i] & 0x3F);
	}
	/* Overlong forms are broken, but for the one that stands for U+0000. */
	if ((point < smallest[length] && !(point == 0 && length == 2)) || point > 0x10FFFF)
		goto broken;
	*text += length;
	return point;
broken:
	*text += 1;
	return UTF_REPLACEMENT;
}

void utf_to_utf16(struct buf *out, const char *text)
{
	const char *end = text + strlen(text);

	while (text < end) {
		uint32_t point = utf_next(&text, end);
		uint8_t units[4];

		if (point < 0x10000) {
			put_u16(units, (uint16_t)point);
			buf_add(out, units, 2);
		} else {
			point -= 0x10000;
			put_u16(units, (uint16_t)(0xD800 + (point >> 10)));
			put_u16(units + 2, (uint16_t)(0xDC00 + (point & 0x3FF)));
			buf_add(out, units, 4);
		}
	}
}

bool utf_is_clean(const char *text)
{
	const char *end = text + strlen(text);

	while (text < end) {
		const char *before = text;
		uint32_t point = utf_next(&text, end);

		if (point == 0 || is_high(point) || is_low(point) ||
		    (point == UTF_REPLACEMENT && text - before != 3))
			return false;
	}
	return true;
}

void utf_clean(struct buf *out, const char *text, size_t length)
{
	const char *end = text + length;

	while (text < end) {
		uint32_t point = utf_next(&text, end);

		if (point == 0 || is_high(point) || is_low(point))
			point = UTF_REPLACEMENT;
		utf_add(out, point);
	}
}

uint32_t utf_upcase(uint32_t point)
{
	wint_t upper;

	if (point < 0x80)
		return point >= 'a' && point <= 'z' ? point - 32 : point;
	/* The old system's table has 65,536 entries and never leaves them. */
	if (point > 0xFFFF)
		return point;
	upper = towupper((wint_t)point);
	return upper > 0xFFFF ? point : (uint32_t)upper;
}

int utf_compare_fold(const char *a, const char *b)
{
	const char *a_end = a + strlen(a), *b_end = b + strlen(b);

	while (a < a_end && b < b_end) {
		uint32_t x = utf_upcase(utf_next(&a, a_end));
		uint32_t y = utf_upcase(utf_next(&b, b_end));

		if (x != y)
			return x < y ? -1 : 1;
	}
	return (a < a_end) - (b < b_end);
}

bool utf_equal_fold(const char *a, const char *b)
{
	return utf_compare_fold(a, b) == 0;
}

bool utf_starts_fold(const char *text, const char *start)
{
	const char *text_end = text + strlen(text), *start_end = start + strlen(start);

	while (start < start_end) {
		if (text >= text_end)
			return false;
		if (utf_upcase(utf_next(&text, text_end)) !=
		    utf_upcase(utf_next(&start, start_end)))
			return false;
	}
	return true;
}

uint32_t utf_hash_fold(const char *text)
{
	const char *end = text + strlen(text);
	uint32_t hash = 2166136261u; /* FNV-1a, over code points */

	while (text < end)
		hash = (hash ^ utf_upcase(utf_next(&text, end))) * 16777619u;
	return hash;
}
