/*
 * Where the old system keeps copies of its hives, best first.
 *
 * The registry's backup folder (RegBack, Vista and later; from Windows 10 1803 on its files are
 * empty). Restore points of XP: "System Volume Information\\_restore{GUID}\\RPn\\snapshot", with
 * the names _REGISTRY_MACHINE_SYSTEM and _REGISTRY_USER_NTUSER_SID (Microsoft, article 307545).
 * What a feature update leaves of the system before it: Windows.old. The hives as setup made them:
 * repair, and the ending .SAV; the twin of SYSTEM in Windows 2000: SYSTEM.ALT (Microsoft, "Registry
 * Hives"). The ending .MAN of a mandatory profile (Microsoft, "Mandatory user profiles").
 */
#include "system/inner.h"

#include "base/utf.h"

#include <stdlib.h>
#include <string.h>

#define POINTS_MAX 16u /* of the newest restore points */
#define POINTS_LOOKED 4096u

struct search {
	struct learn *learn;
	const struct catalogue *catalogue;
	size_t volume;
	struct hive_copy *copies;
	size_t count;
};

static void add(struct search *search, uint32_t folder, const char *name)
{
	uint32_t entry = folder == NONE ? NONE : catalogue_child(search->catalogue, folder, name);

	if (entry == NONE || search->count == HIVE_COPIES_MAX)
		return;
	search->copies[search->count++] = (struct hive_copy){search->volume, folder, name};
}

static uint32_t below(const struct search *search, uint32_t folder, const char *path)
{
	return folder == NONE ? NONE : catalogue_lookup(search->catalogue, folder, path);
}

/* --- restore points --------------------------------------------------------------------------- */

struct point {
	uint64_t number;
	uint32_t folder;
};

struct points {
	struct point items[POINTS_MAX]; /* newest first */
	size_t count;
};

/* "RP12": 12; 0 for other names. */
static uint64_t point_number(const char *name)
{
	if (!utf_starts_fold(name, "RP") || strlen(name) > 12 || !name[2] ||
	    strspn(name + 2, "0123456789") != strlen(name + 2))
		return 0;
	return strtoull(name + 2, NULL, 10);
}

static void keep_newest(struct points *points, struct point point)
{
	size_t at = points->count;

	while (at > 0 && points->items[at - 1].number < point.number)
		at--;
	if (at == POINTS_MAX)
		return;
	if (points->count < POINTS_MAX)
		points->count++;
	memmove(&points->items[at + 1], &points->items[at],
	    (points->count - 1 - at) * sizeof(points->items[0]));
	points->items[at] = point;
}

static void find_points(const struct search *search, uint32_t folder, struct points *points)
{
	const struct catalogue *catalogue = search->catalogue;
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, folder, &children);

	for (size_t i = 0; i < count && i < POINTS_LOOKED; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		uint64_t number = point_number(catalogue_name(catalogue, entry->name));
		uint32_t snapshot = number == 0 ? NONE : below(search, entry->node, "snapshot");

		if (snapshot != NONE)
			keep_newest(points, (struct point){number, snapshot});
	}
}

static void add_restore_points(struct search *search, const char *name)
{
	const struct catalogue *catalogue = search->catalogue;
	uint32_t folder = below(search, NODE_ROOT, "System Volume Information");
	struct points points = {0};
	const uint32_t *children;
	size_t count = folder == NONE ? 0 : catalogue_children(catalogue, folder, &children);

	for (size_t i = 0; i < count && i < POINTS_LOOKED; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];

		if (utf_starts_fold(catalogue_name(catalogue, entry->name), "_restore{"))
			find_points(search, entry->node, &points);
	}
	for (size_t i = 0; i < points.count; i++)
		add(search, points.items[i].folder, name);
}

/* --- the system before ------------------------------------------------------------------------ */

/* The same path in Windows.old, Windows.old.000...: there only if this is not such a copy itself.
 */
static void add_before_update(struct search *search, const char *path, const char *name)
{
	const struct catalogue *catalogue = search->catalogue;
	const uint32_t *children;
	size_t count;

	if (search->learn->system->is_copy)
		return;
	count = catalogue_children(catalogue, search->learn->system->container, &children);
	for (size_t i = 0; i < count; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];

		if (utf_starts_fold(catalogue_name(catalogue, entry->name), "Windows.old"))
			add(search, below(search, entry->node, path), name);
	}
}

/* --- both kinds of hives ---------------------------------------------------------------------- */

static struct search begin(struct learn *learn, size_t volume, struct hive_copy *copies)
{
	return (struct search){.learn = learn,
	    .catalogue = survey_catalogue(learn->survey, volume),
	    .volume = volume,
	    .copies = copies};
}

size_t hive_copies_of_machine(
    struct learn *learn, const char *name, struct hive_copy copies[HIVE_COPIES_MAX])
{
	const struct old_system *system = learn->system;
	struct search search = begin(learn, system->volume, copies);
	const char *windows = strrchr(system->windows_path, '\\');
	uint32_t config;

	if (!search.catalogue)
		return 0;
	config = below(&search, system->windows, "System32\\config");
	add(&search, below(&search, config, "RegBack"), name);
	if (strcmp(name, "SYSTEM") == 0)
		add(&search, config, "SYSTEM.ALT");
	if (!system->is_copy)
		add_restore_points(&search, learn_text(learn, "_REGISTRY_MACHINE_%s", name));
	add_before_update(&search,
	    learn_text(learn, "%s\\System32\\config", windows ? windows + 1 : "Windows"), name);
	add(&search, below(&search, system->windows, "repair"), name);
	add(&search, below(&search, config, "repair"), name);
	add(&search, config, learn_text(learn, "%s.SAV", name));
	return search.count;
}

size_t hive_copies_of_person(
    struct learn *learn, const struct person *person, struct hive_copy copies[HIVE_COPIES_MAX])
{
	const struct old_system *system = learn->system;
	struct search search = begin(learn, person->profile.volume, copies);
	size_t count;

	if (!search.catalogue)
		return 0;
	add(&search, person->profile.node, "NTUSER.MAN");
	count = search.count;
	/* The others lie on the old system's own volume. */
	search = begin(learn, system->volume, copies);
	search.count = count;
	if (!search.catalogue)
		return count;
	if (!system->is_copy && *person->sid)
		add_restore_points(
		    &search, learn_text(learn, "_REGISTRY_USER_NTUSER_%s", person->sid));
	if (strlen(person->path) > 3 && person->path[1] == ':' &&
	    utf_upcase((uint8_t)person->path[0]) == (uint32_t)(uint8_t)system->letter)
		add_before_update(&search, person->path + 3, "NTUSER.DAT");
	return search.count;
}
