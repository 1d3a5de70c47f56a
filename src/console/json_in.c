/* Taking values out of what the commands said: see json_in.h. */
#include "console/json_in.h"

#include <string.h>

/*
 * Integers as floating-point numbers: a damaged file table can add up to more than the reader's
 * integers hold, and one such sum must not cost the whole document. For sizes that is exact enough.
 */
#define READ_FLAGS (JSON_ALLOW_NUL | JSON_DECODE_INT_AS_REAL)

const char *json_in_text(struct arena *arena, const json_t *object, const char *key)
{
	const json_t *value = json_object_get(object, key);
	size_t length;
	char *copy;

	if (!json_is_string(value))
		return "";
	length = json_string_length(value);
	copy = arena_text(arena, json_string_value(value), length);
	/* A NUL inside a name would hide what stands behind it. */
	for (size_t i = 0; copy != NULL && i < length; i++)
		if (copy[i] == '\0')
			copy[i] = '?';
	return copy;
}

static uint64_t to_number(const json_t *value, uint64_t unless)
{
	double number = json_is_number(value) ? json_number_value(value) : -1.0;

	if (!(number >= 0.0))
		return unless;
	return number >= 9.2e18 ? UINT64_C(9200000000000000000) : (uint64_t)number;
}

uint64_t json_in_number(const json_t *object, const char *key, uint64_t unless)
{
	return to_number(json_object_get(object, key), unless);
}

bool json_in_is_true(const json_t *object, const char *key)
{
	return json_is_true(json_object_get(object, key));
}

bool json_in_is_text(const json_t *object, const char *key, const char *text)
{
	const char *value = json_string_value(json_object_get(object, key));

	return value != NULL && strcmp(value, text) == 0;
}

json_t *json_in_load(const char *text, size_t length, const char *what, struct error *error)
{
	json_error_t where;
	json_t *document = json_loadb(text, length, READ_FLAGS, &where);

	if (json_is_object(document))
		return document;
	json_decref(document);
	error_set(error, STATUS_OTHER, "the %s could not be understood", what);
	return NULL;
}

enum weight json_in_weight(const json_t *item)
{
	if (json_in_is_text(item, "weight", "loss"))
		return WEIGHT_LOSS;
	return json_in_is_text(item, "weight", "caution") ? WEIGHT_CAUTION : WEIGHT_NOTE;
}

bool json_in_finding(const json_t *item, struct findings *findings)
{
	struct arena arena = {0};
	const char *code = json_in_text(&arena, item, "code");
	const char *subject = json_in_text(&arena, item, "subject");
	const char *sentence = json_in_text(&arena, item, "sentence");
	const char *advice = json_in_text(&arena, item, "advice");
	bool good = code != NULL && subject != NULL && sentence != NULL && advice != NULL;

	if (good && *sentence != '\0')
		findings_add(
		    findings, json_in_weight(item), code, subject, advice, "%s", sentence);
	arena_free(&arena);
	return good;
}
