/* Finding and reading recycle bins: see recycle_bin.h. */
#include "system/recycle_bin.h"

#include "base/filetime.h"
#include "base/json.h"
#include "base/text.h"
#include "base/utf.h"
#include "ntfs/data.h"
#include "ntfs/reparse.h"
#include "system/inner.h"
#include "system/recycle_index.h"

#include <stdlib.h>
#include <string.h>

#define BINS_LIMIT 2000u
#define READS_LIMIT 4000u /* index files that do not lie in the file table */
#define DEPTH_LIMIT 1024u /* folders in one path */
#define RECENT (INT64_C(86400) * FILETIME_PER_SECOND * RECYCLE_RECENT_DAYS)

/* A $I file, looked up by what follows these two characters. */
struct note_file {
	uint32_t hash, entry;
};

struct stage {
	struct survey *survey;
	struct bin *bins;
	size_t n_bins, bins_capacity;
	struct deleted *deleted;
	size_t n_deleted, deleted_capacity;
	size_t n_reads;
	/* Of the bin that is being read. */
	const struct catalogue *catalogue;
	struct note_file *files;
	size_t n_files, files_capacity;
	struct recycle_note *records; /* of its INFO2 */
	size_t n_records;
	struct arena arena;
	size_t n_lost; /* things of which nothing tells what they were */
	bool no_memory;
};

/* --- whose --- */

static void find_person(const struct survey *survey, struct bin *bin)
{
	bin->system = bin->person = SIZE_MAX;
	for (size_t s = 0; s < survey->n_systems; s++)
		for (size_t p = 0; p < survey->systems[s].n_persons; p++)
			if (utf_equal_fold(survey->systems[s].persons[p].sid, bin->sid)) {
				bin->system = s;
				bin->person = p;
				return;
			}
}

/* The day at which the bin's old system was last used, less the days that count as lately. */
static int64_t recent_since(const struct survey *survey, const struct bin *bin)
{
	const struct old_system *system =
	    survey->n_systems == 0
		? NULL
		: &survey->systems[bin->system < survey->n_systems ? bin->system : 0];

	return system && system->last_used > RECENT ? system->last_used - RECENT : INT64_MAX;
}

/* --- index files --- */

static const uint8_t *load(struct stage *stage, uint32_t entry, size_t limit, size_t *length)
{
	const struct stream *stream =
	    catalogue_stream(stage->catalogue, stage->catalogue->entries[entry].node, "");
	struct holes holes = {0};
	const uint8_t *bytes = NULL;

	if (stream && data_content(stage->catalogue, stream) == CONTENT_READABLE &&
	    ((stream->flags & STREAM_RESIDENT) || stage->n_reads++ < READS_LIMIT))
		bytes = data_load(stage->catalogue, stream, limit, &stage->arena, length, &holes);
	holes_free(&holes);
	return bytes;
}

static bool is_note_name(const char *name)
{
	return name[0] == '$' && (name[1] == 'I' || name[1] == 'i');
}

bool recycle_bin_is_index(const char *name)
{
	return is_note_name(name) || utf_equal_fold(name, "INFO2") ||
	       utf_equal_fold(name, "INFO") || utf_equal_fold(name, "desktop.ini");
}

static int by_hash(const void *a, const void *b)
{
	const struct note_file *one = a, *two = b;

	if (one->hash != two->hash)
		return one->hash < two->hash ? -1 : 1;
	return one->entry < two->entry ? -1 : one->entry > two->entry;
}

static int by_number(const void *a, const void *b)
{
	const struct recycle_note *one = a, *two = b;

	if (one->number != two->number)
		return one->number < two->number ? -1 : 1;
	return one->drive < two->drive ? -1 : one->drive > two->drive;
}

static const char *entry_name(const struct stage *stage, uint32_t entry)
{
	return catalogue_name(stage->catalogue, stage->catalogue->entries[entry].name);
}

static void collect_index(struct stage *stage, uint32_t entry)
{
	const char *name = entry_name(stage, entry);
	const uint8_t *bytes;
	size_t length = 0;

	if (is_note_name(name)) {
		if (!array_reserve(&stage->files, &stage->files_capacity, stage->n_files + 1,
			sizeof(*stage->files))) {
			stage->no_memory = true;
			return;
		}
		stage->files[stage->n_files++] = (struct note_file){utf_hash_fold(name + 2), entry};
	} else if (utf_equal_fold(name, "INFO2") && stage->n_records == 0) {
		bytes = load(stage, entry, RECYCLE_INDEX_LIMIT, &length);
		if (bytes)
			stage->n_records =
			    recycle_index_read(bytes, length, &stage->arena, &stage->records);
	}
}

static bool note_of_file(struct stage *stage, const char *name, struct recycle_note *note)
{
	uint32_t hash = utf_hash_fold(name + 2);
	size_t low = 0, high = stage->n_files;

	while (low < high) {
		size_t middle = low + (high - low) / 2;

		if (stage->files[middle].hash < hash)
			low = middle + 1;
		else
			high = middle;
	}
	for (; low < stage->n_files && stage->files[low].hash == hash; low++) {
		uint32_t entry = stage->files[low].entry;
		const uint8_t *bytes;
		size_t length = 0;

		if (!utf_equal_fold(entry_name(stage, entry) + 2, name + 2))
			continue;
		bytes = load(stage, entry, RECYCLE_NOTE_LIMIT, &length);
		return bytes && recycle_note_read(bytes, length, &stage->arena, note);
	}
	return false;
}

/* "Dc17.txt" */
static bool note_of_record(const struct stage *stage, const char *name, struct recycle_note *note)
{
	const struct recycle_note *found;
	struct recycle_note key;
	char drive = (char)(name[1] | 0x20), *end;
	unsigned long number;

	if ((name[0] | 0x20) != 'd' || drive < 'a' || drive > 'z' || name[2] < '0' || name[2] > '9')
		return false;
	number = strtoul(name + 2, &end, 10);
	if (*end && *end != '.')
		return false;
	key = (struct recycle_note){.number = (uint32_t)number, .drive = drive};
	found = stage->n_records == 0 || number > UINT32_MAX
		    ? NULL
		    : bsearch(&key, stage->records, stage->n_records, sizeof(key), by_number);
	if (found)
		*note = *found;
	return found != NULL;
}

/* --- things --- */

static void measure(struct stage *stage, struct deleted *thing, uint32_t node)
{
	struct sum sum = survey_sum(stage->survey, (struct location){thing->volume, node});

	thing->is_folder = catalogue_node(stage->catalogue, node)->flags & NODE_FOLDER;
	thing->files = sum.files;
	thing->bytes = sum.bytes;
}

static void add_thing(struct stage *stage, uint32_t entry)
{
	const struct bin *bin = &stage->bins[stage->n_bins - 1];
	const char *name = entry_name(stage, entry);
	struct deleted thing = {.volume = bin->volume, .entry = entry, .bin = stage->n_bins - 1};
	struct recycle_note note = {0};
	bool is_told = name[0] == '$' && (name[1] | 0x20) == 'r'
			   ? note_of_file(stage, name, &note)
			   : note_of_record(stage, name, &note);

	if (is_told && note.was && strlen(note.was) <= TEXT_LIMIT) {
		thing.was = arena_strdup(&stage->survey->arena, note.was);
		stage->no_memory = stage->no_memory || !thing.was;
	}
	thing.when = note.when;
	thing.is_recent = thing.when >= recent_since(stage->survey, bin);
	measure(stage, &thing, stage->catalogue->entries[entry].node);
	if (!array_reserve(&stage->deleted, &stage->deleted_capacity, stage->n_deleted + 1,
		sizeof(*stage->deleted))) {
		stage->no_memory = true;
		return;
	}
	stage->n_lost += !thing.was;
	stage->deleted[stage->n_deleted++] = thing;
}

static void report_lost(const struct stage *stage, const struct bin *bin)
{
	const struct survey *survey = stage->survey;

	if (stage->n_lost > 0)
		findings_add(survey->findings, WEIGHT_NOTE, "recycle-bin-names",
		    bin->system < survey->n_systems
			? survey->systems[bin->system].persons[bin->person].key
			: survey->volumes[bin->volume].name,
		    "",
		    "Of %s %s in the recycle bin on %s nothing tells any more where %s: %s under "
		    "the %s that %s in the bin.",
		    text_count(stage->n_lost).text, stage->n_lost == 1 ? "thing" : "things",
		    survey->volumes[bin->volume].name, stage->n_lost == 1 ? "it was" : "they were",
		    stage->n_lost == 1 ? "it is listed" : "they are listed",
		    stage->n_lost == 1 ? "name" : "names",
		    stage->n_lost == 1 ? "it has" : "they have");
}

static void read_bin(struct stage *stage, size_t volume, uint32_t folder, const char *sid)
{
	const uint32_t *children;
	size_t count = catalogue_children(stage->catalogue, folder, &children);
	struct bin bin = {.volume = volume, .folder = folder};

	if (stage->n_bins >= BINS_LIMIT)
		return;
	bin.sid = arena_strdup(&stage->survey->arena, sid);
	if (!bin.sid || !array_reserve(&stage->bins, &stage->bins_capacity, stage->n_bins + 1,
			    sizeof(*stage->bins))) {
		stage->no_memory = true;
		return;
	}
	find_person(stage->survey, &bin);
	stage->bins[stage->n_bins++] = bin;
	stage->n_files = stage->n_records = stage->n_lost = 0;
	for (size_t i = 0; i < count && !stage->no_memory; i++)
		collect_index(stage, children[i]);
	if (stage->n_files > 1)
		qsort(stage->files, stage->n_files, sizeof(*stage->files), by_hash);
	if (stage->n_records > 1)
		qsort(stage->records, stage->n_records, sizeof(*stage->records), by_number);
	for (size_t i = 0; i < count && !stage->no_memory; i++)
		if (catalogue_node(stage->catalogue, stage->catalogue->entries[children[i]].node) &&
		    !recycle_bin_is_index(entry_name(stage, children[i])))
			add_thing(stage, children[i]);
	report_lost(stage, &bin);
	arena_free(&stage->arena);
}

static bool is_plain_folder(const struct catalogue *catalogue, uint32_t node)
{
	const struct node *of = catalogue_node(catalogue, node);

	return of && of->flags & NODE_FOLDER && reparse_kind(of->reparse_tag) != REPARSE_KIND_LINK;
}

static bool read_volume(struct stage *stage, size_t volume, struct error *error)
{
	const uint32_t *tops, *children;
	size_t n_tops = catalogue_children(stage->catalogue, NODE_ROOT, &tops), count;

	for (size_t i = 0; i < n_tops; i++) {
		const char *name = entry_name(stage, tops[i]);
		uint32_t top = stage->catalogue->entries[tops[i]].node;

		if ((!utf_equal_fold(name, "$Recycle.Bin") && !utf_equal_fold(name, "RECYCLER")) ||
		    top == NODE_ROOT || !is_plain_folder(stage->catalogue, top))
			continue;
		count = catalogue_children(stage->catalogue, top, &children);
		for (size_t k = 0; k < count; k++) {
			const struct entry *entry = &stage->catalogue->entries[children[k]];

			if (utf_starts_fold(entry_name(stage, children[k]), "S-1-") &&
			    is_plain_folder(stage->catalogue, entry->node))
				read_bin(
				    stage, volume, entry->node, entry_name(stage, children[k]));
			if (stage->no_memory)
				return error_no_memory(error);
			if (survey_is_stopped(error))
				return false;
		}
	}
	return true;
}

static int by_entry(const void *a, const void *b)
{
	const struct deleted *one = a, *two = b;

	if (one->volume != two->volume)
		return one->volume < two->volume ? -1 : 1;
	return one->entry < two->entry ? -1 : one->entry > two->entry;
}

static bool keep(struct stage *stage)
{
	struct survey *survey = stage->survey;

	if (stage->n_bins == 0)
		return true;
	survey->bins =
	    arena_copy(&survey->arena, stage->bins, stage->n_bins * sizeof(*stage->bins));
	survey->n_bins = survey->bins ? stage->n_bins : 0;
	if (stage->n_deleted == 0)
		return survey->bins != NULL;
	qsort(stage->deleted, stage->n_deleted, sizeof(*stage->deleted), by_entry);
	survey->deleted =
	    arena_copy(&survey->arena, stage->deleted, stage->n_deleted * sizeof(*stage->deleted));
	survey->n_deleted = survey->deleted ? stage->n_deleted : 0;
	return survey->bins && survey->deleted;
}

bool recycle_bins_read(struct survey *survey, struct error *error)
{
	struct stage stage = {.survey = survey};
	bool good = true;

	for (size_t v = 0; good && v < survey->n_volumes; v++) {
		stage.catalogue = survey_catalogue(survey, v);
		if (stage.catalogue)
			good = read_volume(&stage, v, error);
	}
	if (good && !keep(&stage))
		good = error_no_memory(error);
	free(stage.bins);
	free(stage.deleted);
	free(stage.files);
	arena_free(&stage.arena);
	return good;
}

/* --- questions --- */

const struct deleted *recycle_bin_find(const struct survey *survey, size_t volume, uint32_t entry)
{
	const struct catalogue *catalogue = survey_catalogue(survey, volume);

	for (unsigned i = 0; i < DEPTH_LIMIT && catalogue && survey->n_deleted > 0; i++) {
		struct deleted key = {.volume = volume, .entry = entry};
		const struct deleted *found =
		    bsearch(&key, survey->deleted, survey->n_deleted, sizeof(key), by_entry);
		const struct node *folder;

		if (found)
			return found;
		folder = catalogue_node(catalogue, catalogue->entries[entry].parent);
		if (!folder || folder->n_entries == 0 ||
		    catalogue->entries[entry].parent == NODE_ROOT)
			return NULL;
		entry = folder->first_entry;
	}
	return NULL;
}

struct deleted_sum recycle_bin_sum(const struct survey *survey, size_t system, size_t person)
{
	struct deleted_sum sum = {0};

	for (size_t i = 0; i < survey->n_deleted; i++) {
		const struct deleted *thing = &survey->deleted[i];
		const struct bin *bin = &survey->bins[thing->bin];

		if (bin->system != system || bin->person != person)
			continue;
		sum.things++;
		sum.files += thing->files;
		sum.bytes += thing->bytes;
		sum.recent += thing->is_recent;
		if (thing->when > sum.last)
			sum.last = thing->when;
	}
	return sum;
}

static int by_bin_and_time(const void *a, const void *b, void *context)
{
	const struct survey *survey = context;
	const struct deleted *one = &survey->deleted[*(const uint32_t *)a];
	const struct deleted *two = &survey->deleted[*(const uint32_t *)b];

	if (one->bin != two->bin)
		return one->bin < two->bin ? -1 : 1;
	if (one->when != two->when)
		return one->when > two->when ? -1 : 1;
	return by_entry(one, two);
}

static void thing_to_json(
    const struct survey *survey, const struct deleted *thing, struct json *json)
{
	const struct bin *bin = &survey->bins[thing->bin];
	struct buf path = {0};

	catalogue_path(survey_catalogue(survey, thing->volume), thing->entry, &path);
	json_begin_object(json);
	if (bin->system < survey->n_systems) {
		json_key_text(json, "pc", survey->systems[bin->system].key);
		json_key_text(
		    json, "person", survey->systems[bin->system].persons[bin->person].key);
	}
	json_key_text(json, "sid", bin->sid);
	json_key_text(json, "was", thing->was);
	json_key_time(json, "deleted", thing->when);
	json_key_bool(json, "recent", thing->is_recent);
	json_key_text(json, "kind", thing->is_folder ? "folder" : "file");
	json_key_unsigned(json, "files", thing->files);
	json_key_unsigned(json, "bytes", thing->bytes);
	json_key_text(json, "volume", survey->volumes[thing->volume].name);
	json_key_text(json, "path", buf_text(&path));
	json_end(json);
	buf_free(&path);
}

void recycle_bins_to_json(const struct survey *survey, struct json *json)
{
	uint32_t *order = calloc(survey->n_deleted + 1, sizeof(*order));

	json_begin_array(json);
	for (size_t i = 0; order && i < survey->n_deleted; i++)
		order[i] = (uint32_t)i;
	if (order)
		qsort_r(order, survey->n_deleted, sizeof(*order), by_bin_and_time, (void *)survey);
	for (size_t i = 0; i < survey->n_deleted; i++)
		thing_to_json(survey, &survey->deleted[order ? order[i] : i], json);
	json_end(json);
	free(order);
}
