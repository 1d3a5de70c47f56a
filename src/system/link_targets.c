/* Where links lead: see link_targets.h. */
#include "system/link_targets.h"

#include "base/text.h"
#include "base/utf.h"
#include "system/inner.h"

#include <stdlib.h>
#include <string.h>

#define PLACES_LIMIT 200u
#define SEEN_LIMIT 20000u

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

void link_targets_add(struct link_targets *targets, const struct survey *survey,
    const struct old_system *system, size_t person, const struct shell_link *link, int64_t used)
{
	size_t length = root_length(link->target);
	struct arena arena = {0};
	struct resolved resolved;
	struct far_place *place;
	char *root;
	bool is_first;

	if (person >= system->n_persons || length == 0 || strlen(link->target) > TEXT_LIMIT ||
	    strchr(link->target, '%') || is_program(link->target))
		return;
	resolved = resolve_path(survey, system, link->target, &arena);
	root = arena_text(&arena, link->target, length);
	if (root && (resolved.reached == REACHED_DRIVE || resolved.reached == REACHED_SHARE)) {
		is_first = !is_seen(targets, link->target, person);
		place = find_place(targets, person, root, resolved.reached == REACHED_SHARE);
		if (place && is_first)
			place->count++;
		if (place && (!place->example || used > place->last)) {
			place->example = arena_strdup(&targets->arena, link->target);
			place->last = used;
			targets->failed = targets->failed || !place->example;
		}
	}
	arena_free(&arena);
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
	arena_free(&targets->arena);
	*targets = (struct link_targets){0};
}
