/* Shortcuts to programs: see shortcuts.h. Where they lie: common practice, no source. */
#include "system/shortcuts.h"

#include "system/inner.h"
#include "system/program_paths.h"

#include <stdlib.h>
#include <string.h>

#define SHORTCUTS_LIMIT 10000u
#define MENU_DEPTH 4u

static struct location below(const struct survey *survey, struct location folder, const char *path)
{
	const struct catalogue *catalogue = survey_catalogue(survey, folder.volume);

	if (!catalogue || folder.node == NONE)
		return NO_LOCATION;
	return (struct location){folder.volume, catalogue_lookup(catalogue, folder.node, path)};
}

static void folders_of_person(const struct survey *survey, const struct old_system *system,
    size_t index, shortcut_folder *take, void *context)
{
	static const struct {
		const char *path;
		enum shortcut_kind kind;
		unsigned depth;
	} folders[] = {
	    {"AppData\\Roaming\\Microsoft\\Internet Explorer\\Quick Launch", SHORTCUT_PINNED, 2},
	    {"AppData\\Roaming\\Microsoft\\Windows\\Start Menu", SHORTCUT_MENU, MENU_DEPTH},
	    /* XP */
	    {"Application Data\\Microsoft\\Internet Explorer\\Quick Launch", SHORTCUT_PINNED, 2},
	    {"Start Menu", SHORTCUT_MENU, MENU_DEPTH}};
	const struct person *person = &system->persons[index];

	if (person->is_service)
		return;
	for (size_t i = 0; i < sizeof(folders) / sizeof(folders[0]); i++)
		take(context, below(survey, person->profile, folders[i].path), index,
		    folders[i].kind, folders[i].depth);
	for (size_t i = 0; i < person->n_places; i++)
		if (strcmp(person->places[i].role, "desktop") == 0)
			take(context, person->places[i].at, index, SHORTCUT_DESKTOP, 1);
}

void shortcut_folders(const struct survey *survey, const struct old_system *system,
    shortcut_folder *take, void *context)
{
	struct location root = {system->volume, system->container};

	for (size_t i = 0; i < system->n_persons; i++)
		folders_of_person(survey, system, i, take, context);
	for (size_t i = 0; i < system->n_shared; i++)
		if (strcmp(system->shared[i].role, "desktop") == 0)
			take(context, system->shared[i].at, SIZE_MAX, SHORTCUT_DESKTOP, 1);
	take(context, below(survey, root, "ProgramData\\Microsoft\\Windows\\Start Menu"), SIZE_MAX,
	    SHORTCUT_MENU, MENU_DEPTH);
	take(context, below(survey, system->public_profile, "Start Menu"), SIZE_MAX, SHORTCUT_MENU,
	    MENU_DEPTH);
}

void shortcuts_add(struct shortcuts *shortcuts, struct survey *survey, enum shortcut_kind kind,
    size_t person, struct location at, const struct shell_link *link)
{
	struct shortcut *shortcut;

	if (!path_has_ending(link->target, ".exe") || strlen(link->target) > TEXT_LIMIT ||
	    strlen(link->identity) > TEXT_LIMIT || shortcuts->count >= SHORTCUTS_LIMIT)
		return;
	if (!array_reserve(&shortcuts->items, &shortcuts->capacity, shortcuts->count + 1,
		sizeof(*shortcuts->items))) {
		shortcuts->failed = true;
		return;
	}
	shortcut = &shortcuts->items[shortcuts->count++];
	*shortcut = (struct shortcut){.kind = kind,
	    .person = person,
	    .at = at,
	    .target = arena_strdup(&survey->arena, link->target),
	    .identity = arena_strdup(&survey->arena, link->identity)};
	shortcuts->failed = shortcuts->failed || !shortcut->target || !shortcut->identity;
}

bool shortcuts_keep(struct shortcuts *shortcuts, struct survey *survey, struct old_system *system)
{
	bool good = !shortcuts->failed;

	if (good && shortcuts->count > 0) {
		system->shortcuts = arena_copy(
		    &survey->arena, shortcuts->items, shortcuts->count * sizeof(*shortcuts->items));
		good = system->shortcuts != NULL;
		system->n_shortcuts = good ? shortcuts->count : 0;
	}
	free(shortcuts->items);
	*shortcuts = (struct shortcuts){0};
	return good;
}
