/* Writing JSON: see json.h. */
#include "base/json.h"

#include "base/filetime.h"
#include "base/utf.h"

#include <inttypes.h>
#include <string.h>

void json_start(struct json *json, struct buf *buf, bool pretty)
{
	*json = (struct json){.buf = buf, .pretty = pretty};
}

static void new_line(struct json *json)
{
	if (!json->pretty)
		return;
	buf_add_byte(json->buf, '\n');
	for (unsigned i = 0; i < json->depth; i++)
		buf_add_text(json->buf, "  ");
}

/* What has to stand before a value: nothing after a key, otherwise a comma and a line break. */
static void before_value(struct json *json)
{
	if (json->after_key) {
		json->after_key = false;
		return;
	}
	if (json->depth == 0)
		return;
	if (json->has_items[json->depth - 1])
		buf_add_byte(json->buf, ',');
	json->has_items[json->depth - 1] = true;
	new_line(json);
}

static void open_container(struct json *json, char opener, char closer)
{
	before_value(json);
	buf_add_byte(json->buf, (uint8_t)opener);
	if (json->depth == JSON_DEPTH) { /* a mistake of ours, not of the data */
		json->buf->failed = true;
		return;
	}
	json->closer[json->depth] = closer;
	json->has_items[json->depth] = false;
	json->depth++;
}

void json_begin_object(struct json *json)
{
	open_container(json, '{', '}');
}

void json_begin_array(struct json *json)
{
	open_container(json, '[', ']');
}

void json_end(struct json *json)
{
	if (json->depth == 0) {
		json->buf->failed = true;
		return;
	}
	json->depth--;
	if (json->has_items[json->depth])
		new_line(json);
	buf_add_byte(json->buf, (uint8_t)json->closer[json->depth]);
	if (json->depth == 0 && json->pretty)
		buf_add_byte(json->buf, '\n');
}

static void add_string(struct buf *buf, const char *text)
{
	const char *end = text + strlen(text);

	buf_add_byte(buf, '"');
	while (text < end) {
		uint32_t point = utf_next(&text, end);

		if (point == '"' || point == '\\')
			buf_printf(buf, "\\%c", (char)point);
		else if (point == '\n')
			buf_add_text(buf, "\\n");
		else if ((point > 0 && point < 0x20) || (point >= 0x7F && point < 0xA0))
			buf_printf(buf, "\\u%04" PRIx32, point);
		else if (point == 0 || (point >= 0xD800 && point < 0xE000))
			utf_add(buf, UTF_REPLACEMENT);
		else
			utf_add(buf, point);
	}
	buf_add_byte(buf, '"');
}

void json_key(struct json *json, const char *key)
{
	before_value(json);
	add_string(json->buf, key);
	buf_add_text(json->buf, json->pretty ? ": " : ":");
	json->after_key = true;
}

void json_text(struct json *json, const char *text)
{
	before_value(json);
	if (text == NULL)
		buf_add_text(json->buf, "null");
	else
		add_string(json->buf, text);
}

void json_unsigned(struct json *json, uint64_t number)
{
	before_value(json);
	buf_printf(json->buf, "%" PRIu64, number);
}

void json_signed(struct json *json, int64_t number)
{
	before_value(json);
	buf_printf(json->buf, "%" PRId64, number);
}

void json_bool(struct json *json, bool value)
{
	before_value(json);
	buf_add_text(json->buf, value ? "true" : "false");
}

void json_put_null(struct json *json)
{
	json_text(json, NULL);
}

void json_key_text(struct json *json, const char *key, const char *text)
{
	json_key(json, key);
	json_text(json, text);
}

void json_key_unsigned(struct json *json, const char *key, uint64_t number)
{
	json_key(json, key);
	json_unsigned(json, number);
}

void json_key_bool(struct json *json, const char *key, bool value)
{
	json_key(json, key);
	json_bool(json, value);
}

void json_key_time(struct json *json, const char *key, int64_t filetime)
{
	struct filetime_text text = filetime_to_text(filetime);

	json_key_text(json, key, text.text[0] == '\0' ? NULL : text.text);
}
