/*
 * Reading JSON that may have been made to do harm: limits on depth, duplicate keys refused.
 *
 * Source: RFC 8259. The parser is jansson; what it makes of a text is bounded by the text's length.
 */
#include "extract/verify_internal.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* The deepest nesting of a text, without looking into strings. */
static unsigned depth_of(const char *text, size_t length)
{
	unsigned depth = 0, deepest = 0;
	bool in_string = false;

	for (size_t i = 0; i < length; i++) {
		char byte = text[i];

		if (in_string) {
			if (byte == '\\')
				i++;
			else if (byte == '"')
				in_string = false;
		} else if (byte == '"') {
			in_string = true;
		} else if (byte == '{' || byte == '[') {
			if (++depth > deepest)
				deepest = depth;
		} else if ((byte == '}' || byte == ']') && depth > 0) {
			depth--;
		}
	}
	return deepest;
}

json_t *json_from_text(const char *text, size_t length, char *why, size_t why_size)
{
	json_error_t reason;
	json_t *json;

	if (depth_of(text, length) > JSON_DEPTH_LIMIT) {
		snprintf(why, why_size, "it is nested too deeply");
		return NULL;
	}
	json = json_loadb(text, length, JSON_REJECT_DUPLICATES, &reason);
	if (json == NULL)
		snprintf(why, why_size, "%.200s", reason.text);
	return json;
}

bool json_from_file(struct verify *verify, const char *name, json_t **json, struct error *error)
{
	struct buf text = {0};
	char why[240];
	uint64_t size;
	size_t got = 1;
	bool good = true;
	int fd;

	*json = NULL;
	if (!job_open(verify, name, true, &fd, &size, error))
		return false;
	if (fd < 0)
		return true;
	while (good && got > 0 && text.length <= JSON_FILE_LIMIT) {
		good = job_read(fd, name, verify->buffer, VERIFY_BUFFER, &got, error);
		buf_add(&text, verify->buffer, got);
	}
	close(fd);
	if (good && text.failed)
		good = error_no_memory(error);
	if (good && text.length > JSON_FILE_LIMIT) {
		good =
		    differ(verify, error, DIFFERS_FORM, name, "It is too large; it was not read.");
	} else if (good) {
		*json = json_from_text(buf_text(&text), text.length, why, sizeof(why));
		if (*json == NULL)
			good = differ(verify, error, DIFFERS_FORM, name, "It is no JSON: %s.", why);
	}
	buf_free(&text);
	return good;
}
