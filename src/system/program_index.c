/* Known programs by number and by name: see program_index.h. */
#include "system/program_index.h"

#include "base/utf.h"
#include "system/inner.h"
#include "system/jump_list.h"
#include "system/program_paths.h"

#include <stdlib.h>
#include <string.h>

#define KNOWN_LIMIT 60000u
#define FOLDER_LIMIT 4000u /* names looked at in one folder */
#define FILES_LIMIT 400u   /* programs of one program's folder */
#define DEPTH_LIMIT 2u

/* One path being added, in all its forms. */
struct adding {
	struct program_index *index;
	const char *path;
};

static void add_form(void *context, const char *form)
{
	struct adding *adding = context;
	struct program_index *index = adding->index;

	if (index->count >= KNOWN_LIMIT)
		return;
	if (!array_reserve(
		&index->items, &index->capacity, index->count + 1, sizeof(*index->items))) {
		index->failed = true;
		return;
	}
	index->items[index->count++] = (struct known_program){jump_list_number(form), adding->path};
}

/* `path` is copied. */
static void add_path(struct program_index *index, const struct old_system *system, const char *path)
{
	struct adding adding = {index, arena_strdup(&index->arena, path)};
	struct arena arena = {0};

	if (!adding.path)
		index->failed = true;
	else
		program_path_forms(system, path, &arena, add_form, &adding);
	arena_free(&arena);
}

/* An identity that stands for a path. */
static void add_identity(struct program_index *index, const char *identity, const char *path)
{
	struct adding adding = {index, arena_strdup(&index->arena, path)};

	if (!adding.path)
		index->failed = true;
	else
		add_form(&adding, identity);
}

/* The programs in a folder and, down to a depth, below. Returns how many more may be added. */
static unsigned add_folder(struct program_index *index, const struct old_system *system,
    const struct catalogue *catalogue, uint32_t folder, const char *path, unsigned depth,
    unsigned room)
{
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, folder, &children);

	for (size_t i = 0; i < count && i < FOLDER_LIMIT && room > 0; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const char *name = catalogue_name(catalogue, entry->name);
		const struct node *node = catalogue_node(catalogue, entry->node);
		bool is_folder = node && node->flags & NODE_FOLDER;
		char *below;

		if (!node || (is_folder ? depth == 0 || node->reparse_tag != 0
					: !path_has_ending(name, ".exe")))
			continue;
		below = arena_printf(&index->arena, "%s\\%s", path, name);
		if (!below) {
			index->failed = true;
			return 0;
		}
		if (is_folder) {
			room = add_folder(
			    index, system, catalogue, entry->node, below, depth - 1, room);
		} else {
			add_path(index, system, below);
			room--;
		}
	}
	return room;
}

static void add_program(struct program_index *index, const struct survey *survey,
    const struct old_system *system, const struct program *program)
{
	struct location at = program_own_folder(survey, system, program);
	size_t length;
	char *path;

	if (at.node == NONE)
		return;
	length = strlen(program->place);
	while (length > 0 && program->place[length - 1] == '\\')
		length--;
	path = arena_text(&index->arena, program->place, length);
	if (path)
		add_folder(index, system, survey_catalogue(survey, at.volume), at.node, path,
		    DEPTH_LIMIT, FILES_LIMIT);
	else
		index->failed = true;
}

static int by_number(const void *a, const void *b)
{
	const struct known_program *one = a, *two = b;

	return one->number < two->number ? -1 : one->number > two->number;
}

bool program_index_make(
    struct program_index *index, const struct survey *survey, const struct old_system *system)
{
	*index = (struct program_index){0};
	for (size_t i = 0; i < system->n_programs && !index->failed; i++)
		add_program(index, survey, system, &system->programs[i]);
	for (size_t i = 0; i < system->n_shortcuts && !index->failed; i++) {
		const struct shortcut *shortcut = &system->shortcuts[i];

		add_path(index, system, shortcut->target);
		if (*shortcut->identity)
			add_identity(index, shortcut->identity, shortcut->target);
	}
	for (size_t i = 0; i < system->n_traces && !index->failed; i++)
		add_path(index, system, system->traces[i].path);
	for (size_t i = 0; i < system->n_openers && !index->failed; i++)
		add_path(index, system, system->openers[i].program);
	if (index->count > 1)
		qsort(index->items, index->count, sizeof(*index->items), by_number);
	return !index->failed;
}

void program_index_free(struct program_index *index)
{
	free(index->items);
	arena_free(&index->arena);
	*index = (struct program_index){0};
}

const char *program_index_number(const struct program_index *index, uint64_t number)
{
	struct known_program key = {.number = number};
	const struct known_program *found =
	    index->count > 0
		? bsearch(&key, index->items, index->count, sizeof(*index->items), by_number)
		: NULL;

	return found ? found->path : NULL;
}

const char *program_index_name(const struct program_index *index, const char *name)
{
	const char *found = NULL;

	for (size_t i = 0; i < index->count; i++) {
		const char *path = index->items[i].path, *last = strrchr(path, '\\');

		if (!last || !utf_equal_fold(last + 1, name))
			continue;
		if (found && !utf_equal_fold(found, path))
			return NULL;
		found = path;
	}
	return found;
}
