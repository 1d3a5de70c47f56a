/* What a verification found, kept, sorted and told: see verify.h. */
#include "base/json.h"
#include "extract/verify_internal.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define MOST_KEPT 10000

const char *difference_code(enum difference_kind kind)
{
	static const char *const codes[DIFFERS_COUNT] = {
	    [DIFFERS_UNFINISHED] = "unfinished",
	    [DIFFERS_NO_FILE] = "job-file-missing",
	    [DIFFERS_STRANGE_FILE] = "not-a-plain-file",
	    [DIFFERS_FORM] = "wrong-form",
	    [DIFFERS_UNSAFE_NAME] = "unsafe-name",
	    [DIFFERS_BAG] = "bag-rule",
	    [DIFFERS_TAG_FILE] = "tag-file-hash",
	    [DIFFERS_PROOF] = "proof-contradicts",
	    [DIFFERS_ACCOUNT] = "account-sum",
	    [DIFFERS_PART_MISSING] = "part-missing",
	    [DIFFERS_PART_EXTRA] = "part-extra",
	    [DIFFERS_PART_HASH] = "part-hash",
	    [DIFFERS_PART_BROKEN] = "part-broken",
	    [DIFFERS_NO_RECORD_LINE] = "no-record-line",
	    [DIFFERS_NO_PROOF] = "no-proof",
	    [DIFFERS_RECORD] = "record-contradicts",
	    [DIFFERS_MISSING] = "missing",
	    [DIFFERS_EXTRA] = "extra",
	    [DIFFERS_TWICE] = "twice",
	    [DIFFERS_PLACE] = "other-part",
	    [DIFFERS_SIZE] = "size",
	    [DIFFERS_BYTES] = "bytes",
	};

	return codes[kind];
}

const char *record_state_name(size_t state)
{
	static const char *const names[RECORD_STATES] = {"taken", "partial", "unreadable", "absent",
	    "incomplete", "locked", "left", "same"};

	return names[state];
}

bool differ(struct verify *verify, struct error *error, enum difference_kind kind,
    const char *subject, const char *format, ...)
{
	struct verify_result *result = verify->result;
	char text[600];
	va_list args;
	struct difference *new;

	if (result->n_differences++ >= MOST_KEPT)
		return true;
	va_start(args, format);
	vsnprintf(text, sizeof(text), format, args);
	va_end(args);
	if (!array_reserve(&result->differences, &result->capacity, result->n_kept + 1,
		sizeof(*new)))
		return error_no_memory(error);
	new = &result->differences[result->n_kept];
	*new = (struct difference){.kind = kind, .number = result->n_kept,
	    .subject = arena_strdup(&result->arena, subject),
	    .text = arena_strdup(&result->arena, text)};
	if (new->subject == NULL || new->text == NULL)
		return error_no_memory(error);
	result->n_kept++;
	return true;
}

bool note_absent(struct verify *verify, const char *name, unsigned destination, struct error *error)
{
	struct verify_result *result = verify->result;
	struct absent_file file = {arena_strdup(&result->arena, name), destination};

	if (file.name == NULL ||
	    !array_reserve(&result->absent, &result->absent_capacity, result->n_absent + 1,
		sizeof(file)))
		return error_no_memory(error);
	result->absent[result->n_absent++] = file;
	return true;
}

void verify_free(struct verify_result *result)
{
	free(result->differences);
	free(result->absent);
	arena_free(&result->arena);
	*result = (struct verify_result){0};
}

enum status verify_status(const struct verify_result *result)
{
	if (result->n_differences > 0 || result->n_absent > 0)
		return STATUS_OTHER;
	return result->n_not_whole > 0 || result->n_losses > 0 ? STATUS_LOSSES : STATUS_COMPLETE;
}

static void states_to_json(const struct verify_result *result, struct json *json)
{
	json_begin_object(json);
	for (size_t i = 0; i < RECORD_STATES; i++) {
		json_key(json, record_state_name(i));
		json_begin_object(json);
		json_key_unsigned(json, "count", result->state_count[i]);
		json_key_unsigned(json, "bytes", result->state_bytes[i]);
		json_end(json);
	}
	json_end(json);
}

static void absent_to_json(const struct verify_result *result, struct json *json)
{
	json_key(json, "not_looked_at");
	json_begin_array(json);
	for (size_t i = 0; i < result->n_absent; i++) {
		json_begin_object(json);
		json_key_text(json, "file", result->absent[i].name);
		json_key_unsigned(json, "destination", result->absent[i].destination);
		json_end(json);
	}
	json_end(json);
}

void verify_to_json(const struct verify_result *result, struct json *json)
{
	json_begin_object(json);
	json_key_text(json, "job", result->job);
	json_key_text(json, "program", result->program);
	json_key_text(json, "started", result->started);
	json_key_bool(json, "proven",
	    result->n_differences == 0 && result->n_absent == 0);
	json_key_unsigned(json, "status", verify_status(result));
	json_key_unsigned(json, "parts", result->n_parts);
	json_key_unsigned(json, "part_bytes", result->part_bytes);
	json_key_unsigned(json, "files", result->n_files);
	json_key_unsigned(json, "file_bytes", result->file_bytes);
	json_key_unsigned(json, "record_lines", result->n_lines);
	json_key(json, "streams");
	states_to_json(result, json);
	json_key_unsigned(json, "not_whole", result->n_not_whole);
	json_key_unsigned(json, "losses", result->n_losses);
	json_key_unsigned(json, "unaccounted_clusters", result->n_unaccounted);
	json_key_unsigned(json, "other_files", result->n_others);
	absent_to_json(result, json);
	json_key_unsigned(json, "n_differences", result->n_differences);
	json_key(json, "differences");
	json_begin_array(json);
	for (size_t i = 0; i < result->n_kept; i++) {
		json_begin_object(json);
		json_key_text(json, "code", difference_code(result->differences[i].kind));
		json_key_text(json, "subject", result->differences[i].subject);
		json_key_text(json, "sentence", result->differences[i].text);
		json_end(json);
	}
	json_end(json);
	json_end(json);
}
