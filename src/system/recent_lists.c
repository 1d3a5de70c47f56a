/* Lists of what was opened last: see recent_lists.h. */
#include "system/recent_lists.h"

#include "base/bytes.h"
#include "base/text.h"
#include "base/utf.h"
#include "system/inner.h"
#include "system/shell_link.h"

#include <stdlib.h>
#include <string.h>

#define RECENT_LIMIT 20000u
#define VALUE_LIMIT 2000u /* in one list */
#define KEY_LIMIT 60000u  /* keys of programs that are looked through */
#define DEPTH_LIMIT 9u
#define KEY_DIALOG "Software\\" KEY_WINDOWS "\\Explorer\\ComDlg32\\"

/* How a value holds the path. */
enum form {
	FORM_TEXT,       /* as text */
	FORM_MARKED,     /* as text behind marks: "File MRU" */
	FORM_ITEMS,      /* as a list of shell items */
	FORM_AND_ITEMS,  /* the program's name, then such a list: of a folder */
	FORM_AND_FOLDER, /* the program's name, then the folder, both UTF-16 */
	FORM_NAME,       /* the name alone, UTF-16, with what its shortcut is called */
};

struct list {
	struct learn *learn;
	const struct hive *hive;
	size_t person;
	size_t n_keys; /* looked through so far */
};

static void keep(const struct list *list, const char *path, int64_t used)
{
	struct learn *learn = list->learn;

	if (learn->n_recents >= RECENT_LIMIT || strlen(path) < 3 || strlen(path) > TEXT_LIMIT)
		return;
	if (!array_reserve(&learn->recents, &learn->recents_capacity, learn->n_recents + 1,
		sizeof(*learn->recents))) {
		learn->no_memory = true;
		return;
	}
	learn->recents[learn->n_recents++] = (struct recent){
	    .person = list->person, .path = learn_text(learn, "%s", path), .used = used};
}

/* --- one value --- */

const char *recent_item_path(const char *text, int64_t *used)
{
	const char *star = strchr(text, '*'), *mark = strstr(text, "[T");
	uint64_t time = 0;

	*used = 0;
	if (*text != '[' || !star)
		return NULL;
	for (unsigned i = 0; mark && mark < star && i < 16; i++) {
		int digit = text_hex_value(mark[2 + i]);

		if (digit < 0)
			return star + 1;
		time = time << 4 | (unsigned)digit;
	}
	if (mark && mark < star && mark[18] == ']' && (int64_t)time > 0)
		*used = (int64_t)time;
	return star + 1;
}

/* Past UTF-16 text and its NUL. */
static size_t behind_text(const uint8_t *data, size_t length)
{
	size_t at = 0;

	while (at + 2 <= length && get_u16(data + at) != 0)
		at += 2;
	return at + 2 <= length ? at + 2 : length;
}

static const char *wide_text(const uint8_t *data, size_t length, struct arena *arena)
{
	size_t bytes = behind_text(data, length);

	return utf_arena_from_utf16(arena, data, bytes >= 2 ? bytes / 2 - 1 : 0, NULL);
}

static void read_value(const struct list *list, hive_cell value, enum form form, int64_t used)
{
	struct arena arena = {0};
	const char *path = NULL;
	const uint8_t *data;
	size_t length, skip;
	uint32_t type;

	if (hive_value_data(list->hive, value, &arena, &type, &data, &length, NULL)) {
		bool is_text = type == HIVE_SZ || type == HIVE_EXPAND_SZ;

		skip = form == FORM_AND_ITEMS || form == FORM_AND_FOLDER ? behind_text(data, length)
									 : 0;
		if (form == FORM_ITEMS || form == FORM_AND_ITEMS)
			path = shell_items_path(data + skip, length - skip, &arena);
		else if (is_text == (form != FORM_AND_FOLDER && form != FORM_NAME))
			path = wide_text(data + skip, length - skip, &arena);
	}
	if (path && form == FORM_MARKED)
		path = recent_item_path(path, &used);
	if (path)
		keep(list, path, used);
	arena_free(&arena);
}

/* --- one list --- */

/* Is this value the one that was used last? */
static bool is_latest(const struct list *list, hive_cell key, const char *name)
{
	struct arena arena = {0};
	uint32_t first = UINT32_MAX;
	const uint8_t *order;
	size_t length = 0;
	uint32_t type;
	char *letters;
	hive_cell value = hive_find_value(list->hive, key, "MRUListEx");
	bool is = false;

	if (value != HIVE_NO_CELL &&
	    hive_value_data(list->hive, value, &arena, &type, &order, &length, NULL) &&
	    length >= 4) {
		first = get_u32(order);
		is = first != UINT32_MAX && name[0] >= '0' && name[0] <= '9' &&
		     strtoul(name, NULL, 10) == first;
	} else {
		letters = hive_text(list->hive, key, "", "MRUList", &arena, NULL);
		is = letters ? letters[0] && letters[0] == name[0] && !name[1]
			     : utf_equal_fold(name, "File1") || utf_equal_fold(name, "url1");
	}
	arena_free(&arena);
	return is;
}

static void read_list(const struct list *list, hive_cell key, enum form form)
{
	int64_t written = hive_key_written(list->hive, key);
	struct arena arena = {0};
	hive_cell *values;
	size_t n_values = hive_values(list->hive, key, &arena, &values);

	for (size_t i = 0; i < n_values && i < VALUE_LIMIT; i++) {
		char *name = hive_value_name(list->hive, values[i], &arena);

		if (name && *name && !utf_starts_fold(name, "MRUList"))
			read_value(list, values[i], form, is_latest(list, key, name) ? written : 0);
	}
	arena_free(&arena);
}

/* Lists by the ending of the file's name, each a key of its own. */
static void read_lists(const struct list *list, const char *path, enum form form)
{
	hive_cell key = hive_find(list->hive, hive_root(list->hive), path), *keys;
	struct arena arena = {0};
	size_t n_keys = 0;

	if (key != HIVE_NO_CELL) {
		read_list(list, key, form);
		n_keys = hive_subkeys(list->hive, key, &arena, &keys);
	}
	for (size_t i = 0; i < n_keys && i < VALUE_LIMIT; i++)
		read_list(list, keys[i], form);
	arena_free(&arena);
}

/* Lists of any program, known by what they are called. */
static void look_through(struct list *list, hive_cell key, unsigned depth)
{
	struct arena arena = {0};
	hive_cell *keys;
	size_t n_keys = hive_subkeys(list->hive, key, &arena, &keys);

	for (size_t i = 0; i < n_keys && list->n_keys < KEY_LIMIT; i++) {
		char *name = hive_key_name(list->hive, keys[i], &arena);

		list->n_keys++;
		if (!name)
			continue;
		if (utf_equal_fold(name, "Recent File List"))
			read_list(list, keys[i], FORM_TEXT);
		else if (utf_equal_fold(name, "File MRU"))
			read_list(list, keys[i], FORM_MARKED);
		/* The old system's own part of the hive has none, and is the largest. */
		else if (depth > 1 && !utf_equal_fold(name, "Windows") &&
			 !utf_equal_fold(name, "Classes"))
			look_through(list, keys[i], depth - 1);
	}
	arena_free(&arena);
}

void learn_recent(struct learn *learn, const struct hive *hive, size_t person)
{
	struct list list = {.learn = learn, .hive = hive, .person = person};
	hive_cell software = hive_find(hive, hive_root(hive), "Software");

	read_lists(&list, KEY_DIALOG "OpenSavePidlMRU", FORM_ITEMS);
	read_lists(&list, KEY_DIALOG "OpenSaveMRU", FORM_TEXT);
	read_lists(&list, KEY_DIALOG "LastVisitedPidlMRU", FORM_AND_ITEMS);
	read_lists(&list, KEY_DIALOG "LastVisitedMRU", FORM_AND_FOLDER);
	read_lists(&list, "Software\\" KEY_WINDOWS "\\Explorer\\TypedPaths", FORM_TEXT);
	read_lists(&list, "Software\\" KEY_WINDOWS "\\Explorer\\RecentDocs", FORM_NAME);
	if (software != HIVE_NO_CELL)
		look_through(&list, software, DEPTH_LIMIT);
}
