/*
 * Every Windows installation on every volume.
 *
 * Found by structure, not by name: a folder with System32\config that holds the machine's hives. So
 * WINNT, a second Windows on another volume, Windows.old and copies inside any folder are found
 * too.
 */
#include "system/inner.h"

#include "base/utf.h"

#include <stdlib.h>
#include <string.h>

#define SYSTEM_LIMIT 64

struct finder {
	struct survey *survey;
	size_t capacity;
	bool copies; /* which are looked for now: first installations, then copies in folders */
	bool is_full;
};

/*
 * Where copies lie that were never anybody's system: the component store, setup's work folders,
 * layers of containers (common practice, no source).
 */
static bool is_excluded(const char *path)
{
	static const char *const names[] = {
	    "\\WinSxS\\",
	    "\\$WINDOWS.~",
	    "\\$Recycle.Bin\\",
	    "\\RECYCLER\\",
	    "\\$WinREAgent\\",
	    "\\System Volume Information\\",
	    "\\servicing\\LCU\\",
	    "\\Microsoft\\Windows\\Containers\\",
	    "\\Docker\\windowsfilter\\",
	};

	for (const char *at = strchr(path, '\\'); at; at = strchr(at + 1, '\\'))
		for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++)
			if (utf_starts_fold(at, names[i]))
				return true;
	return false;
}

static bool has_file(const struct catalogue *catalogue, uint32_t folder, const char *name)
{
	uint32_t entry = catalogue_child(catalogue, folder, name);
	const struct node *node;

	if (entry == NONE)
		return false;
	node = catalogue_node(catalogue, catalogue->entries[entry].node);
	return node && !(node->flags & NODE_FOLDER);
}

/*
 * Is `system32` the heart of an installation? Without any hive it still is one when the kernel lies
 * there: then persons are found by their folders.
 */
static bool is_heart(const struct catalogue *catalogue, uint32_t system32)
{
	uint32_t entry = catalogue_child(catalogue, system32, "config");
	uint32_t config;

	if (entry == NONE)
		return false;
	config = catalogue->entries[entry].node;
	return has_file(catalogue, config, "SYSTEM") || has_file(catalogue, config, "SOFTWARE") ||
	       has_file(catalogue, system32, "ntoskrnl.exe");
}

static bool add_system(
    struct finder *finder, size_t volume, uint32_t windows, uint32_t container, const char *path)
{
	struct survey *survey = finder->survey;
	struct old_system *system;

	finder->is_full = survey->n_systems == SYSTEM_LIMIT;
	if (finder->is_full)
		return true; /* find_systems() says so */
	if (!array_reserve(&survey->systems, &finder->capacity, survey->n_systems + 1,
		sizeof(*survey->systems)))
		return false;
	system = &survey->systems[survey->n_systems++];
	memset(system, 0, sizeof(*system));
	system->volume = volume;
	system->windows = windows;
	system->container = container;
	system->letter = 'C';
	system->is_copy = container != NODE_ROOT;
	system->windows_path = arena_strdup(&survey->arena, path);
	system->product = system->edition = system->version = system->build = "";
	system->computer = system->zone_name = "";
	system->public_profile = system->profiles = system->default_profile = NO_LOCATION;
	return system->windows_path != NULL;
}

/* Looks at one name; adds an installation when it is the heart of one. */
static bool look_at(struct finder *finder, size_t volume, const struct catalogue *catalogue,
    const struct entry *entry)
{
	const struct node *windows, *system32 = catalogue_node(catalogue, entry->node);
	struct buf path = {0};
	uint32_t container;
	bool fine = true;

	/* A folder has one name: more are damage, and not worth another look. */
	if (!utf_equal_fold(catalogue_name(catalogue, entry->name), "System32") || !system32 ||
	    entry != &catalogue->entries[system32->first_entry] ||
	    !is_heart(catalogue, entry->node))
		return true;
	windows = entry->parent == NONE ? NULL : catalogue_node(catalogue, entry->parent);
	if (!windows || windows->n_entries == 0 || entry->parent == NODE_ROOT)
		return true;
	container = catalogue->entries[windows->first_entry].parent;
	if (container == NONE || (container != NODE_ROOT) != finder->copies)
		return true;
	catalogue_node_path(catalogue, entry->parent, &path);
	if (path.failed)
		fine = false;
	else if (!is_excluded(buf_text(&path)))
		fine = add_system(finder, volume, entry->parent, container, buf_text(&path));
	buf_free(&path);
	return fine;
}

/* Installations before copies, otherwise as found: so that the real one gets the plain name. */
static int by_kind(const void *a, const void *b)
{
	const struct old_system *one = a, *two = b;

	if (one->is_copy != two->is_copy)
		return one->is_copy ? 1 : -1;
	if (one->volume != two->volume)
		return one->volume < two->volume ? -1 : 1;
	return one->windows < two->windows ? -1 : one->windows > two->windows;
}

static bool look_everywhere(struct finder *finder)
{
	bool fine = true;

	for (size_t v = 0; v < finder->survey->n_volumes && fine; v++) {
		const struct catalogue *catalogue = survey_catalogue(finder->survey, v);
		size_t n_entries = catalogue ? catalogue->n_entries : 0;

		for (size_t i = 0; i < n_entries && fine && !finder->is_full; i++)
			fine = look_at(finder, v, catalogue, &catalogue->entries[i]);
	}
	return fine;
}

bool find_systems(struct survey *survey, struct error *error)
{
	struct finder finder = {.survey = survey};
	bool fine;

	fine = look_everywhere(&finder);
	finder.copies = true;
	fine = fine && look_everywhere(&finder);
	if (finder.is_full)
		findings_add(survey->findings, WEIGHT_CAUTION, "too-many-systems", "",
		    "Look for the folders of the others among the files outside of profiles.",
		    "More than %u Windows installations were found, counting copies in folders. "
		    "The others are not looked into.",
		    SYSTEM_LIMIT);
	if (!fine)
		return error_no_memory(error);
	if (survey->n_systems > 1)
		qsort(survey->systems, survey->n_systems, sizeof(*survey->systems), by_kind);
	return true;
}
