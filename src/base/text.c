/* Text for people: see text.h. */
#include "base/text.h"

#include "base/utf.h"

#include <errno.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <wchar.h>

struct size_text text_size(uint64_t bytes)
{
	static const char *const units[] = {"kB", "MB", "GB", "TB", "PB", "EB"};
	struct size_text result;
	double value = (double)bytes;
	unsigned unit = 0;

	if (bytes < 1000) {
		snprintf(result.text, sizeof(result.text), "%" PRIu64 " byte%s", bytes,
		    bytes == 1 ? "" : "s");
		return result;
	}
	/* 999.5 of a unit would print as 1000: that is 1.0 of the next. */
	for (value /= 1000; value >= 999.5 && unit < 5; value /= 1000)
		unit++;
	snprintf(result.text, sizeof(result.text), value < 9.95 ? "%.1f %s" : "%.0f %s", value,
	    units[unit]);
	return result;
}

bool text_to_size(const char *text, uint64_t *bytes)
{
	static const char units[] = "kMGT";
	unsigned long long number;
	const char *unit;
	uint64_t factor = 1;
	char *end;

	if (*text < '0' || *text > '9')
		return false;
	errno = 0;
	number = strtoull(text, &end, 10);
	if (errno != 0)
		return false;
	if (*end != '\0' && strcmp(end, "B") != 0) {
		uint64_t base = strcasecmp(end + 1, "iB") == 0 ? 1024 : 1000;

		unit = strchr(units, *end == 'K' ? 'k' : *end);
		if (unit == NULL || (base == 1000 && end[1] != '\0' && strcmp(end + 1, "B") != 0))
			return false;
		for (const char *u = units; u <= unit; u++)
			factor *= base;
	}
	if (number > UINT64_MAX / 1024 / factor)
		return false;
	*bytes = number * factor;
	return true;
}

bool text_to_duration(const char *text, uint64_t *milliseconds)
{
	static const struct {
		char letter;
		unsigned seconds;
	} units[] = {{'s', 1}, {'m', 60}, {'h', 3600}, {'d', 86400}};
	unsigned long long number;
	char *end;

	if (*text < '0' || *text > '9')
		return false;
	errno = 0;
	number = strtoull(text, &end, 10);
	if (errno != 0 || number == 0 || number > UINT32_MAX || *end == '\0' || end[1] != '\0')
		return false;
	for (size_t i = 0; i < sizeof(units) / sizeof(units[0]); i++) {
		if (units[i].letter == *end) {
			*milliseconds = (uint64_t)number * units[i].seconds * 1000;
			return true;
		}
	}
	return false;
}

int text_hex_value(char digit)
{
	if (digit >= '0' && digit <= '9')
		return digit - '0';
	if (digit >= 'a' && digit <= 'f')
		return digit - 'a' + 10;
	return digit >= 'A' && digit <= 'F' ? digit - 'A' + 10 : -1;
}

struct size_text text_count(uint64_t number)
{
	struct size_text result;
	char digits[24];
	size_t length = (size_t)snprintf(digits, sizeof(digits), "%" PRIu64, number);
	char *out = result.text;

	for (size_t i = 0; i < length; i++) {
		if (i > 0 && (length - i) % 3 == 0)
			*out++ = ',';
		*out++ = digits[i];
	}
	*out = '\0';
	return result;
}

/* Characters that a terminal obeys, or that make a name look like another one. */
static bool is_harmful(uint32_t point)
{
	return point < 0x20 || (point >= 0x7F && point < 0xA0) || point == 0xAD ||
	    point == 0x61C || (point >= 0x200B && point <= 0x200F) ||
	    (point >= 0x2028 && point <= 0x202E) || (point >= 0x2060 && point <= 0x206F) ||
	    (point >= 0xD800 && point < 0xE000) || point == 0xFEFF ||
	    (point >= 0xFFF9 && point <= 0xFFFB) || (point >= 0xE0000 && point <= 0xE0FFF);
}

void text_escape(struct buf *out, const char *text)
{
	const char *end = text + strlen(text);

	while (text < end) {
		uint32_t point = utf_next(&text, end);

		if (is_harmful(point))
			buf_printf(out, "<U+%04" PRIX32 ">", point);
		else
			utf_add(out, point);
	}
}

void text_print(FILE *stream, const char *text)
{
	struct buf buf = {0};

	text_escape(&buf, text);
	fputs(buf_text(&buf), stream);
	buf_free(&buf);
}

/* Columns of one character once it is escaped: "<U+001B>", "<U+E0001>". */
static unsigned columns_of_point(uint32_t point)
{
	int width = wcwidth((wchar_t)point);

	if (is_harmful(point))
		return point > 0xFFFF ? 9 : 8;
	return width < 0 ? 1 : (unsigned)width;
}

static unsigned columns_of(const char *text, size_t length)
{
	const char *end = text + length;
	unsigned columns = 0;

	while (text < end)
		columns += columns_of_point(utf_next(&text, end));
	return columns;
}

unsigned text_columns(const char *text)
{
	return columns_of(text, strlen(text));
}

const char *text_tail(const char *text, unsigned columns)
{
	const char *end = text + strlen(text);
	unsigned used = text_columns(text);

	while (used > columns)
		used -= columns_of_point(utf_next(&text, end));
	return text;
}

void text_wrap(FILE *stream, const char *text, unsigned indent, unsigned width)
{
	struct buf buf = {0};
	const char *word;
	unsigned column = indent;

	text_escape(&buf, text);
	for (word = buf_text(&buf); *word != '\0';) {
		size_t length = strcspn(word, " ");
		unsigned columns = columns_of(word, length);

		if (column > indent && column + 1 + columns > width) {
			fprintf(stream, "\n%*s", (int)indent, "");
			column = indent;
		} else if (column > indent) {
			fputc(' ', stream);
			column++;
		}
		fwrite(word, 1, length, stream);
		column += columns;
		word += length;
		word += strspn(word, " ");
	}
	fputc('\n', stream);
	buf_free(&buf);
}

void text_paragraph(FILE *stream, unsigned first, unsigned others, unsigned width,
    const char *format, va_list arguments)
{
	char *text = NULL;

	if (vasprintf(&text, format, arguments) < 0)
		text = NULL;
	/* text_wrap() takes the first line to start at the column of the others. */
	fprintf(stream, "%*s", (int)first, "");
	if (text != NULL)
		text_wrap(stream, text, others, width);
	free(text);
}
