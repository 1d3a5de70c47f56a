/*
 * Shows what is learned of devices and connections from hives and small files, as JSON, for
 * comparing with other readers.
 *
 * usage: dump_devices machine SYSTEM [SOFTWARE]
 *        dump_devices person NTUSER [SYSTEM [SOFTWARE]]
 *        dump_devices task FILE
 *        dump_devices xml FILE PATH
 *        dump_devices phone-book FILE
 */
#include "base/json.h"
#include "system/learn_devices.h"
#include "system/phone_book.h"
#include "system/task_file.h"
#include "system/library_file.h"
#include "system/xml_element.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool load(const char *path, struct buf *file)
{
	FILE *in = fopen(path, "rb");
	size_t got;

	if (!in)
		return false;
	do {
		got = fread(buf_reserve(file, 65536), 1, 65536, in);
		buf_added(file, got);
	} while (got > 0);
	fclose(in);
	return true;
}

static struct hive *open_hive(const char *path)
{
	struct buf file = {0};
	struct hive *hive =
	    load(path, &file) ? hive_open(file.data, file.length, NULL, 0, NULL) : NULL;

	buf_free(&file);
	return hive;
}

static void dump_hives(bool of_person, int count, char **paths, struct json *json)
{
	struct person person = {.sid = "S-1-5-21-1-2-3-1001",
	    .account = "mara",
	    .key = "mara",
	    .path = "C:\\Users\\mara",
	    .folder = "mara",
	    .profile = NO_LOCATION};
	struct old_system system = {.letter = 'C',
	    .zone_name = "",
	    .key = "PC",
	    .windows = NONE,
	    .container = NODE_ROOT,
	    .volume = SIZE_MAX,
	    .persons = &person,
	    .n_persons = 1};
	struct survey survey = {.systems = &system, .n_systems = 1};
	struct learn learn = {.survey = &survey, .system = &system, .control = HIVE_NO_CELL};
	struct hive *own = NULL;

	findings_init(&learn.later);
	environment_set(&learn.machine, &survey.arena, "SystemRoot", "C:\\Windows");
	if (of_person) {
		own = open_hive(*paths++);
		count--;
	}
	learn.config = count > 0 ? open_hive(paths[0]) : NULL;
	learn.software = count > 1 ? open_hive(paths[1]) : NULL;
	if (learn.config)
		learn.control = current_control_set(learn.config);
	if (own)
		learn_person_devices(&learn, &person, own, &learn.machine);
	else
		learn_machine_devices(&learn);
	if (keep_things(&learn))
		things_to_json(&system, json);
	free(learn.things);
	hive_close(own);
	hive_close(learn.config);
	hive_close(learn.software);
	findings_free(&learn.later);
	environment_free(&learn.machine);
	arena_free(&survey.arena);
}

static void dump_task(const struct buf *file, struct json *json)
{
	struct arena arena = {0};
	struct task_file task;

	if (!task_file_read(file->data, file->length, &arena, &task)) {
		json_put_null(json);
	} else {
		json_begin_object(json);
		json_key_text(json, "author", task.author);
		json_key_text(json, "program", task.program);
		json_key_text(json, "arguments", task.arguments);
		json_key_text(json, "folder", task.folder);
		json_key_text(json, "comment", task.comment);
		json_key_text(json, "when", task.when);
		json_key_bool(json, "off", task.is_off);
		json_end(json);
	}
	arena_free(&arena);
}

static void dump_xml(const struct buf *file, const char *path, struct json *json)
{
	struct arena arena = {0};
	struct buf text = {0};

	json_text(json, xml_element(file_text(file->data, file->length, &text), path, &arena));
	buf_free(&text);
	arena_free(&arena);
}

static void dump_phone_book(const struct buf *file, struct json *json)
{
	struct phone_book_entry entries[PHONE_BOOK_ENTRIES];
	struct arena arena = {0};
	size_t count = phone_book_read(file->data, file->length, &arena, entries);

	json_begin_array(json);
	for (size_t i = 0; i < count; i++) {
		json_begin_array(json);
		json_text(json, entries[i].name);
		json_text(json, entries[i].address);
		json_text(json, entries[i].kind);
		json_end(json);
	}
	json_end(json);
	arena_free(&arena);
}

int main(int argc, char **argv)
{
	struct buf file = {0}, out = {0};
	struct json json;

	json_start(&json, &out, true);
	if (argc < 3)
		return 2;
	if (strcmp(argv[1], "machine") == 0 || strcmp(argv[1], "person") == 0) {
		dump_hives(strcmp(argv[1], "person") == 0, argc - 2, argv + 2, &json);
	} else if (!load(argv[2], &file)) {
		return 2;
	} else if (strcmp(argv[1], "phone-book") == 0) {
		dump_phone_book(&file, &json);
	} else if (strcmp(argv[1], "task") == 0) {
		dump_task(&file, &json);
	} else {
		dump_xml(&file, argc > 3 ? argv[3] : "", &json);
	}
	puts(buf_text(&out));
	buf_free(&file);
	buf_free(&out);
	return 0;
}
