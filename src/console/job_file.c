/* The job file: see job_file.h. */
#include "console/job_file.h"

#include "base/text.h"
#include "base/utf.h"
#include "extract/extract.h"
#include "extract/job.h"
#include "plan/pattern.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

#define SHOWN 60 /* bytes of a value that a sentence repeats */
/* The name must have room for "-2" behind it, when it is taken at the destination. */
#define NAME_LIMIT (JOB_NAME_LIMIT - 5)

enum key {
	KEY_PERSONS,
	KEY_FORMAT,
	KEY_NAME,
	KEY_TAKE,
	KEY_LEAVE,
	KEY_PART_SIZE,
	KEY_SAME,
	KEY_RESUME,
	KEY_WHEN_DONE,
	KEY_COUNT,
};

static const char *const key_names[KEY_COUNT] = {
    "persons", "format", "name", "take", "leave", "part-size", "same", "resume",
    "when-done"};

struct reader {
	struct arena *arena;
	struct order *order;
	struct error *error;
	unsigned line; /* from 1 */
	bool seen[KEY_COUNT];
};

/* The beginning of a value, for a sentence. */
struct shown {
	char text[SHOWN + 4];
};

static struct shown shorten(const char *value)
{
	struct shown shown;
	const char *at = value, *end = value + strlen(value);

	while (at < end) {
		const char *next = at;

		utf_next(&next, end);
		if (next - value > SHOWN)
			break;
		at = next;
	}
	snprintf(shown.text, sizeof(shown.text), "%.*s%s", (int)(at - value), value,
	    at < end ? "..." : "");
	return shown;
}

/* --- from bytes to text ----------------------------------------------------------------------- */

static bool from_utf16(struct buf *out, const uint8_t *bytes, size_t length, bool big)
{
	struct buf little = {0};
	bool good = length % 2 == 0;

	buf_add(&little, bytes, length);
	for (size_t i = 0; big && !little.failed && i + 1 < length; i += 2) {
		little.data[i] = bytes[i + 1];
		little.data[i + 1] = bytes[i];
	}
	out->failed = out->failed || little.failed;
	if (!little.failed && length > 0)
		good = utf_from_utf16(out, little.data, length / 2) && good;
	buf_free(&little);
	return good;
}

/* Any of the encodings that editors write; NUL and what is not valid stay to be found later. */
static bool to_text(struct buf *out, const uint8_t *bytes, size_t length, struct error *error)
{
	bool valid = true;

	if (length >= 2 && bytes[0] == 0xFF && bytes[1] == 0xFE)
		valid = from_utf16(out, bytes + 2, length - 2, false);
	else if (length >= 2 && bytes[0] == 0xFE && bytes[1] == 0xFF)
		valid = from_utf16(out, bytes + 2, length - 2, true);
	else if (length >= 3 && memcmp(bytes, "\xEF\xBB\xBF", 3) == 0)
		buf_add(out, bytes + 3, length - 3);
	else
		buf_add(out, bytes, length);
	if (out->failed)
		return error_no_memory(error);
	if (valid && memchr(buf_text(out), '\0', out->length) == NULL)
		return true;
	return error_set(error, STATUS_USAGE,
	    "the job file is no plain text; write it with a plain text editor and save it as "
	    "UTF-8");
}

/* --- values ----------------------------------------------------------------------------------- */

static bool wrong(struct reader *reader, const char *value, const char *allowed)
{
	return error_set(reader->error, STATUS_USAGE,
	    "line %u of the job file: '%s' is not possible there; %s", reader->line,
	    shorten(value).text, allowed);
}

static bool add(struct reader *reader, struct order_list *list, const char *text, size_t length)
{
	const char **items = arena_array(reader->arena, list->count + 1, sizeof(*items));
	char *copy = arena_text(reader->arena, text, length);

	if (items == NULL || copy == NULL)
		return error_no_memory(reader->error);
	if (list->count > 0)
		memcpy(items, list->items, list->count * sizeof(*items));
	items[list->count++] = copy;
	list->items = items;
	return true;
}

static bool read_persons(struct reader *reader, const char *value)
{
	static const char allowed[] = "persons is everybody, or names joined by commas, as in "
				      "'persons = mara, Rowan Fern'";
	struct order_list *list = &reader->order->persons;

	if (strcasecmp(value, "everybody") == 0)
		return true;
	for (const char *at = value;; at++) {
		size_t length;

		at += strspn(at, " \t");
		length = strcspn(at, ",");
		while (length > 0 && (at[length - 1] == ' ' || at[length - 1] == '\t'))
			length--;
		if (length == 0 || (length == 9 && strncasecmp(at, "everybody", 9) == 0))
			return wrong(reader, value, allowed);
		if (list->count >= 1000)
			return wrong(reader, value, "1,000 names are the most");
		if (!add(reader, list, at, length))
			return false;
		at += strcspn(at, ",");
		if (*at == '\0')
			return true;
	}
}

/* One of some fixed words; *choice is the word as `extract` knows it. */
static bool read_word(struct reader *reader, const char *value, const char *const *words,
    const char **choice, const char *allowed)
{
	for (; *words != NULL; words++) {
		if (strcasecmp(value, *words) != 0)
			continue;
		*choice = *words;
		return true;
	}
	return wrong(reader, value, allowed);
}

static bool read_name(struct reader *reader, const char *value)
{
	struct error why;

	if (strlen(value) > NAME_LIMIT)
		return wrong(reader, value, "the job's name can have 95 bytes at most");
	if (!job_name_check(value, &why))
		return error_set(reader->error, STATUS_USAGE, "line %u of the job file: %s",
		    reader->line, why.text);
	reader->order->name = arena_strdup(reader->arena, value);
	return reader->order->name != NULL || error_no_memory(reader->error);
}

static bool read_pattern(struct reader *reader, struct order_list *list, const char *value)
{
	struct arena scratch = {0};
	struct pattern pattern;
	bool good = pattern_compile(&scratch, value, &pattern);

	arena_free(&scratch);
	if (!good)
		return wrong(reader, value, "a pattern has 1,000 characters at most");
	if (list->count >= 1000)
		return wrong(reader, value, "1,000 patterns are the most");
	return add(reader, list, value, strlen(value));
}

static bool read_part_size(struct reader *reader, const char *value)
{
	uint64_t bytes;

	if (!text_to_size(value, &bytes) || bytes < PART_LIMIT_LEAST)
		return wrong(reader, value, "part-size is at least 1M; examples: 700M, 4G, 4GiB");
	reader->order->part_size = arena_strdup(reader->arena, value);
	return reader->order->part_size != NULL || error_no_memory(reader->error);
}

static bool read_when_done(struct reader *reader, const char *value)
{
	static const char *const words[] = {"wait", "switch-off", NULL};
	const char *word = words[0];

	if (!read_word(reader, value, words, &word, "when-done is wait or switch-off"))
		return false;
	reader->order->end = word == words[0] ? ORDER_WAIT : ORDER_SWITCH_OFF;
	return true;
}

static bool read_resume(struct reader *reader, const char *value)
{
	static const char *const words[] = {"yes", "no", NULL};
	const char *word = words[0];

	if (!read_word(reader, value, words, &word, "resume is yes or no"))
		return false;
	reader->order->no_resume = word == words[1];
	return true;
}

static bool read_value(struct reader *reader, enum key key, const char *value)
{
	static const char *const formats[] = {"zip", "tar", "folder", NULL};
	static const char *const sames[] = {"once", "each", NULL};
	struct order *order = reader->order;

	switch (key) {
	case KEY_PERSONS:
		return read_persons(reader, value);
	case KEY_FORMAT:
		return read_word(
		    reader, value, formats, &order->format, "format is zip, tar or folder");
	case KEY_NAME:
		return read_name(reader, value);
	case KEY_TAKE:
		return read_pattern(reader, &order->takes, value);
	case KEY_LEAVE:
		return read_pattern(reader, &order->leaves, value);
	case KEY_PART_SIZE:
		return read_part_size(reader, value);
	case KEY_SAME:
		return read_word(reader, value, sames, &order->same, "same is once or each");
	case KEY_RESUME:
		return read_resume(reader, value);
	default:
		return read_when_done(reader, value);
	}
}

/* --- lines ------------------------------------------------------------------------------------ */

static bool find_key(struct reader *reader, const char *name, enum key *key)
{
	for (unsigned i = 0; i < KEY_COUNT; i++) {
		if (strcasecmp(name, key_names[i]) != 0)
			continue;
		*key = (enum key)i;
		if (!reader->seen[i] || i == KEY_TAKE || i == KEY_LEAVE) {
			reader->seen[i] = true;
			return true;
		}
		return error_set(reader->error, STATUS_USAGE,
		    "line %u of the job file: %s stands there a second time; only take and leave "
		    "can be repeated",
		    reader->line, key_names[i]);
	}
	return error_set(reader->error, STATUS_USAGE,
	    "line %u of the job file: there is no key '%s'; there are persons, format, name, take, "
	    "leave, part-size, same, resume and when-done",
	    reader->line, shorten(name).text);
}

/* Cuts white space off both ends, in place. */
static char *trim(char *text)
{
	size_t length;

	text += strspn(text, " \t");
	length = strlen(text);
	while (length > 0 && (text[length - 1] == ' ' || text[length - 1] == '\t'))
		text[--length] = '\0';
	return text;
}

static bool has_controls(const char *text)
{
	for (; *text != '\0'; text++)
		if (((unsigned char)*text < 0x20 && *text != '\t') || *text == 0x7F)
			return true;
	return false;
}

static bool read_line(struct reader *reader, char *line)
{
	char *value;
	enum key key = KEY_COUNT;

	if (!utf_is_clean(line) || has_controls(line))
		return error_set(reader->error, STATUS_USAGE,
		    "line %u of the job file is no plain text in UTF-8; save the file again as "
		    "UTF-8",
		    reader->line);
	line = trim(line);
	if (*line == '\0' || *line == '#')
		return true;
	value = strchr(line, '=');
	if (value == NULL)
		return error_set(reader->error, STATUS_USAGE,
		    "line %u of the job file, '%s', is not KEY = VALUE, as in 'format = zip'",
		    reader->line, shorten(line).text);
	*value++ = '\0';
	line = trim(line);
	value = trim(value);
	if (!find_key(reader, line, &key))
		return false;
	if (*value == '\0')
		return error_set(reader->error, STATUS_USAGE,
		    "line %u of the job file: there is nothing behind '%s ='; leave the line out, "
		    "or put # in front of it",
		    reader->line, key_names[key]);
	return read_value(reader, key, value);
}

/* Lines end with LF, CR LF or CR. */
static bool read_lines(struct reader *reader, char *text)
{
	while (*text != '\0') {
		size_t length = strcspn(text, "\r\n");
		size_t end = text[length] == '\r' && text[length + 1] == '\n' ? 2
			     : text[length] != '\0'                           ? 1
									      : 0;

		text[length] = '\0';
		reader->line++;
		if (!read_line(reader, text))
			return false;
		text += length + end;
	}
	return true;
}

bool job_file_read(
    struct arena *arena, const void *bytes, size_t length, struct order *order, struct error *error)
{
	struct reader reader = {.arena = arena, .order = order, .error = error};
	struct buf text = {0};
	bool good;

	*order = (struct order){.end = ORDER_WAIT};
	if (length > JOB_FILE_LIMIT)
		return error_set(error, STATUS_USAGE,
		    "the job file is larger than 64 KiB; a job file has some lines of text");
	good = to_text(&text, bytes, length, error) &&
	       (text.length == 0 || read_lines(&reader, (char *)text.data));
	buf_free(&text);
	return good;
}
