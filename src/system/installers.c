/* Installers on the drive: see installers.h. */
#include "system/installers.h"

#include "base/utf.h"
#include "ntfs/data.h"
#include "ntfs/extents.h"
#include "system/inner.h"
#include "system/version_info.h"

#include <stdlib.h>
#include <string.h>

#define FILES_LIMIT 300u
#define FOLDER_LIMIT 4000u
#define PACKAGE_LIMIT ((size_t)16 << 20)    /* bytes of one package: it is loaded as a whole */
#define PACKAGES_LIMIT ((uint64_t)64 << 20) /* and of all together */
#define WINDOW ((size_t)64 << 10)
#define SHORTEST 4u /* letters of a product's name that can be told apart */

struct candidate {
	uint64_t place; /* on the drive */
	size_t volume;
	uint32_t node;
	bool is_package;
};

struct search {
	struct survey *survey;
	struct old_system *system;
	struct candidate files[FILES_LIMIT];
	size_t n_files;
	uint64_t packages; /* bytes loaded */
};

static bool ends_in(const char *name, const char *ending)
{
	size_t length = strlen(name), n = strlen(ending);

	return length > n && utf_equal_fold(name + length - n, ending);
}

static void collect(struct search *search, struct location at)
{
	const struct catalogue *catalogue = survey_catalogue(search->survey, at.volume);
	const uint32_t *children;
	size_t count;

	if (!catalogue || at.node == NONE || traces_spare(search->survey, at.volume))
		return;
	count = catalogue_children(catalogue, at.node, &children);
	for (size_t i = 0; i < count && i < FOLDER_LIMIT; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const char *name = catalogue_name(catalogue, entry->name);
		const struct stream *stream = catalogue_stream(catalogue, entry->node, "");
		bool is_package = ends_in(name, ".msi");

		if (search->n_files >= FILES_LIMIT || (!is_package && !ends_in(name, ".exe")) ||
		    !stream || data_content(catalogue, stream) != CONTENT_READABLE)
			continue;
		search->files[search->n_files++] = (struct candidate){
		    extents_place(catalogue, stream), at.volume, entry->node, is_package};
	}
}

static int by_place(const void *a, const void *b)
{
	const struct candidate *one = a, *two = b;

	if (one->volume != two->volume)
		return one->volume < two->volume ? -1 : 1;
	return one->place < two->place ? -1 : one->place > two->place;
}

/* --- reading pieces of a program's file --- */

struct pieces {
	const struct catalogue *catalogue;
	const struct stream *stream;
	uint8_t window[WINDOW];
	uint64_t start;
	size_t length;
};

static bool load_window(struct pieces *pieces, uint64_t offset)
{
	struct data_reader *reader = data_open(pieces->catalogue, pieces->stream);
	struct holes holes = {0};

	if (!reader)
		return false;
	pieces->start = offset;
	data_skip(reader, offset);
	pieces->length = data_read(reader, pieces->window, WINDOW, &holes);
	if (holes.count > 0)
		pieces->length = 0;
	holes_free(&holes);
	data_close(reader);
	return true;
}

static size_t read_piece(void *context, uint64_t offset, uint8_t *buffer, size_t length)
{
	struct pieces *pieces = context;
	size_t skip, have;

	if (offset >= pieces->stream->size || length > WINDOW / 2)
		return 0;
	if (offset < pieces->start || offset + length > pieces->start + pieces->length)
		if (!load_window(pieces, offset / 4096 * 4096))
			return 0;
	if (offset < pieces->start || offset >= pieces->start + pieces->length)
		return 0;
	skip = (size_t)(offset - pieces->start);
	have = pieces->length - skip < length ? pieces->length - skip : length;
	memcpy(buffer, pieces->window + skip, have);
	return have;
}

static bool read_program(const struct catalogue *catalogue, const struct stream *stream,
    struct arena *arena, struct version_info *info)
{
	struct pieces *pieces = calloc(1, sizeof(*pieces));
	struct version_reader reader = {read_piece, pieces};
	bool good = false;

	if (pieces) {
		pieces->catalogue = catalogue;
		pieces->stream = stream;
		good = version_info_read_program(&reader, arena, info);
	}
	free(pieces);
	return good;
}

static bool read_package(struct search *search, const struct catalogue *catalogue,
    const struct stream *stream, struct arena *arena, struct version_info *info)
{
	struct holes holes = {0};
	const uint8_t *bytes = NULL;
	size_t length = 0;

	if (stream->size <= PACKAGE_LIMIT && search->packages + stream->size <= PACKAGES_LIMIT)
		bytes = data_load(catalogue, stream, PACKAGE_LIMIT, arena, &length, &holes);
	search->packages += length;
	holes_free(&holes);
	return bytes && version_info_read_package(bytes, length, arena, info);
}

/* --- matching --- */

/* Is the one name the other, or its beginning up to the end of a word? */
static bool begins_with(const char *name, const char *start)
{
	size_t length = strlen(start);

	return length >= SHORTEST && utf_starts_fold(name, start) &&
	       (strlen(name) <= length || !name[length] || strchr(" -_(,", name[length]));
}

static void match(
    struct search *search, const struct candidate *file, const struct version_info *info)
{
	struct old_system *system = search->system;
	const struct catalogue *catalogue = survey_catalogue(search->survey, file->volume);
	char letter = search->survey->volumes[file->volume].letter;
	struct buf path = {0};

	catalogue_node_path(catalogue, file->node, &path);
	for (size_t i = 0; i < system->n_programs; i++) {
		struct program *program = &system->programs[i];

		if (program->is_update || program->is_component || program->installer ||
		    program->origin != PROGRAM_RECORD ||
		    (!begins_with(program->name, info->product) &&
			!begins_with(info->product, program->name)))
			continue;
		program->installer =
		    letter ? arena_printf(&search->survey->arena, "%c:%s", letter, buf_text(&path))
			   : arena_strdup(&search->survey->arena, buf_text(&path));
		program->installer_version = arena_strdup(&search->survey->arena, info->version);
	}
	buf_free(&path);
}

bool installers_find(struct survey *survey, struct old_system *system, struct error *error)
{
	struct search *search = calloc(1, sizeof(*search));
	bool good = search != NULL || error_no_memory(error);

	if (!search)
		return good;
	search->survey = survey;
	search->system = system;
	for (size_t p = 0; p < system->n_persons; p++)
		for (size_t i = 0; i < system->persons[p].n_places; i++) {
			const struct place *place = &system->persons[p].places[i];

			if (strcmp(place->role, "downloads") == 0 ||
			    strcmp(place->role, "desktop") == 0)
				collect(search, place->at);
		}
	qsort(search->files, search->n_files, sizeof(*search->files), by_place);
	for (size_t i = 0; good && i < search->n_files; i++) {
		const struct candidate *file = &search->files[i];
		const struct catalogue *catalogue = survey_catalogue(survey, file->volume);
		const struct stream *stream = catalogue_stream(catalogue, file->node, "");
		struct arena arena = {0};
		struct version_info info;

		good = !survey_is_stopped(error);
		if (good &&
		    (file->is_package ? read_package(search, catalogue, stream, &arena, &info)
				      : read_program(catalogue, stream, &arena, &info)))
			match(search, file, &info);
		arena_free(&arena);
	}
	free(search);
	return good;
}
