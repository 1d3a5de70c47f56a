/*
 * Fuzzes the readers for traces of use, for what programs say of themselves, and for tasks and other small XML files.
 * The first byte chooses the reader.
 */
#include "base/utf.h"
#include "system/app_names.h"
#include "system/driver_packages.h"
#include "system/jump_list.h"
#include "system/phone_book.h"
#include "system/run_trace.h"
#include "system/start_count.h"
#include "system/task_file.h"
#include "system/version_info.h"
#include "system/library_file.h"
#include "system/xml_element.h"
#include "system/xpress.h"

#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

struct bytes {
	const uint8_t *data;
	size_t length;
};

static size_t read_bytes(void *context, uint64_t offset, uint8_t *buffer, size_t length)
{
	const struct bytes *bytes = context;

	if (offset >= bytes->length)
		return 0;
	if (length > bytes->length - offset)
		length = bytes->length - (size_t)offset;
	memcpy(buffer, bytes->data + offset, length);
	return length;
}

/* Looks at every text that a link gave: all of it is there. */
static size_t look_at(const struct shell_link *link)
{
	return strlen(link->target) + strlen(link->from) + strlen(link->items) +
	       strlen(link->variables) + strlen(link->device) + strlen(link->name) +
	       strlen(link->relative) + strlen(link->folder) + strlen(link->arguments) +
	       strlen(link->icon) + strlen(link->machine) + strlen(link->volume_label) +
	       strlen(link->identity);
}

static void look_at_list(const struct jump_list *list)
{
	for (size_t i = 0; i < list->n_entries; i++) {
		if (list->entries[i].has_link)
			look_at(&list->entries[i].link);
		jump_list_number(list->entries[i].path);
	}
}

static void start(const uint8_t *data, size_t length, struct arena *arena)
{
	struct start_count count;
	char *name;

	if (length < 2)
		return;
	name = utf_arena_from_utf16(arena, data + 1, length > 60 ? 20 : (length - 1) / 4, NULL);
	if (name)
		start_count_read(name, data, data[0] % 2 ? 16 : length, data[0] % 6, arena, &count);
}

static void task(const uint8_t *data, size_t length, struct arena *arena)
{
	struct task_file file;

	if (task_file_read(data, length, arena, &file) &&
	    strlen(file.author) + strlen(file.program) + strlen(file.arguments) + strlen(file.folder) +
		    strlen(file.comment) + strlen(file.when) ==
		SIZE_MAX)
		abort();
}

static void phone_book(const uint8_t *data, size_t length, struct arena *arena)
{
	struct phone_book_entry entries[PHONE_BOOK_ENTRIES];
	size_t count = phone_book_read(data, length, arena, entries);

	for (size_t i = 0; i < count; i++)
		if (strlen(entries[i].name) + strlen(entries[i].address) > 3 * length)
			abort();
}

static void xml(const uint8_t *data, size_t length, struct arena *arena)
{
	static const char *const paths[] = {"a", "a/b", "a/b/c", "WLANProfile/name",
	    "WLANProfile/MSM/security/sharedKey/keyMaterial"};
	struct buf text = {0};
	const char *file = file_text(data, length, &text);

	for (size_t i = 0; i < sizeof(paths) / sizeof(paths[0]); i++) {
		char *found = xml_element(file, paths[i], arena);

		if (found && (!xml_has(file, paths[i]) || strlen(found) > 4 * text.length + 1))
			abort();
	}
	buf_free(&text);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct bytes bytes = {data + 1, size ? size - 1 : 0};
	struct version_reader reader = {read_bytes, &bytes};
	struct arena arena = {0};
	struct run_trace trace;
	struct shell_link link;
	struct jump_list list;
	struct version_info info;
	struct setup_info setup;
	static uint8_t out[200000];

	if (size < 18)
		return 0;
	switch (data[0] % 13) {
	case 0:
		if (run_trace_read(bytes.data, bytes.length, &arena, &trace))
			(void)(strlen(trace.name) + strlen(trace.path));
		break;
	case 1:
		if (shell_link_read(bytes.data, bytes.length, &arena, &link) &&
		    (look_at(&link) == SIZE_MAX || link.length > bytes.length))
			abort();
		break;
	case 2:
		if (jump_list_read_automatic(bytes.data, bytes.length, &arena, &list))
			look_at_list(&list);
		break;
	case 3:
		if (jump_list_read_custom(bytes.data, bytes.length, &arena, &list))
			look_at_list(&list);
		break;
	case 4:
		version_info_read_program(&reader, &arena, &info);
		break;
	case 5:
		version_info_read_package(bytes.data, bytes.length, &arena, &info);
		break;
	case 6:
		xpress_decode(bytes.data, bytes.length, out, 1 + data[0] * 700u);
		break;
	case 7:
		setup_info_read(bytes.data, bytes.length, &setup);
		break;
	case 9:
		manifest_property(bytes.data, bytes.length, "DisplayName", &arena);
		break;
	case 8:
		start(bytes.data, bytes.length, &arena);
		break;
	case 10:
		task(bytes.data, bytes.length, &arena);
		break;
	case 12:
		phone_book(bytes.data, bytes.length, &arena);
		break;
	default:
		xml(bytes.data, bytes.length, &arena);
	}
	arena_free(&arena);
	return 0;
}
