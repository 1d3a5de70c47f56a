/* Where links lead: see link_targets.h. */
#include "system/link_targets.h"

#include "base/text.h"
#include "base/utf.h"
#include "system/inner.h"

#include <stdlib.h>
#include <string.h>

#define PLACES_LIMIT 200u
#define SEEN_LIMIT 20000u
#define OPENED_LIMIT 20000u

static bool is_program(const char *path)
{
	static const char *const endings[] = {".exe", ".com", ".bat", ".msc", ".cpl", ".dll"};
	size_t length = strlen(path);

	for (size_t i = 0; i < sizeof(endings) / sizeof(endings[0]); i++)
		if (length > 4 && utf_equal_fold(path + length - 4, endings[i]))
			return true;
	return false;
}

/* Bytes of the path's drive or share: "E:" or "\\server\share"; 0 for neither. */
static size_t root_length(const char *path)
{
	const char *server, *share;

	if (path[0] && path[1] == ':')
		return 2;
	if (strncmp(path, "\\\\", 2) != 0)
		return 0;
	server = strchr(path + 2, '\\');
	if (!server || server == path + 2)
		return 0;
	share = strchr(server + 1, '\\');
	return share ? (size_t)(share - path) : strlen(path);
}

/* Was this path counted? Of two with the same hash the second is not: a count is all that it costs.
 */
static bool is_seen(struct link_targets *targets, const char *path, size_t person)
{
	uint32_t hash = utf_hash_fold(path) ^ (uint32_t)person * 0x9E3779B1u;

	for (size_t i = 0; i < targets->n_seen; i++)
		if (targets->seen[i] == hash)
			return true;
	if (targets->n_seen >= SEEN_LIMIT)
		return true;
	if (!array_reserve(&targets->seen, &targets->seen_capacity, targets->n_seen + 1,
		sizeof(*targets->seen))) {
		targets->failed = true;
		return true;
	}
	targets->seen[targets->n_seen++] = hash;
	return false;
}

static struct far_place *find_place(
    struct link_targets *targets, size_t person, const char *root, bool is_share)
{
	for (size_t i = 0; i < targets->n_places; i++)
		if (targets->places[i].person == person &&
		    utf_equal_fold(targets->places[i].root, root))
			return &targets->places[i];
	if (targets->n_places >= PLACES_LIMIT)
		return NULL;
	if (!array_reserve(&targets->places, &targets->capacity, targets->n_places + 1,
		sizeof(*targets->places))) {
		targets->failed = true;
		return NULL;
	}
	targets->places[targets->n_places] =
	    (struct far_place){.person = person, .is_share = is_share};
	targets->places[targets->n_places].root = arena_strdup(&targets->arena, root);
	if (!targets->places[targets->n_places].root) {
		targets->failed = true;
		return NULL;
	}
	return &targets->places[targets->n_places++];
}

/* The file that the path leads to; no folder. */
static struct location find_file(const struct survey *survey, const struct old_system *system,
    const char *path, struct arena *arena)
{
	const char *name = strrchr(path, '\\');
	char *folder = name ? arena_text(arena, path, (size_t)(name - path) + 1) : NULL;
	struct resolved resolved;
	const struct catalogue *catalogue;
	const struct node *node;
	uint32_t entry;

	if (!folder)
		return NO_LOCATION;
	resolved = resolve_path(survey, system, folder, arena);
	catalogue = survey_catalogue(survey, resolved.at.volume);
	if (resolved.reached != REACHED || !catalogue)
		return NO_LOCATION;
	entry = catalogue_child(catalogue, resolved.at.node, name + 1);
	node = entry == NONE ? NULL : catalogue_node(catalogue, catalogue->entries[entry].node);
	if (!node || node->flags & NODE_FOLDER)
		return NO_LOCATION;
	return (struct location){resolved.at.volume, catalogue->entries[entry].node};
}

/* A file on an attached drive. */
static void add_opened(struct link_targets *targets, struct location at, size_t person, int64_t used)
{
	if (at.node == NONE || targets->n_opened >= OPENED_LIMIT)
		return;
	if (!array_reserve(&targets->opened, &targets->opened_capacity, targets->n_opened + 1,
		sizeof(*targets->opened))) {
		targets->failed = true;
		return;
	}
	targets->opened[targets->n_opened++] = (struct opened){person, at, used};
}

static void add_far(struct link_targets *targets, const char *path, size_t person,
    const char *root, bool is_share, int64_t used)
{
	bool is_first = !is_seen(targets, path, person);
	struct far_place *place = find_place(targets, person, root, is_share);

	if (!place)
		return;
	place->count += is_first;
	if (!place->example || used > place->last) {
		place->example = arena_strdup(&targets->arena, path);
		place->last = used;
		targets->failed = targets->failed || !place->example;
	}
}

void link_targets_add(struct link_targets *targets, const struct survey *survey,
    const struct old_system *system, size_t person, const char *path, int64_t used)
{
	size_t length = root_length(path);
	struct arena arena = {0};
	struct resolved resolved;
	char *root;

	if (person >= system->n_persons || length == 0 || strlen(path) > TEXT_LIMIT ||
	    strchr(path, '%') || is_program(path))
		return;
	resolved = resolve_path(survey, system, path, &arena);
	root = arena_text(&arena, path, length);
	if (root && (resolved.reached == REACHED_DRIVE || resolved.reached == REACHED_SHARE))
		add_far(targets, path, person, root, resolved.reached == REACHED_SHARE, used);
	else if (resolved.reached == REACHED_NOT)
		add_opened(targets, find_file(survey, system, path, &arena), person, used);
	arena_free(&arena);
}

bool link_targets_keep(
    const struct link_targets *targets, struct survey *survey, struct old_system *system)
{
	if (targets->n_opened == 0)
		return true;
	system->opened = arena_copy(
	    &survey->arena, targets->opened, targets->n_opened * sizeof(*targets->opened));
	system->n_opened = system->opened ? targets->n_opened : 0;
	return system->opened != NULL;
}

void link_targets_tell(const struct link_targets *targets, const struct survey *survey,
    const struct old_system *system)
{
	for (size_t i = 0; i < targets->n_places; i++) {
		const struct far_place *place = &targets->places[i];
		const struct person *person = &system->persons[place->person];
		struct filetime_text day = filetime_to_text(place->last);

		findings_add(survey->findings, WEIGHT_CAUTION,
		    place->is_share ? "used-on-share" : "used-on-missing-drive", person->key,
		    place->is_share
			? "Ask who keeps that share, and copy from there what is needed."
			: "Find that drive or stick, attach it and run again.",
		    "%s %s of %s that shortcuts and lists of what was last opened name %s on %s, "
		    "%s; the last, used on %.10s: %s.",
		    text_count(place->count).text, place->count == 1 ? "thing" : "things",
		    *person->account ? person->account : person->folder,
		    place->count == 1 ? "lies" : "lie", place->root,
		    place->is_share ? "a network share" : "which is not attached",
		    *day.text ? day.text : "a day not told", place->example);
	}
}

void link_targets_free(struct link_targets *targets)
{
	free(targets->places);
	free(targets->seen);
	free(targets->opened);
	arena_free(&targets->arena);
	*targets = (struct link_targets){0};
}
