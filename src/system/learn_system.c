/* One old system: loads the machine's hives and has everything learned from them. */
#include "system/inner.h"
#include "system/learn_devices.h"
#include "system/learn_system.h"

#include "base/utf.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *learn_text(struct learn *learn, const char *format, ...)
{
	va_list arguments;
	char *text = NULL;
	int length;

	va_start(arguments, format);
	length = vsnprintf(NULL, 0, format, arguments);
	va_end(arguments);
	if (length >= 0)
		text = arena_alloc(&learn->survey->arena, (size_t)length + 1);
	if (!text) {
		learn->no_memory = true;
		return "";
	}
	va_start(arguments, format);
	vsnprintf(text, (size_t)length + 1, format, arguments);
	va_end(arguments);
	return text;
}

char *learn_hive_text(
    struct learn *learn, const struct hive *hive, hive_cell key, const char *path, const char *name)
{
	struct arena arena = {0};
	char *text = hive_text(hive, key, path, name, &arena, NULL), *kept = NULL;

	if (text && strlen(text) <= TEXT_LIMIT) {
		kept = arena_strdup(&learn->survey->arena, text);
		learn->no_memory = learn->no_memory || !kept;
	}
	arena_free(&arena);
	return kept;
}

static bool system_key_taken(const void *context, const char *key)
{
	const struct learn *learn = context;

	/* "drives" is the archive's folder for what lies outside every profile. */
	if (utf_equal_fold(key, "drives"))
		return true;
	for (const struct old_system *other = learn->survey->systems; other < learn->system;
	     other++)
		if (utf_equal_fold(other->key, key))
			return true;
	return false;
}

static void name_system(struct learn *learn)
{
	struct arena *arena = &learn->survey->arena;
	const char *first = learn->system->key;

	learn->system->key = key_unique(
	    arena, key_make(arena, learn->system->computer, "PC"), system_key_taken, learn);
	findings_rename(learn->findings, first, learn->system->key);
}

/* The name is needed for findings about the hives that tell it: read it first, silently. */
static void name_before_findings(struct learn *learn)
{
	const struct catalogue *catalogue = survey_catalogue(learn->survey, learn->system->volume);
	struct buf path = {0};

	catalogue_node_path(catalogue, learn->system->windows, &path);
	learn->system->key = learn_text(learn, "%s of %s", buf_text(&path),
	    survey_volume_words(learn->survey, learn->system->volume, &learn->survey->arena));
	buf_free(&path);
}

/* Copies what grew into the arena, and frees it. NULL and 0 when there is nothing or no memory. */
static void *keep(struct learn *learn, void *items, size_t *count, size_t size)
{
	void *kept = NULL;

	if (*count > 0)
		kept = arena_copy(&learn->survey->arena, items, *count * size);
	learn->no_memory = learn->no_memory || (*count > 0 && !kept);
	if (!kept)
		*count = 0;
	free(items);
	return kept;
}

static void keep_programs(struct learn *learn)
{
	struct old_system *system = learn->system;

	system->n_programs = learn->n_programs;
	system->programs =
	    keep(learn, learn->programs, &system->n_programs, sizeof(*learn->programs));
	system->n_traces = learn->n_traces;
	system->traces = keep(learn, learn->traces, &system->n_traces, sizeof(*learn->traces));
	system->n_openers = learn->n_openers;
	system->openers = keep(learn, learn->openers, &system->n_openers, sizeof(*learn->openers));
	system->n_recents = learn->n_recents;
	system->recents = keep(learn, learn->recents, &system->n_recents, sizeof(*learn->recents));
	if (!keep_things(learn))
		learn->no_memory = true;
	free(learn->things);
	system->n_licences = learn->n_licences;
	system->licences =
	    keep(learn, learn->licences, &system->n_licences, sizeof(*learn->licences));
}

static void tell_later(struct learn *learn)
{
	for (size_t i = 0; i < learn->later.count; i++) {
		const struct finding *finding = &learn->later.items[i];

		findings_add(learn->findings, finding->weight, finding->code, finding->subject,
		    finding->advice, "%s", finding->sentence);
	}
	learn->no_memory = learn->no_memory || learn->later.incomplete;
	findings_free(&learn->later);
}

bool learn_system(struct survey *survey, struct old_system *system, struct findings *findings)
{
	struct learn learn = {
	    .survey = survey, .system = system, .findings = findings, .control = HIVE_NO_CELL};

	findings_init(&learn.later);
	name_before_findings(&learn);
	learn.config = load_machine_hive(&learn, "SYSTEM", "settings of the machine (SYSTEM)");
	learn.software =
	    load_machine_hive(&learn, "SOFTWARE", "settings of the programs (SOFTWARE)");
	learn.accounts = load_machine_hive(&learn, "SAM", "list of accounts (SAM)");
	learn_identity(&learn);
	name_system(&learn);
	learn_licence(&learn);
	learn_letters(&learn);
	learn_persons(&learn);
	if (learn.software) {
		learn_programs(&learn, learn.software, "", SIZE_MAX);
		learn_licence_values(&learn, learn.software, SIZE_MAX);
	}
	learn_store_apps(&learn);
	learn_activity(&learn);
	learn_ties(&learn);
	learn_machine_devices(&learn);
	learn_state(&learn);
	tell_later(&learn);
	keep_programs(&learn);
	hive_close(learn.config);
	hive_close(learn.software);
	hive_close(learn.accounts);
	environment_free(&learn.machine);
	return !learn.no_memory;
}
