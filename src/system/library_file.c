/* Files that note where folders are: see library_file.h. */
#include "system/library_file.h"

#include "base/buf.h"
#include "base/utf.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

static void add_text(const uint8_t *data, size_t length, struct buf *text)
{
	struct buf inner = {0};

	if (length >= 2 && data[0] == 0xFF && data[1] == 0xFE) {
		utf_from_utf16(&inner, data + 2, length / 2 - 1);
		utf_clean(text, buf_text(&inner), inner.length);
		text->failed = text->failed || inner.failed;
		buf_free(&inner);
		return;
	}
	/* Up to a NUL: text has none. */
	length = strnlen((const char *)data, length);
	utf_clean(text, (const char *)data, length);
}

const char *file_text(const uint8_t *data, size_t length, struct buf *text)
{
	if (length > LIBRARY_FILE_LIMIT)
		return "";
	add_text(data, length, text);
	return text->failed ? "" : buf_text(text);
}

/* "&amp;", "&#38;": XML 1.0, 4.1 and 4.6. Returns how many bytes of the text it took, 0: none. */
static size_t add_reference(struct buf *out, const char *text, size_t length)
{
	static const struct {
		const char *name;
		char character;
	} known[] = {
	    {"&amp;", '&'}, {"&lt;", '<'}, {"&gt;", '>'}, {"&quot;", '"'}, {"&apos;", '\''}};
	char *end;
	unsigned long number;

	for (size_t i = 0; i < sizeof(known) / sizeof(known[0]); i++)
		if (strncmp(text, known[i].name, strlen(known[i].name)) == 0) {
			buf_add_byte(out, (uint8_t)known[i].character);
			return strlen(known[i].name);
		}
	if (length < 4 || text[1] != '#')
		return 0;
	number = text[2] == 'x' ? strtoul(text + 3, &end, 16) : strtoul(text + 2, &end, 10);
	if (*end != ';' || number < 0x20 || number > 0x10FFFF ||
	    (number >= 0xD800 && number < 0xE000))
		return 0;
	utf_add(out, (uint32_t)number);
	return (size_t)(end + 1 - text);
}

char *xml_text(const char *text, size_t length, struct arena *arena)
{
	struct buf out = {0};
	char *kept = NULL;

	for (size_t i = 0; i < length;) {
		size_t taken = text[i] == '&' ? add_reference(&out, text + i, length - i) : 0;

		if (taken == 0)
			buf_add_byte(&out, (uint8_t)text[i]);
		i += taken ? taken : 1;
	}
	if (!out.failed)
		kept = arena_strdup(arena, buf_text(&out));
	buf_free(&out);
	return kept;
}

size_t library_file_folders(
    const uint8_t *data, size_t length, struct arena *arena, const char *folders[LIBRARY_FOLDERS])
{
	static const char start[] = "<url>", end[] = "</url>";
	struct buf text = {0};
	const char *at;
	size_t count = 0;

	at = file_text(data, length, &text);
	while (count < LIBRARY_FOLDERS && (at = strstr(at, start)) != NULL) {
		const char *stop = strstr(at += sizeof(start) - 1, end);

		if (!stop)
			break;
		at += strspn(at, " \t\r\n");
		folders[count] = stop > at ? xml_text(at, (size_t)(stop - at), arena) : NULL;
		count += folders[count] != NULL;
		at = stop;
	}
	buf_free(&text);
	return count;
}

/* --- quoted texts --- */

/* The quoted text behind `at`, its escapes undone; *at moves behind its end. False at the end. */
static bool next_quoted(const char **at, struct buf *out)
{
	const char *from = strchr(*at, '"');

	buf_clear(out);
	if (!from)
		return false;
	for (from++; *from && *from != '"'; from++) {
		if (*from != '\\') {
			buf_add_byte(out, (uint8_t)*from);
		} else if (from[1] == 'u' && strspn(from + 2, "0123456789abcdefABCDEF") >= 4) {
			char digits[5] = {from[2], from[3], from[4], from[5], 0};

			utf_add(out, (uint32_t)strtoul(digits, NULL, 16));
			from += 5;
		} else if (from[1]) {
			buf_add_byte(out, (uint8_t) * ++from);
		}
	}
	*at = from + (*from == '"');
	return *from == '"' && !out->failed;
}

static bool is_full_path(const char *text)
{
	return (text[0] && text[1] == ':' && text[2] == '\\') ||
	       (text[0] == '\\' && text[1] == '\\' && text[2]);
}

/* "selectfile.last_directory", "recent_files" */
static bool is_about_the_past(const char *name)
{
	static const char *const words[] = {"last", "recent", "history", "mru"};

	for (size_t i = 0; i < sizeof(words) / sizeof(words[0]); i++)
		if (strcasestr(name, words[i]))
			return true;
	return false;
}

static bool is_folder(const char *name, const char *value)
{
	return is_full_path(value) && utf_is_clean(value) && !is_about_the_past(name);
}

/* "services.sync.username"; of a JSON account_info just "email" */
static bool is_synchronised(const char *name, const char *value)
{
	return strchr(value, '@') != NULL &&
	       (strcmp(name, "email") == 0 || strcmp(name, "services.sync.username") == 0);
}

/* "mail.identity.id1.useremail" */
static bool is_sender(const char *name, const char *value)
{
	const char *last = strrchr(name, '.');

	return strchr(value, '@') != NULL && last && strcmp(last, ".useremail") == 0;
}

/* The text before another one is its name, in either kind of file. */
static size_t wanted_texts(const uint8_t *data, size_t length,
    bool (*wanted)(const char *name, const char *value), struct arena *arena,
    const char *texts[LIBRARY_FOLDERS])
{
	struct buf text = {0}, name = {0}, value = {0};
	const char *at;
	size_t count = 0;

	at = file_text(data, length, &text);
	while (count < LIBRARY_FOLDERS && next_quoted(&at, &value)) {
		if (wanted(buf_text(&name), buf_text(&value))) {
			texts[count] = arena_strdup(arena, buf_text(&value));
			count += texts[count] != NULL;
		} else {
			struct buf swap = name;

			name = value;
			value = swap;
		}
	}
	buf_free(&text);
	buf_free(&name);
	buf_free(&value);
	return count;
}

size_t preferences_folders(
    const uint8_t *data, size_t length, struct arena *arena, const char *folders[LIBRARY_FOLDERS])
{
	return wanted_texts(data, length, is_folder, arena, folders);
}

size_t preferences_addresses(const uint8_t *data, size_t length, bool of_mail, struct arena *arena,
    const char *addresses[LIBRARY_FOLDERS])
{
	return wanted_texts(
	    data, length, of_mail ? is_sender : is_synchronised, arena, addresses);
}

/* --- lists of profiles --- */

size_t profile_list_folders(
    const uint8_t *data, size_t length, struct arena *arena, const char *folders[LIBRARY_FOLDERS])
{
	struct buf text = {0};
	const char *at;
	size_t count = 0;

	at = file_text(data, length, &text);
	while (*at && count < LIBRARY_FOLDERS) {
		size_t line = strcspn(at, "\r\n");

		/* A path in full begins with a drive or a server. */
		if (line > 8 && strncasecmp(at, "Path=", 5) == 0 &&
		    (at[6] == ':' || (at[5] == '\\' && at[6] == '\\'))) {
			folders[count] = arena_text(arena, at + 5, line - 5);
			count += folders[count] != NULL;
		}
		at += line;
		at += strspn(at, "\r\n");
	}
	buf_free(&text);
	return count;
}
