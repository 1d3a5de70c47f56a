/* Bulk data of programs: see bulk_data.h. */
#include "system/bulk_data.h"

#include "base/text.h"
#include "base/utf.h"
#include "system/inner.h"
#include "system/program_paths.h"

#include <string.h>

#define DEPTH_LIMIT 40u
#define BULKS_LIMIT 500u
#define LIBRARIES_LIMIT 64u /* folders looked at, of one volume */
#define NAMES_LIMIT 5000u   /* looked at in one folder */

static bool is_code(const char *name)
{
	static const char *const endings[] = {
	    ".exe", ".dll", ".sys", ".ocx", ".drv", ".cpl", ".msi", ".cab", ".so", ".pdb"};

	for (size_t i = 0; i < sizeof(endings) / sizeof(endings[0]); i++)
		if (path_has_ending(name, endings[i]))
			return true;
	return false;
}

static bool is_real_folder(const struct node *node)
{
	return node && node->flags & NODE_FOLDER && node->reparse_tag == 0;
}

/* Bytes of code in the folder and below. */
static uint64_t code_bytes(const struct catalogue *catalogue, uint32_t folder, unsigned depth)
{
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, folder, &children);
	uint64_t bytes = 0;

	for (size_t i = 0; i < count; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const struct node *node = catalogue_node(catalogue, entry->node);
		const struct stream *stream;

		if (is_real_folder(node)) {
			if (depth > 0)
				bytes += code_bytes(catalogue, entry->node, depth - 1);
		} else if (node && is_code(catalogue_name(catalogue, entry->name))) {
			stream = catalogue_stream(catalogue, entry->node, "");
			bytes += stream ? stream->size : 0;
		}
	}
	return bytes;
}

/* --- keeping them --- */

bool is_bulk(const struct survey *survey, struct location at)
{
	for (size_t i = 0; i < survey->n_bulks; i++)
		if (survey->bulks[i].at.volume == at.volume && survey->bulks[i].at.node == at.node)
			return true;
	return false;
}

const struct bulk *program_bulk(
    const struct survey *survey, const struct old_system *system, const struct program *program)
{
	for (size_t i = 0; i < survey->n_bulks; i++)
		if (&survey->systems[survey->bulks[i].system] == system &&
		    survey->bulks[i].program == (size_t)(program - system->programs))
			return &survey->bulks[i];
	return NULL;
}

static bool keep(struct survey *survey, struct bulk bulk, const char *what)
{
	const struct catalogue *catalogue = survey_catalogue(survey, bulk.at.volume);
	const struct node *node = catalogue_node(catalogue, bulk.at.node);

	if (!node || node->n_entries == 0 || survey->n_bulks >= BULKS_LIMIT ||
	    is_bulk(survey, bulk.at))
		return true;
	bulk.path = old_path_of_entry(survey, bulk.at.volume, node->first_entry);
	if (!bulk.path)
		return false;
	survey->bulks[survey->n_bulks++] = bulk;
	findings_add(survey->findings, WEIGHT_NOTE, "bulk-data", what,
	    "All of it can be fetched again; where that would take long, carry it over.",
	    "%s of it lie in %s and are not taken by themselves; --take \"%s\\**\" takes them.",
	    text_size(bulk.bytes).text, bulk.path, bulk.path);
	return true;
}

static bool look_at_program(struct survey *survey, size_t system, size_t index)
{
	struct program *program = &survey->systems[system].programs[index];
	struct location at = program_own_folder(survey, &survey->systems[system], program);
	uint64_t code;

	if (at.node == NONE)
		return true;
	program->bytes_on_drive = survey_sum(survey, at).bytes;
	if (program->bytes_on_drive < BULK_LEAST || program->origin == PROGRAM_STORE_APP ||
	    program->is_component || program->is_update)
		return true;
	code = code_bytes(survey_catalogue(survey, at.volume), at.node, DEPTH_LIMIT);
	if (code > program->bytes_on_drive || program->bytes_on_drive - code < BULK_LEAST)
		return true;
	return keep(survey,
	    (struct bulk){
		.at = at, .system = system, .program = index, .bytes = program->bytes_on_drive},
	    program->name);
}

/* --- libraries of games --- */

static bool is_manifest(const char *name)
{
	for (const char *at = name; *at; at++)
		if (utf_starts_fold(at, "manifest"))
			return true;
	return path_has_ending(name, ".acf");
}

static bool holds_manifest(const struct catalogue *catalogue, uint32_t folder)
{
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, folder, &children);

	for (size_t i = 0; i < count && i < NAMES_LIMIT; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const struct node *node = catalogue_node(catalogue, entry->node);

		if (node && !(node->flags & NODE_FOLDER) &&
		    is_manifest(catalogue_name(catalogue, entry->name)))
			return true;
	}
	return false;
}

static bool holds_program(const struct catalogue *catalogue, uint32_t folder, unsigned depth)
{
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, folder, &children);

	for (size_t i = 0; i < count && i < NAMES_LIMIT; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const struct node *node = catalogue_node(catalogue, entry->node);

		if (is_real_folder(node)
			? depth > 0 && holds_program(catalogue, entry->node, depth - 1)
			: node && path_has_ending(catalogue_name(catalogue, entry->name), ".exe"))
			return true;
	}
	return false;
}

/* How many folders in it hold a program. */
static size_t count_games(const struct catalogue *catalogue, uint32_t folder)
{
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, folder, &children), n_games = 0;

	for (size_t i = 0; i < count && i < NAMES_LIMIT; i++) {
		uint32_t child = catalogue->entries[children[i]].node;

		n_games += is_real_folder(catalogue_node(catalogue, child)) &&
			   holds_program(catalogue, child, 2);
	}
	return n_games;
}

/* In a profile, or in the old system's own folder. */
static bool is_elsewhere(const struct survey *survey, struct location at)
{
	for (size_t s = 0; s < survey->n_systems; s++) {
		const struct old_system *system = &survey->systems[s];

		if (lies_below(survey, at, (struct location){system->volume, system->windows}) ||
		    (system->profiles.node != NONE && lies_below(survey, at, system->profiles)))
			return true;
		for (size_t p = 0; p < system->n_persons; p++)
			if (system->persons[p].profile.node != NONE &&
			    lies_below(survey, at, system->persons[p].profile))
				return true;
	}
	return false;
}

static bool look_for_libraries(struct survey *survey, size_t volume)
{
	const struct catalogue *catalogue = survey_catalogue(survey, volume);
	unsigned n_looked = 0;

	for (size_t i = 0; catalogue && i < catalogue->n_entries && n_looked < LIBRARIES_LIMIT;
	     i++) {
		const struct entry *entry = &catalogue->entries[i];
		struct bulk bulk = {.at = {volume, entry->node}, .program = SIZE_MAX};

		if (!utf_equal_fold(catalogue_name(catalogue, entry->name), "common") ||
		    !is_real_folder(catalogue_node(catalogue, entry->node)) ||
		    entry->parent == NONE || !holds_manifest(catalogue, entry->parent) ||
		    is_elsewhere(survey, bulk.at))
			continue;
		n_looked++;
		bulk.n_games = count_games(catalogue, entry->node);
		bulk.bytes = bulk.n_games > 0 ? survey_sum(survey, bulk.at).bytes : 0;
		if (bulk.bytes >= BULK_LEAST && !keep(survey, bulk, "a library of games"))
			return false;
	}
	return true;
}

bool bulk_data_find(struct survey *survey)
{
	survey->bulks = arena_array(&survey->arena, BULKS_LIMIT, sizeof(*survey->bulks));
	survey->n_bulks = 0;
	if (!survey->bulks)
		return false;
	for (size_t s = 0; s < survey->n_systems; s++)
		for (size_t i = 0; i < survey->systems[s].n_programs && !survey->systems[s].is_copy;
		     i++)
			if (!look_at_program(survey, s, i))
				return false;
	for (size_t v = 0; v < survey->n_volumes; v++)
		if (!look_for_libraries(survey, v))
			return false;
	return true;
}
