/*
 * Writing JSON as a stream (RFC 8259). Reading is jansson's work.
 *
 * The writer puts commas and escapes by itself; inner text becomes valid UTF-8 (utf_clean), control
 * characters become \u escapes. One document or one line of JSON lines per writer.
 */
#ifndef BASE_JSON_H
#define BASE_JSON_H

#include "base/buf.h"

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

#define JSON_DEPTH 16

struct json {
	struct buf *buf;  /* where the text goes */
	bool pretty;      /* line breaks and indentation */
	unsigned depth;
	char closer[JSON_DEPTH];
	bool has_items[JSON_DEPTH];
	bool after_key;
};

/* The buffer stays the caller's. */
void json_start(struct json *json, struct buf *buf, bool pretty);

void json_begin_object(struct json *json);
void json_begin_array(struct json *json);
void json_end(struct json *json); /* closes the innermost object or array */

void json_key(struct json *json, const char *key);
void json_text(struct json *json, const char *text); /* NULL writes null */
void json_unsigned(struct json *json, uint64_t number);
void json_signed(struct json *json, int64_t number);
void json_bool(struct json *json, bool value);
void json_put_null(struct json *json);

void json_key_text(struct json *json, const char *key, const char *text);
void json_key_unsigned(struct json *json, const char *key, uint64_t number);
void json_key_bool(struct json *json, const char *key, bool value);
/* As ISO 8601 text, null when not set: see filetime_to_text(). */
void json_key_time(struct json *json, const char *key, int64_t filetime);

#endif
