/* Files of licences, and whose all licences are: see program_licences.h. */
#include "system/program_licences.h"

#include "base/utf.h"
#include "system/inner.h"
#include "system/program_paths.h"

#include <stdlib.h>
#include <string.h>

#define DEPTH_LIMIT 16u
#define NAMES_LIMIT 1000000u /* looked at, in all */
#define LICENCES_LIMIT 2000u
#define FILE_LIMIT 65536u /* bytes: no licence is longer */
#define TEXT_FILE_LIMIT 4096u

/* --- by name --- */

struct name_kind {
	const char *start;  /* "" any */
	const char *ending; /* "" any */
	uint64_t most;      /* bytes */
};

/* No "license.txt": that is nearly always an agreement, which every installer lays down. */
static const struct name_kind kinds[] = {
    {"", ".lic", FILE_LIMIT},
    {"", ".license", FILE_LIMIT},
    {"", ".licence", FILE_LIMIT},
    {"", ".key", 16384},
    {"regkey.", "", FILE_LIMIT},
    {"keyfile.", "", FILE_LIMIT},
    {"serial", ".txt", TEXT_FILE_LIMIT},
    {"serial", ".dat", FILE_LIMIT},
    {"serial", ".ini", FILE_LIMIT},
    {"license.", ".dat", FILE_LIMIT},
    {"licence.", ".dat", FILE_LIMIT},
    {"license.", ".ini", FILE_LIMIT},
    {"licence.", ".ini", FILE_LIMIT},
    {"license.", ".bin", FILE_LIMIT},
    {"licence.", ".bin", FILE_LIMIT},
    {"registration", ".txt", TEXT_FILE_LIMIT},
    {"registration", ".dat", FILE_LIMIT},
    {"activation", ".dat", FILE_LIMIT},
};

bool licence_file_is(const char *name, uint64_t size)
{
	if (size < 4)
		return false;
	for (size_t i = 0; i < sizeof(kinds) / sizeof(kinds[0]); i++)
		if (size <= kinds[i].most && utf_starts_fold(name, kinds[i].start) &&
		    path_has_ending(name, kinds[i].ending))
			return true;
	return false;
}

/* --- whose it is --- */

/* Is the program called like this folder or key, but for what follows (a version)? */
static bool is_called(const char *name, const char *word)
{
	size_t length = strlen(word);

	return utf_equal_fold(name, word) ||
	       (length >= 4 && utf_starts_fold(name, word) && name[length] == ' ');
}

static const char *last_part(const char *path, struct arena *arena)
{
	size_t length = strlen(path), start;

	while (length > 0 && path[length - 1] == '\\')
		length--;
	for (start = length; start > 0 && path[start - 1] != '\\'; start--)
		continue;
	return arena_text(arena, path + start, length - start);
}

static bool is_program_of(const struct program *program, const char *word, struct arena *arena)
{
	const char *folder = program->place ? last_part(program->place, arena) : NULL;

	return !program->is_component && !program->is_update && *word &&
	       (is_called(program->name, word) || (folder && utf_equal_fold(folder, word)));
}

/* The program that a part of the path names, the last part first; else the publisher's only one. */
static size_t program_of_path(const struct old_system *system, const char *path)
{
	struct arena arena = {0};
	char *text = arena_strdup(&arena, path), *cut;
	size_t found = SIZE_MAX, n_published = 0, published = SIZE_MAX;

	/* The last part is the value or file itself. */
	while (text && found == SIZE_MAX && (cut = strrchr(text, '\\')) != NULL) {
		const char *word;

		*cut = '\0';
		word = strrchr(text, '\\') ? strrchr(text, '\\') + 1 : text;
		for (size_t i = 0; i < system->n_programs && found == SIZE_MAX; i++) {
			const struct program *program = &system->programs[i];

			if (is_program_of(program, word, &arena)) {
				found = i;
			} else if (*word && utf_equal_fold(program->publisher, word) &&
				   !program->is_component && !program->is_update) {
				published = i;
				n_published++;
			}
		}
	}
	arena_free(&arena);
	return found != SIZE_MAX || n_published != 1 ? found : published;
}

/* --- looking for files --- */

struct search {
	struct survey *survey;
	struct old_system *system;
	struct program_licence *items;
	size_t count, capacity;
	size_t n_names;
	size_t program, person; /* whose folder it is; SIZE_MAX: told by the path */
	bool no_memory;
};

static bool is_kept(const struct search *search, const char *where)
{
	for (size_t i = 0; i < search->count; i++)
		if (!search->items[i].is_value && utf_equal_fold(search->items[i].where, where))
			return true;
	return false;
}

static void keep_file(struct search *search, uint32_t entry, size_t volume)
{
	const char *where = old_path_of_entry(search->survey, volume, entry);

	if (where && is_kept(search, where))
		return;
	if (where && array_reserve(&search->items, &search->capacity, search->count + 1,
			 sizeof(*search->items)))
		search->items[search->count++] = (struct program_licence){
		    .program = search->program != SIZE_MAX ? search->program
							   : program_of_path(search->system, where),
		    .person = search->person,
		    .where = where};
	else
		search->no_memory = true;
}

static void look_into(struct search *search, struct location folder, unsigned depth)
{
	const struct catalogue *catalogue = survey_catalogue(search->survey, folder.volume);
	const uint32_t *children;
	size_t count = catalogue && folder.node != NONE
			   ? catalogue_children(catalogue, folder.node, &children)
			   : 0;

	for (size_t i = 0; i < count && search->n_names < NAMES_LIMIT && !search->no_memory; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const char *name = catalogue_name(catalogue, entry->name);
		const struct node *node = catalogue_node(catalogue, entry->node);
		const struct stream *stream;

		search->n_names++;
		if (!node)
			continue;
		if (node->flags & NODE_FOLDER) {
			/* The old system's own, and store apps' boxes. */
			if (depth > 0 && !node->reparse_tag && !utf_equal_fold(name, "Microsoft") &&
			    !utf_equal_fold(name, "Packages"))
				look_into(search, (struct location){folder.volume, entry->node},
				    depth - 1);
			continue;
		}
		stream = catalogue_stream(catalogue, entry->node, "");
		if (stream && search->count < LICENCES_LIMIT && licence_file_is(name, stream->size))
			keep_file(search, children[i], folder.volume);
	}
}

static void look_for_files(struct search *search)
{
	static const char *const settings[] = {"AppData", "Application Data", "Local Settings"};
	const struct old_system *system = search->system;
	const struct catalogue *home = survey_catalogue(search->survey, system->volume);

	for (size_t i = 0; i < system->n_programs; i++) {
		struct location at =
		    program_own_folder(search->survey, system, &system->programs[i]);

		if (at.node == NONE || system->programs[i].is_component)
			continue;
		search->program = i;
		search->person = system->programs[i].person;
		look_into(search, at, DEPTH_LIMIT);
	}
	search->program = search->person = SIZE_MAX;
	look_into(search,
	    (struct location){
		system->volume, catalogue_lookup(home, system->container, "ProgramData")},
	    DEPTH_LIMIT);
	for (size_t p = 0; p < system->n_persons; p++) {
		struct location profile = system->persons[p].profile;
		const struct catalogue *catalogue =
		    survey_catalogue(search->survey, profile.volume);

		search->person = p;
		for (size_t i = 0;
		     i < 3 && catalogue && profile.node != NONE && !system->persons[p].is_service;
		     i++)
			look_into(search,
			    (struct location){profile.volume,
				catalogue_lookup(catalogue, profile.node, settings[i])},
			    DEPTH_LIMIT);
	}
}

bool program_licences_find(struct survey *survey, struct old_system *system)
{
	struct search search = {.survey = survey, .system = system};

	for (size_t i = 0; i < system->n_licences && !search.no_memory; i++) {
		if (!array_reserve(
			&search.items, &search.capacity, search.count + 1, sizeof(*search.items))) {
			search.no_memory = true;
			break;
		}
		search.items[search.count] = system->licences[i];
		search.items[search.count++].program =
		    program_of_path(system, system->licences[i].where);
	}
	if (!search.no_memory)
		look_for_files(&search);
	system->n_licences = 0;
	if (search.count > 0 && !search.no_memory) {
		system->licences =
		    arena_copy(&survey->arena, search.items, search.count * sizeof(*search.items));
		search.no_memory = !system->licences;
		system->n_licences = system->licences ? search.count : 0;
	}
	free(search.items);
	return !search.no_memory;
}
