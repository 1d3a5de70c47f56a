/* The file table: see table.h. */
#include "ntfs/table.h"

#include "ntfs/attrlist.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

#define WINDOW_SIZE ((size_t)128 << 10)
#define GUESS_GAP 256u /* records in a row that are none end a guessed table */

/* Small files live in the table: reading them one by one goes through one piece of it at a time. */
struct record_window {
	pthread_mutex_t lock;
	uint64_t first; /* record number of the first one, UINT64_MAX when empty */
	size_t count;
	uint8_t *bytes;
	struct holes holes; /* offsets in `bytes` */
};

uint64_t table_records(const struct volume *volume)
{
	return volume->table_size / volume->record_size;
}

/* One stretch of a run; adds its holes at `offset`, where it stands in the stream. */
static bool read_stretch(const struct volume *volume, const struct run *run, uint64_t skip,
    uint64_t offset, uint8_t *buffer, size_t length, struct holes *holes)
{
	struct holes met = {0};
	uint64_t at;

	if (run->lcn == RUN_SPARSE) {
		memset(buffer, 0, length);
		return true;
	}
	if (run->lcn == RUN_LOST) {
		memset(buffer, 0, length);
		if (holes != NULL)
			holes_add(holes, offset, length);
		return false;
	}
	at = run->lcn * volume->cluster_size + skip;
	if (volume_read(volume, at, buffer, length, &met)) {
		holes_free(&met);
		return true;
	}
	for (size_t i = 0; holes != NULL && i < met.count; i++)
		holes_add(holes, met.items[i].offset - at + offset, met.items[i].length);
	if (holes != NULL && met.failed)
		holes->failed = true;
	holes_free(&met);
	return false;
}

/* Index of the run with the cluster, or n_runs. */
static size_t find_run(const struct run *runs, size_t n_runs, uint64_t vcn)
{
	size_t low = 0, high = n_runs;

	while (low < high) {
		size_t middle = low + (high - low) / 2;

		if (runs[middle].vcn + runs[middle].length <= vcn)
			low = middle + 1;
		else
			high = middle;
	}
	return low;
}

bool table_read_runs(const struct volume *volume, const struct run *runs, size_t n_runs,
    uint64_t offset, uint8_t *buffer, size_t length, struct holes *holes)
{
	uint64_t cluster = volume->cluster_size;
	size_t i = find_run(runs, n_runs, offset / cluster);
	bool good = true;

	while (length > 0 && i < n_runs) {
		uint64_t skip = offset - runs[i].vcn * cluster;
		uint64_t left = runs[i].length * cluster - skip;
		size_t piece = left < length ? (size_t)left : length;

		good = read_stretch(volume, &runs[i], skip, offset, buffer, piece, holes) && good;
		offset += piece;
		buffer += piece;
		length -= piece;
		i++;
	}
	if (length > 0) {
		memset(buffer, 0, length);
		if (holes != NULL)
			holes_add(holes, offset, length);
		good = false;
	}
	return good;
}

bool table_window_open(struct volume *volume)
{
	struct record_window *window = calloc(1, sizeof(*window));

	if (window == NULL)
		return false;
	window->count = WINDOW_SIZE / volume->record_size;
	window->first = UINT64_MAX;
	window->bytes = malloc(WINDOW_SIZE);
	if (window->bytes == NULL) {
		free(window);
		return false;
	}
	pthread_mutex_init(&window->lock, NULL);
	volume->window = window;
	return true;
}

void table_window_close(struct volume *volume)
{
	struct record_window *window = volume->window;

	if (window == NULL)
		return;
	pthread_mutex_destroy(&window->lock);
	holes_free(&window->holes);
	free(window->bytes);
	free(window);
	volume->window = NULL;
}

/* The raw bytes of one record. False when some could not be read. */
static bool read_record(const struct volume *volume, uint64_t number, uint8_t *bytes)
{
	struct record_window *window = volume->window;
	size_t size = volume->record_size, at;
	bool good;

	if (number >= table_records(volume))
		return false;
	pthread_mutex_lock(&window->lock);
	if (window->first == UINT64_MAX || number < window->first ||
	    number - window->first >= window->count) {
		uint64_t first = number / window->count * window->count;

		window->first = first;
		holes_clear(&window->holes);
		table_read_runs(volume, volume->table_runs, volume->n_table_runs, first * size,
		    window->bytes, window->count * size, &window->holes);
	}
	at = (size_t)(number - window->first) * size;
	memcpy(bytes, window->bytes + at, size);
	good = !window->holes.failed && !holes_meet(&window->holes, at, size);
	pthread_mutex_unlock(&window->lock);
	return good;
}

static enum record_state check(
    const struct volume *volume, bool was_read, uint8_t *bytes, struct record *record)
{
	if (!was_read)
		return RECORD_LOST;
	return record_open(record, bytes, volume->record_size) ? RECORD_GOOD : RECORD_BROKEN;
}

enum record_state table_load_mirror(
    const struct volume *volume, uint64_t number, uint8_t *bytes, struct record *record)
{
	uint64_t at = volume->mirror_lcn * volume->cluster_size + number * volume->record_size;

	return check(
	    volume, volume_read(volume, at, bytes, volume->record_size, NULL), bytes, record);
}

enum record_state table_load_own(
    const struct volume *volume, uint64_t number, uint8_t *bytes, struct record *record)
{
	return check(volume, read_record(volume, number, bytes), bytes, record);
}

enum record_state table_load(
    const struct volume *volume, uint64_t number, uint8_t *bytes, struct record *record)
{
	enum record_state state = table_load_own(volume, number, bytes, record);

	if (state != RECORD_GOOD && number < TABLE_MIRRORED &&
	    table_load_mirror(volume, number, bytes, record) == RECORD_GOOD)
		return RECORD_GOOD;
	return state;
}

/* Reads the table by `list` from now on, until the list changes. */
static bool use_runs(struct volume *volume, const struct run_list *list, uint64_t size)
{
	uint64_t room = run_list_end(list) * volume->cluster_size;

	if (list->failed || list->count == 0 || list->items[0].lcn >= RUN_LOST)
		return false;
	volume->table_runs = list->items;
	volume->n_table_runs = list->count;
	volume->table_size = size < room ? size : room;
	volume->window->first = UINT64_MAX;
	return true;
}

static bool has_lost(const struct run_list *list)
{
	for (size_t i = 0; i < list->count; i++)
		if (list->items[i].lcn == RUN_LOST)
			return true;
	return false;
}

/* The same for good: the volume gets a copy. */
bool table_keep_runs(struct volume *volume, struct run_list *list, uint64_t size)
{
	struct run *runs = NULL;

	volume->table_is_cut = has_lost(list);

	if (use_runs(volume, list, size))
		runs = arena_copy(&volume->arena, list->items, list->count * sizeof(*runs));
	volume->table_runs = runs;
	if (runs == NULL)
		volume->n_table_runs = 0;
	run_list_free(list);
	return runs != NULL;
}

/* Adds what one more record says of $MFT's data. */
static bool extend(struct volume *volume, struct run_list *list, const struct list_item *item,
    uint64_t size, uint8_t *bytes)
{
	struct attribute attribute;
	struct run_list more = {0};
	struct record record;
	size_t position = 0;
	bool good = false;

	/* What an earlier record would have told. */
	if (item->lowest < run_list_end(list) || item->lowest > volume->clusters)
		return false;
	run_list_add(list, RUN_LOST, item->lowest - run_list_end(list));
	/* Its record lies in a part of the table that is known by now, or cannot be found. */
	if (!use_runs(volume, list, size) ||
	    table_load(volume, item->reference.record, bytes, &record) != RECORD_GOOD ||
	    record.base.record != 0 || !record.is_extension)
		return false;
	while (attribute_next(&record, &position, &attribute) == ATTRIBUTE_GOOD) {
		if (attribute.type != ATTR_DATA || attribute.name_units != 0 ||
		    attribute.is_resident || attribute.lowest != item->lowest)
			continue;
		good = runs_decode(&more, attribute.pairs, attribute.pairs_length,
		    attribute.end - attribute.lowest, volume->clusters);
		for (size_t i = 0; i < more.count; i++)
			run_list_add(list, more.items[i].lcn, more.items[i].length);
		break;
	}
	run_list_free(&more);
	return good;
}

/* Goes through $MFT's own attribute list. Its items are in the order of their VCNs. */
static bool extend_all(
    struct volume *volume, const struct attribute *listed, struct run_list *list, uint64_t size)
{
	uint8_t *bytes = malloc(volume->record_size);
	struct buf items = {0};
	struct list_item item;
	size_t position = 0;
	bool broken = false, good;

	good = bytes != NULL && attribute_bytes(volume, listed, ATTRLIST_MAX, &items);
	while (
	    bytes != NULL && attrlist_next(items.data, items.length, &position, &item, &broken)) {
		if (item.type != ATTR_DATA || item.name_units != 0 || item.lowest == 0)
			continue;
		good = extend(volume, list, &item, size, bytes) && good;
	}
	buf_free(&items);
	free(bytes);
	return good && !broken;
}

/*
 * What of the table is behind all that is known of it is lost, as far as the volume could hold it.
 * False when there is such a part.
 */
static bool add_end(const struct volume *volume, struct run_list *list, uint64_t size)
{
	uint64_t end = run_list_end(list);
	uint64_t wanted = size / volume->cluster_size + (size % volume->cluster_size != 0);

	if (end >= wanted)
		return true;
	if (size <= volume->length)
		run_list_add(list, RUN_LOST, wanted - end);
	return false;
}

/* Takes $MFT's runs from its own record. */
static bool take_record(
    struct volume *volume, const struct record *record, const char *name, struct findings *findings)
{
	struct attribute attribute, listed;
	struct run_list list = {0};
	uint64_t size;
	bool good, kept;

	if (record_find(record, ATTR_DATA, &attribute) == NULL || attribute.is_resident ||
	    attribute.lowest != 0)
		return false;
	size = attribute.initialized < attribute.size ? attribute.initialized : attribute.size;
	good = runs_decode(
	    &list, attribute.pairs, attribute.pairs_length, attribute.end, volume->clusters);
	if (!use_runs(volume, &list, size)) {
		run_list_free(&list);
		return false;
	}
	if (record_find(record, ATTR_LIST, &listed) != NULL)
		good = extend_all(volume, &listed, &list, size) && good;
	good = add_end(volume, &list, size) && good;
	kept = table_keep_runs(volume, &list, size);
	if (!good)
		findings_add(findings, WEIGHT_CAUTION, "file-table-cut", name,
		    "Treat the drive as damaged: copy what can be had first, and ask for help "
		    "before the drive is used again.",
		    "The description of where the file table lies is damaged: a part of the table "
		    "has to be looked for.");
	return kept;
}

bool table_open(struct volume *volume, const char *name, struct findings *findings)
{
	uint8_t *bytes = malloc(volume->record_size);
	uint64_t at = volume->table_lcn * volume->cluster_size;
	struct record record;
	bool opened = false;

	if (bytes == NULL)
		return false;
	if (volume_read(volume, at, bytes, volume->record_size, NULL) &&
	    record_open(&record, bytes, volume->record_size) && record.in_use)
		opened = take_record(volume, &record, name, findings);
	if (!opened && table_load_mirror(volume, 0, bytes, &record) == RECORD_GOOD &&
	    record.in_use) {
		opened = take_record(volume, &record, name, findings);
		if (opened)
			findings_add(findings, WEIGHT_CAUTION, "file-table-from-mirror", name,
			    "Nothing is lost by this alone, but the drive may be failing: do not "
			    "use "
			    "it for anything else.",
			    "The first record of the file table is broken; its copy was used "
			    "instead.");
	}
	free(bytes);
	return opened;
}

bool table_guess(struct volume *volume, const char *name, struct findings *findings)
{
	size_t size = volume->record_size;
	uint64_t start = volume->table_lcn * volume->cluster_size, limit, number = 0, last = 0;
	uint8_t *bytes = malloc(size);
	struct run run = {.lcn = volume->table_lcn};
	struct run_list list = {0};
	struct record record;
	bool kept;

	if (bytes == NULL)
		return false;
	limit = (volume->clusters - volume->table_lcn) * volume->cluster_size / size;
	if (limit > UINT32_MAX - 1)
		limit = UINT32_MAX - 1;
	for (; number < limit && number - last < GUESS_GAP; number++) {
		if (volume_read(volume, start + number * size, bytes, size, NULL) &&
		    record_open(&record, bytes, size))
			last = number + 1;
	}
	free(bytes);
	run.length = (last * size + volume->cluster_size - 1) / volume->cluster_size;
	run_list_add(&list, run.lcn, run.length);
	kept = table_keep_runs(volume, &list, last * size);
	volume->table_is_guessed = kept;
	if (kept)
		findings_add(findings, WEIGHT_LOSS, "file-table-guessed", name,
		    "Treat the drive as damaged: copy what can be had first, and ask for help "
		    "before "
		    "the drive is used again.",
		    "Both copies of the file table's first record are broken. The table was read "
		    "as "
		    "far as it goes in one piece; files listed in other pieces are missing.");
	return kept;
}
