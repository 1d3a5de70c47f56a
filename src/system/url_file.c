/*
 * The address in a `.url` file: an INI file with the value URL in the section InternetShortcut.
 *
 * Its letters are ASCII, or of the old system's code page; newer programs write UTF-8 or UTF-16
 * with a byte order mark. What is not UTF-8 is taken for Windows-1252 as far as that equals
 * Latin-1.
 */
#include "system/bookmarks.h"

#include "base/buf.h"
#include "base/utf.h"

#include <string.h>
#include <strings.h>

static bool is_utf8(const char *text)
{
	return utf_is_clean(text);
}

static char *keep_address(const char *text, size_t length, struct arena *arena)
{
	struct buf address = {0};
	char *line = arena_text(arena, text, length);
	char *kept = NULL;

	if (!line || strlen(line) != length)
		return NULL;
	if (is_utf8(line))
		return line;
	for (const char *at = line; *at; at++)
		utf_add(&address, (uint8_t)*at);
	if (!address.failed)
		kept = arena_strdup(arena, buf_text(&address));
	buf_free(&address);
	return kept;
}

/* One line without blanks around it. */
struct line {
	const char *text;
	size_t length;
};

static struct line next_line(const char **at, const char *end)
{
	struct line line = {*at, 0};

	while (*at < end && **at != '\r' && **at != '\n')
		++*at;
	line.length = (size_t)(*at - line.text);
	while (*at < end && (**at == '\r' || **at == '\n'))
		++*at;
	while (line.length > 0 && (*line.text == ' ' || *line.text == '\t')) {
		line.text++;
		line.length--;
	}
	while (line.length > 0 &&
	       (line.text[line.length - 1] == ' ' || line.text[line.length - 1] == '\t'))
		line.length--;
	return line;
}

static bool is_word(struct line line, const char *word)
{
	return line.length == strlen(word) && strncasecmp(line.text, word, line.length) == 0;
}

static char *find_address(const char *text, size_t length, struct arena *arena)
{
	const char *at = text, *end = text + length;
	bool inside = false;

	while (at < end) {
		struct line line = next_line(&at, end);

		if (line.length > 0 && line.text[0] == '[')
			inside = is_word(line, "[InternetShortcut]");
		else if (inside && line.length > 4 && strncasecmp(line.text, "URL=", 4) == 0)
			return keep_address(line.text + 4, line.length - 4, arena);
	}
	return NULL;
}

char *bookmark_from_url_file(const uint8_t *data, size_t length, struct arena *arena)
{
	static const uint8_t utf8_mark[] = {0xEF, 0xBB, 0xBF};
	struct buf text = {0};
	char *address;

	if (length > URL_FILE_LIMIT)
		return NULL;
	if (length >= 3 && memcmp(data, utf8_mark, 3) == 0)
		return find_address((const char *)data + 3, length - 3, arena);
	if (length < 2 || data[0] != 0xFF || data[1] != 0xFE)
		return find_address((const char *)data, length, arena);
	utf_from_utf16(&text, data + 2, length / 2 - 1);
	address = text.failed ? NULL : find_address(buf_text(&text), text.length, arena);
	buf_free(&text);
	return address;
}
