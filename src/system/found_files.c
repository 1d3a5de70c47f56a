/* Leftovers of file checks: see found_files.h. */
#include "system/found_files.h"

#include "base/json.h"
#include "base/kinds.h"
#include "base/text.h"
#include "base/utf.h"
#include "ntfs/data.h"
#include "ntfs/extents.h"
#include "ntfs/reparse.h"
#include "system/inner.h"

#include <stdlib.h>
#include <string.h>

#define LOOKS_LIMIT 2000u /* pieces that are looked into */
#define LOOK 1024u        /* bytes */

struct stage {
	struct survey *survey;
	struct found_file *items;
	size_t count, capacity;
	bool no_memory;
};

/* "FOUND.007" */
static bool is_found_folder(const struct catalogue *catalogue, const struct entry *entry)
{
	const char *name = catalogue_name(catalogue, entry->name);
	const struct node *node = catalogue_node(catalogue, entry->node);

	return node && node->flags & NODE_FOLDER && entry->node != NODE_ROOT &&
	       reparse_kind(node->reparse_tag) != REPARSE_KIND_LINK &&
	       utf_starts_fold(name, "FOUND.") && strlen(name) == 9 &&
	       strspn(name + 6, "0123456789") == 3;
}

static void add_folder(struct stage *stage, size_t volume, uint32_t folder)
{
	const struct catalogue *catalogue = survey_catalogue(stage->survey, volume);
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, folder, &children);

	for (size_t i = 0; i < count; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const struct node *node = catalogue_node(catalogue, entry->node);
		struct sum sum =
		    survey_sum(stage->survey, (struct location){volume, node ? entry->node : NONE});

		if (!node)
			continue;
		if (!array_reserve(
			&stage->items, &stage->capacity, stage->count + 1, sizeof(*stage->items))) {
			stage->no_memory = true;
			return;
		}
		stage->items[stage->count++] = (struct found_file){.volume = volume,
		    .entry = children[i],
		    .files = sum.files,
		    .bytes = sum.bytes,
		    .is_folder = (node->flags & NODE_FOLDER) != 0};
	}
}

/* --- what they begin like --- */

static const struct stream *content(const struct survey *survey, const struct found_file *found)
{
	const struct catalogue *catalogue = survey_catalogue(survey, found->volume);
	const struct stream *stream =
	    catalogue_stream(catalogue, catalogue->entries[found->entry].node, "");

	return stream && data_content(catalogue, stream) == CONTENT_READABLE ? stream : NULL;
}

static int by_place(const void *a, const void *b, void *context)
{
	const struct survey *survey = context;
	const struct found_file *one = *(struct found_file *const *)a;
	const struct found_file *two = *(struct found_file *const *)b;
	const struct stream *first = content(survey, one), *second = content(survey, two);
	uint64_t here = first ? extents_place(survey_catalogue(survey, one->volume), first) : 0;
	uint64_t there = second ? extents_place(survey_catalogue(survey, two->volume), second) : 0;

	if (one->volume != two->volume)
		return one->volume < two->volume ? -1 : 1;
	if (here != there)
		return here < there ? -1 : 1;
	return one->entry < two->entry ? -1 : one->entry > two->entry;
}

static bool look(struct stage *stage, struct found_file *found)
{
	const struct catalogue *catalogue = survey_catalogue(stage->survey, found->volume);
	const struct stream *stream = content(stage->survey, found);
	struct data_reader *reader;
	struct holes holes = {0};
	uint8_t bytes[LOOK];
	size_t length;

	if (found->is_folder || !stream || stream->size == 0)
		return true;
	reader = data_open(catalogue, stream);
	if (!reader)
		return false;
	length = data_read(reader, bytes, sizeof(bytes), &holes);
	if (holes.count == 0)
		found->ending = kind_of_content(bytes, length);
	data_close(reader);
	holes_free(&holes);
	return true;
}

static bool look_at_all(struct stage *stage, struct error *error)
{
	struct found_file **order = calloc(stage->count + 1, sizeof(*order));
	bool good = order != NULL || error_no_memory(error);

	for (size_t i = 0; good && i < stage->count; i++)
		order[i] = &stage->items[i];
	if (good && stage->count > 1)
		qsort_r(order, stage->count, sizeof(*order), by_place, stage->survey);
	for (size_t i = 0; good && i < stage->count && i < LOOKS_LIMIT; i++) {
		if (traces_spare(stage->survey, order[i]->volume))
			continue;
		good =
		    !survey_is_stopped(error) && (look(stage, order[i]) || error_no_memory(error));
	}
	free(order);
	return good;
}

static void report(const struct survey *survey, size_t volume)
{
	uint64_t files = 0, bytes = 0;
	size_t n_known = 0;
	char known[80] = "";

	for (size_t i = 0; i < survey->n_found; i++) {
		if (survey->found[i].volume != volume)
			continue;
		files += survey->found[i].files;
		bytes += survey->found[i].bytes;
		n_known += survey->found[i].ending != NULL;
	}
	if (files == 0)
		return;
	if (n_known > 0)
		snprintf(known, sizeof(known), " Of %s it can be told what %s.",
		    text_count(n_known).text, n_known == 1 ? "it is" : "they are");
	findings_add(survey->findings, WEIGHT_CAUTION, "found-files", survey->volumes[volume].name,
	    "Look through them when something is missed: found-files.json says what each begins "
	    "like.",
	    "%s %s (%s) in folders called FOUND: a file check of the old system came upon them "
	    "after damage, and their names or folders are lost.%s",
	    text_count(files).text, files == 1 ? "file lies" : "files lie", text_size(bytes).text,
	    known);
}

bool found_files_read(struct survey *survey, struct error *error)
{
	struct stage stage = {.survey = survey};
	bool good;

	for (size_t v = 0; v < survey->n_volumes && !stage.no_memory; v++) {
		const struct catalogue *catalogue = survey_catalogue(survey, v);
		const uint32_t *tops;
		size_t n_tops = catalogue ? catalogue_children(catalogue, NODE_ROOT, &tops) : 0;

		for (size_t i = 0; i < n_tops && !stage.no_memory; i++)
			if (is_found_folder(catalogue, &catalogue->entries[tops[i]]))
				add_folder(&stage, v, catalogue->entries[tops[i]].node);
	}
	good = stage.no_memory ? error_no_memory(error) : look_at_all(&stage, error);
	if (good && stage.count > 0) {
		survey->found =
		    arena_copy(&survey->arena, stage.items, stage.count * sizeof(*stage.items));
		survey->n_found = survey->found ? stage.count : 0;
		good = survey->found || error_no_memory(error);
	}
	for (size_t v = 0; good && v < survey->n_volumes; v++)
		report(survey, v);
	free(stage.items);
	return good;
}

void found_files_to_json(const struct survey *survey, struct json *json)
{
	json_begin_array(json);
	for (size_t i = 0; i < survey->n_found; i++) {
		const struct found_file *found = &survey->found[i];
		struct buf path = {0};

		catalogue_path(survey_catalogue(survey, found->volume), found->entry, &path);
		json_begin_object(json);
		json_key_text(json, "volume", survey->volumes[found->volume].name);
		json_key_text(json, "path", buf_text(&path));
		json_key_text(json, "kind", found->is_folder ? "folder" : "file");
		json_key_unsigned(json, "files", found->files);
		json_key_unsigned(json, "bytes", found->bytes);
		json_key_text(json, "ending", found->ending);
		json_end(json);
		buf_free(&path);
	}
	json_end(json);
}
