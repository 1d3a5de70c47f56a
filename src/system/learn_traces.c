/*
 * Traces of use in hives: start counts of each person, background activity, store apps.
 *
 * Sources: winreg-kb, "User assist" and "Background Activity Moderator" (a FILETIME at the start of
 * each value); the keys of store apps (AppxAllUserStore): common practice, no source.
 */
#include "system/inner.h"

#include "base/bytes.h"
#include "base/utf.h"
#include "system/start_count.h"

#include <stdlib.h>
#include <string.h>

#define VALUE_LIMIT 20000u
#define KEY_START_COUNTS "Software\\" KEY_WINDOWS "\\Explorer\\UserAssist"
#define KEY_STORE KEY_WINDOWS "\\Appx\\AppxAllUserStore\\"

void learn_trace(struct learn *learn, const struct trace *trace)
{
	struct trace *kept;

	if (learn->n_traces >= TRACE_LIMIT || strlen(trace->path) > TEXT_LIMIT)
		return;
	if (!array_reserve(&learn->traces, &learn->traces_capacity, learn->n_traces + 1,
		sizeof(*learn->traces))) {
		learn->no_memory = true;
		return;
	}
	kept = &learn->traces[learn->n_traces++];
	*kept = *trace;
	kept->path = learn_text(learn, "%s", trace->path);
}

static void read_counts(struct learn *learn, const struct hive *hive, hive_cell key, size_t person)
{
	struct arena list = {0}, one = {0};
	hive_cell *values;
	uint64_t version = 0;
	size_t n_values;

	hive_number(hive, key, "", "Version", &version);
	n_values = hive_values(hive, hive_find(hive, key, "Count"), &list, &values);
	for (size_t i = 0; i < n_values && i < VALUE_LIMIT; i++) {
		char *name = hive_value_name(hive, values[i], &one);
		struct start_count count;
		const uint8_t *data;
		size_t length;
		uint32_t type;

		if (name && hive_value_data(hive, values[i], &one, &type, &data, &length, NULL) &&
		    start_count_read(name, data, length, (unsigned)version, &one, &count) &&
		    count.last > 0)
			learn_trace(learn, &(struct trace){.source = TRACE_START_COUNT,
					       .person = person,
					       .path = count.name,
					       .count = count.count,
					       .last = count.last});
		arena_free(&one);
	}
	arena_free(&list);
}

void learn_start_counts(struct learn *learn, const struct hive *hive, size_t person)
{
	hive_cell list = hive_find(hive, hive_root(hive), KEY_START_COUNTS), *keys;
	struct arena arena = {0};
	size_t n_keys = 0;

	if (list != HIVE_NO_CELL)
		n_keys = hive_subkeys(hive, list, &arena, &keys);
	for (size_t i = 0; i < n_keys && i < 64; i++)
		if (hive_find(hive, keys[i], "Count") != HIVE_NO_CELL)
			read_counts(learn, hive, keys[i], person);
	arena_free(&arena);
}

static size_t person_of_sid(const struct old_system *system, const char *sid)
{
	for (size_t i = 0; i < system->n_persons; i++)
		if (utf_equal_fold(system->persons[i].sid, sid))
			return i;
	return SIZE_MAX;
}

static void read_activity(struct learn *learn, hive_cell key, size_t person)
{
	struct arena list = {0}, one = {0};
	hive_cell *values;
	size_t n_values = hive_values(learn->config, key, &list, &values);

	for (size_t i = 0; i < n_values && i < VALUE_LIMIT; i++) {
		char *name = hive_value_name(learn->config, values[i], &one);
		const uint8_t *data;
		size_t length;
		uint32_t type;

		if (name &&
		    hive_value_data(learn->config, values[i], &one, &type, &data, &length, NULL) &&
		    type == HIVE_BINARY && length >= 8 && (int64_t)get_u64(data) > 0)
			learn_trace(learn, &(struct trace){.source = TRACE_ACTIVITY,
					       .person = person,
					       .path = name,
					       .last = (int64_t)get_u64(data)});
		arena_free(&one);
	}
	arena_free(&list);
}

void learn_activity(struct learn *learn)
{
	static const char *const paths[] = {"Services\\bam\\State\\UserSettings",
	    "Services\\bam\\UserSettings", "Services\\dam\\State\\UserSettings",
	    "Services\\dam\\UserSettings"};

	for (size_t p = 0; p < sizeof(paths) / sizeof(paths[0]); p++) {
		struct arena arena = {0};
		hive_cell list = HIVE_NO_CELL, *keys;
		size_t n_keys = 0;

		if (learn->config && learn->control != HIVE_NO_CELL)
			list = hive_find(learn->config, learn->control, paths[p]);
		if (list != HIVE_NO_CELL)
			n_keys = hive_subkeys(learn->config, list, &arena, &keys);
		for (size_t i = 0; i < n_keys && i < 5000; i++) {
			char *sid = hive_key_name(learn->config, keys[i], &arena);

			if (sid)
				read_activity(learn, keys[i], person_of_sid(learn->system, sid));
		}
		arena_free(&arena);
	}
}

/* "LongAcre.RainNotes_1.2.0.0_x64__5eed": name, version, processor, resources, maker. */
static bool store_program(struct learn *learn, const char *full, struct program *program)
{
	const char *version = strchr(full, '_'), *rest, *maker = strrchr(full, '_');

	if (!version || !(rest = strchr(version + 1, '_')) || maker <= rest || strlen(full) > 300)
		return false;
	program->name = learn_text(learn, "%.*s", (int)(version - full), full);
	program->version = learn_text(learn, "%.*s", (int)(rest - version - 1), version + 1);
	program->family = learn_text(learn, "%s%s", program->name, maker);
	program->key = learn_text(learn, "%s", full);
	program->is_32_bit = utf_starts_fold(rest, "_x86");
	/* Shared parts have no name of their own in a menu: frameworks and languages. */
	program->is_component = maker - rest > 1 &&
				memchr(rest + 1, '_', (size_t)(maker - rest - 1)) &&
				maker[-1] != '_' && maker[-1] != '~';
	return true;
}

/* "C:\...\AppxManifest.xml" of the package's folder; a bundle's manifest lies elsewhere. */
static const char *package_folder(struct learn *learn, hive_cell key)
{
	char *path = learn_hive_text(learn, learn->software, key, "", "Path");
	const char *last = path ? strrchr(path, '\\') : NULL;

	return last && utf_equal_fold(last, "\\AppxManifest.xml")
		   ? learn_text(learn, "%.*s", (int)(last - path), path)
		   : NULL;
}

/*
 * One of the same family that is listed: the bundle that a package came in, or what the old system
 * brought along and was brought up to date since.
 */
static struct program *listed_app(const struct learn *learn, const struct program *app)
{
	for (size_t i = 0; i < learn->n_programs; i++) {
		struct program *other = &learn->programs[i];

		if (other->origin == PROGRAM_STORE_APP &&
		    (utf_equal_fold(other->key, app->key) ||
			(!app->is_component && !other->is_component &&
			    utf_equal_fold(other->family, app->family))))
			return other;
	}
	return NULL;
}

static void keep_app(struct learn *learn, const struct program *app)
{
	struct program *other = listed_app(learn, app);

	if (!other) {
		learn_program(learn, app);
	} else if (app->place) {
		bool is_inbox = other->is_inbox;

		*other = *app;
		other->is_inbox = is_inbox;
	}
}

void learn_store_apps(struct learn *learn)
{
	static const char *const lists[] = {
	    KEY_STORE "InboxApplications", KEY_STORE "Applications"};

	for (size_t l = 0; learn->software && l < sizeof(lists) / sizeof(lists[0]); l++) {
		struct arena arena = {0};
		hive_cell list = hive_find(learn->software, hive_root(learn->software), lists[l]);
		hive_cell *keys;
		size_t n_keys = 0;

		if (list != HIVE_NO_CELL)
			n_keys = hive_subkeys(learn->software, list, &arena, &keys);
		for (size_t i = 0; i < n_keys && i < STORE_APP_LIMIT; i++) {
			char *full = hive_key_name(learn->software, keys[i], &arena);
			struct program program = {.person = SIZE_MAX,
			    .origin = PROGRAM_STORE_APP,
			    .name_from = NAME_FROM_PACKAGE,
			    .is_inbox = l == 0,
			    .publisher = "",
			    .installed = "",
			    .folder = "",
			    .web_page = ""};

			program.place = package_folder(learn, keys[i]);
			if (full && store_program(learn, full, &program))
				keep_app(learn, &program);
		}
		arena_free(&arena);
	}
}
