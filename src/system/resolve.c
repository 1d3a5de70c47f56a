/* From an old path to a place in a catalogue, through letters, volume names, junctions and links.
 */
#include "system/inner.h"

#include "base/utf.h"
#include "ntfs/reparse.h"

#include <string.h>

#define HOP_LIMIT 32 /* links on one way: more is a loop */

/* A walk in progress. The arena is the caller's. */
struct walk {
	const struct survey *survey;
	const struct old_system *system;
	struct arena *arena;
	const char *rest; /* names still to go */
	struct resolved result;
	unsigned hops;
};

const struct catalogue *survey_catalogue(const struct survey *survey, size_t volume)
{
	if (volume >= survey->n_volumes || !survey->volumes[volume].volume)
		return NULL;
	return survey->volumes[volume].volume->catalogue;
}

static bool is_separator(char c)
{
	return c == '\\' || c == '/';
}

const char *path_without_prefix(const char *path)
{
	if (strncmp(path, "\\\\?\\", 4) == 0 || strncmp(path, "\\??\\", 4) == 0 ||
	    strncmp(path, "\\\\.\\", 4) == 0)
		return path + 4;
	return path;
}

bool path_is_share(const char *path)
{
	const char *literal = path_without_prefix(path);

	if (utf_starts_fold(literal, "UNC\\"))
		return true;
	return literal == path && is_separator(path[0]) && is_separator(path[1]);
}

/* The volume that "Volume{guid}" names: as the old system noted it, else a partition's own GUID. */
static size_t volume_by_guid(const struct walk *walk, const struct guid *guid)
{
	for (size_t i = 0; i < walk->system->n_mounts; i++)
		if (guid_equal(&walk->system->mounts[i].guid, guid))
			return walk->system->mounts[i].volume;
	for (size_t i = 0; i < walk->survey->n_volumes; i++) {
		const struct partition *partition = walk->survey->volumes[i].partition;

		if (!guid_is_zero(&partition->id) && guid_equal(&partition->id, guid))
			return i;
	}
	return SIZE_MAX;
}

static size_t volume_by_letter(const struct walk *walk, char letter)
{
	for (size_t i = 0; i < walk->system->n_letters; i++)
		if (walk->system->letters[i].letter == letter)
			return walk->system->letters[i].volume;
	return SIZE_MAX;
}

static char upper(char c)
{
	return c >= 'a' && c <= 'z' ? (char)(c - 'a' + 'A') : c;
}

static bool is_letter(char c)
{
	return upper(c) >= 'A' && upper(c) <= 'Z';
}

/* Where the folder is that stands for the root of the system's own drive, or of another volume. */
static uint32_t top_of(const struct walk *walk, size_t volume)
{
	return volume == walk->system->volume ? walk->system->container : NODE_ROOT;
}

/* Begins at the start of an absolute path. False when it does not lead onto a readable volume. */
static bool start(struct walk *walk, const char *path)
{
	const char *literal = path_without_prefix(path);
	size_t volume = SIZE_MAX;
	uint32_t top = NODE_ROOT;
	struct guid guid;

	walk->result.path = arena_strdup(walk->arena, path);
	walk->result.at = NO_LOCATION;
	walk->result.reached = REACHED_NOT;
	if (path_is_share(path)) {
		walk->result.reached = REACHED_SHARE;
		return false;
	}
	if (is_letter(literal[0]) && literal[1] == ':') {
		volume = volume_by_letter(walk, upper(literal[0]));
		if (upper(literal[0]) == walk->system->letter) {
			volume = walk->system->volume;
			top = walk->system->container;
		}
		literal += 2;
	} else if (utf_starts_fold(literal, "Volume{") && strlen(literal) >= 44) {
		char text[39];

		memcpy(text, literal + 6, 38);
		text[38] = '\0';
		if (guid_from_text(text, &guid))
			volume = volume_by_guid(walk, &guid);
		literal += 44;
	} else if (is_separator(literal[0])) {
		volume = walk->system->volume;
		top = walk->system->container;
	} else {
		return false;
	}
	walk->result.at.volume = volume;
	if (volume == SIZE_MAX) {
		walk->result.reached = REACHED_DRIVE;
		return false;
	}
	if (!survey_catalogue(walk->survey, volume)) {
		walk->result.reached = REACHED_UNREAD;
		return false;
	}
	walk->result.at.node = top;
	walk->rest = literal;
	return true;
}

/* Goes on at the target of the link `node`, found in the folder walk->result.at. */
static bool follow(struct walk *walk, const struct catalogue *catalogue, uint32_t node)
{
	bool relative = false;
	char *target = reparse_target(catalogue, node, walk->arena, &relative);
	char *path;

	walk->result.by_link = true;
	if (!target || ++walk->hops > HOP_LIMIT)
		return false;
	path = arena_printf(walk->arena, "%s\\%s", target, walk->rest);
	if (!path)
		return false;
	if (!relative)
		return start(walk, path);
	if (is_separator(path[0]))
		walk->result.at.node = top_of(walk, walk->result.at.volume);
	walk->rest = path;
	return true;
}

/* The folder above, for ".." in a relative link. */
static uint32_t parent_of(const struct catalogue *catalogue, uint32_t node)
{
	const struct node *record = catalogue_node(catalogue, node);

	if (!record || record->n_entries == 0)
		return NONE;
	return catalogue->entries[record->first_entry].parent;
}

/* One step down. False when the way ends here. */
static bool step(struct walk *walk, const char *name)
{
	const struct catalogue *catalogue = survey_catalogue(walk->survey, walk->result.at.volume);
	const struct node *node;
	uint32_t entry, below;

	if (strcmp(name, "") == 0 || strcmp(name, ".") == 0)
		return true;
	if (strcmp(name, "..") == 0) {
		/* Above the top of the old system's drive there is nothing, also in a copy. */
		if (walk->result.at.node == top_of(walk, walk->result.at.volume))
			return true;
		walk->result.at.node = parent_of(catalogue, walk->result.at.node);
		return walk->result.at.node != NONE;
	}
	entry = catalogue_child(catalogue, walk->result.at.node, name);
	if (entry == NONE)
		return false;
	below = catalogue->entries[entry].node;
	node = catalogue_node(catalogue, below);
	if (!node)
		return false;
	if (reparse_kind(node->reparse_tag) == REPARSE_KIND_LINK)
		return follow(walk, catalogue, below);
	walk->result.at.node = below;
	return true;
}

static bool is_folder(const struct survey *survey, struct location at)
{
	const struct node *node = catalogue_node(survey_catalogue(survey, at.volume), at.node);

	return node && node->flags & NODE_FOLDER;
}

struct resolved resolve_path(const struct survey *survey, const struct old_system *system,
    const char *path, struct arena *arena)
{
	struct walk walk = {.survey = survey, .system = system, .arena = arena};

	if (!start(&walk, path))
		return walk.result;
	while (*walk.rest) {
		size_t length = strcspn(walk.rest, "\\/");
		char *name = arena_text(arena, walk.rest, length);

		walk.rest += length;
		while (is_separator(*walk.rest))
			walk.rest++;
		if (!name || !step(&walk, name)) {
			walk.result.at.node = NONE;
			return walk.result;
		}
	}
	if (is_folder(survey, walk.result.at))
		walk.result.reached = REACHED;
	else
		walk.result.at.node = NONE;
	return walk.result;
}

struct location survey_resolve(
    const struct survey *survey, const struct old_system *system, const char *path)
{
	struct arena arena = {0};
	struct location at = resolve_path(survey, system, path, &arena).at;

	arena_free(&arena);
	return at;
}
