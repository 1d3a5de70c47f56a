/*
 * Shows what the readers for traces of use make of one file, as JSON, for comparing with other
 * readers.
 *
 * usage: dump_traces run|link|automatic|custom|program|package FILE
 *        dump_traces starts HIVE
 */
#include "base/buf.h"
#include "base/json.h"
#include "base/utf.h"
#include "hive/hive.h"
#include "system/jump_list.h"
#include "system/run_trace.h"
#include "system/start_count.h"
#include "system/version_info.h"

#include <stdio.h>
#include <string.h>

static void dump_run(struct json *json, const struct run_trace *trace)
{
	json_key_unsigned(json, "version", trace->version);
	json_key_text(json, "name", trace->name);
	json_key_text(json, "path", trace->path);
	json_key_unsigned(json, "hash", trace->hash);
	json_key_unsigned(json, "count", trace->count);
	json_key(json, "times");
	json_begin_array(json);
	for (size_t i = 0; i < RUN_TRACE_TIMES; i++)
		json_signed(json, trace->times[i]);
	json_end(json);
	json_key(json, "volumes");
	json_begin_array(json);
	for (size_t i = 0; i < trace->n_volumes; i++) {
		json_begin_object(json);
		json_key_text(json, "device", trace->volumes[i].device);
		json_key_unsigned(json, "serial", trace->volumes[i].serial);
		json_key_unsigned(json, "created", (uint64_t)trace->volumes[i].created);
		json_end(json);
	}
	json_end(json);
}

static void dump_link(struct json *json, const struct shell_link *link)
{
	const struct {
		const char *key, *text;
	} texts[] = {{"target", link->target}, {"from", link->from}, {"link_info", link->link_info},
	    {"items", link->items}, {"variables", link->variables}, {"device", link->device},
	    {"name", link->name}, {"relative", link->relative}, {"folder", link->folder},
	    {"arguments", link->arguments}, {"icon", link->icon}, {"machine", link->machine},
	    {"label", link->volume_label}};

	for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++)
		json_key_text(json, texts[i].key, texts[i].text);
	json_key_unsigned(json, "serial", link->volume_serial);
	json_key_unsigned(json, "drive", link->drive);
	json_key_unsigned(json, "attributes", link->attributes);
	json_key_unsigned(json, "created", (uint64_t)link->created);
	json_key_unsigned(json, "accessed", (uint64_t)link->accessed);
	json_key_unsigned(json, "modified", (uint64_t)link->modified);
	json_key_unsigned(json, "size", link->size);
	json_key_unsigned(json, "length", link->length);
	json_key_bool(json, "share", link->is_on_share);
}

static void dump_list(struct json *json, const struct jump_list *list)
{
	json_key_unsigned(json, "version", list->version);
	json_key(json, "entries");
	json_begin_array(json);
	for (size_t i = 0; i < list->n_entries; i++) {
		json_begin_object(json);
		json_key_text(json, "path", list->entries[i].path);
		json_key_unsigned(json, "last", (uint64_t)list->entries[i].last);
		json_key_bool(json, "pinned", list->entries[i].is_pinned);
		json_key(json, "link");
		if (list->entries[i].has_link) {
			json_begin_object(json);
			dump_link(json, &list->entries[i].link);
			json_end(json);
		} else {
			json_put_null(json);
		}
		json_end(json);
	}
	json_end(json);
}

static void dump_version(struct json *json, const struct version_info *info)
{
	json_key_text(json, "product", info->product);
	json_key_text(json, "company", info->company);
	json_key_text(json, "version", info->version);
	json_key_text(json, "description", info->description);
	json_key_text(json, "file_name", info->file_name);
	json_key_unsigned(json, "bits", info->bits);
}

/* All start counts of a person's hive. */
static bool dump_starts(struct json *json, const struct buf *file, struct arena *arena)
{
	const char *path = "Software\\Microsoft\\Windows\\CurrentVersion\\Explorer\\UserAssist";
	struct hive *hive = hive_open(file->data, file->length, NULL, 0, NULL);
	hive_cell *keys, *values;
	size_t n_keys, n_values;

	if (!hive)
		return false;
	n_keys = hive_subkeys(hive, hive_find(hive, hive_root(hive), path), arena, &keys);
	json_key(json, "starts");
	json_begin_array(json);
	for (size_t k = 0; k < n_keys; k++) {
		uint64_t version = 0;

		hive_number(hive, keys[k], "", "Version", &version);
		n_values = hive_values(hive, hive_find(hive, keys[k], "Count"), arena, &values);
		for (size_t v = 0; v < n_values; v++) {
			char *name = hive_value_name(hive, values[v], arena);
			struct start_count count;
			const uint8_t *data;
			size_t length;
			uint32_t type;

			if (!name ||
			    !hive_value_data(hive, values[v], arena, &type, &data, &length, NULL) ||
			    !start_count_read(name, data, length, (unsigned)version, arena, &count))
				continue;
			json_begin_object(json);
			json_key_text(json, "name", count.name);
			json_key_unsigned(json, "count", count.count);
			json_key_unsigned(json, "last", (uint64_t)count.last);
			json_end(json);
		}
	}
	json_end(json);
	hive_close(hive);
	return true;
}

static size_t read_memory(void *context, uint64_t offset, uint8_t *buffer, size_t length)
{
	const struct buf *file = context;

	if (offset >= file->length)
		return 0;
	if (length > file->length - offset)
		length = file->length - (size_t)offset;
	memcpy(buffer, file->data + offset, length);
	return length;
}

static bool dump(const char *kind, struct buf *file, struct arena *arena, struct json *json)
{
	const uint8_t *data = file->data;
	struct version_reader reader = {read_memory, file};
	struct run_trace trace;
	struct shell_link link;
	struct jump_list list;
	struct version_info info;

	if (strcmp(kind, "run") == 0)
		return run_trace_read(data, file->length, arena, &trace) &&
		       (dump_run(json, &trace), true);
	if (strcmp(kind, "link") == 0)
		return shell_link_read(data, file->length, arena, &link) &&
		       (dump_link(json, &link), true);
	if (strcmp(kind, "automatic") == 0)
		return jump_list_read_automatic(data, file->length, arena, &list) &&
		       (dump_list(json, &list), true);
	if (strcmp(kind, "custom") == 0)
		return jump_list_read_custom(data, file->length, arena, &list) &&
		       (dump_list(json, &list), true);
	if (strcmp(kind, "program") == 0)
		return version_info_read_program(&reader, arena, &info) &&
		       (dump_version(json, &info), true);
	if (strcmp(kind, "package") == 0)
		return version_info_read_package(data, file->length, arena, &info) &&
		       (dump_version(json, &info), true);
	return strcmp(kind, "starts") == 0 && dump_starts(json, file, arena);
}

int main(int argc, char **argv)
{
	struct buf file = {0}, out = {0};
	struct arena arena = {0};
	struct json json;
	FILE *in = argc == 3 ? fopen(argv[2], "rb") : NULL;
	size_t got;
	bool good;

	if (!in)
		return 2;
	do {
		got = fread(buf_reserve(&file, 65536), 1, 65536, in);
		buf_added(&file, got);
	} while (got > 0);
	fclose(in);
	json_start(&json, &out, true);
	json_begin_object(&json);
	good = dump(argv[1], &file, &arena, &json);
	json_end(&json);
	if (good)
		puts(buf_text(&out));
	buf_free(&file);
	buf_free(&out);
	arena_free(&arena);
	return good ? 0 : 1;
}
