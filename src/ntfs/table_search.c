/* Parts of the table that nothing leads to: see table_rest.h. */
#include "ntfs/table_rest.h"

#include "base/bits.h"
#include "base/bytes.h"
#include "base/progress.h"
#include "base/stop.h"
#include "ntfs/data.h"
#include "ntfs/table.h"
#include "ntfs/table_finds.h"

#include <stdlib.h>
#include <string.h>

#define PIECE ((size_t)1 << 20)  /* bytes that are read at once */
#define MOST_CLUSTERS (UINT64_C(1) << 32) /* of a volume: the file system has no more */
#define RUNS_ASKED 16u /* of an attribute */
#define RECORD_BITMAP 6u

struct search {
	const struct volume *volume;
	const struct catalogue *known;
	uint8_t *look; /* a bit for each cluster: is it worth a look? */
	uint64_t clusters;
	bool use_is_known; /* $Bitmap could be read */
	struct holes gaps; /* record numbers that are missing */
	uint64_t missing;
	struct finds finds;
	uint8_t *piece, *record;
	bool no_memory;
};

/* --- where to look ------------------------------------------------------------------------- */

static bool is_looked_at(const struct search *search, uint64_t cluster)
{
	return cluster < search->clusters && (search->look[cluster / 8] >> cluster % 8 & 1) != 0;
}

static void pass_over(struct search *search, uint64_t from, uint64_t length)
{
	uint64_t end = length < search->clusters - from ? from + length : search->clusters;

	for (; from < end && from % 8 != 0; from++)
		search->look[from / 8] &= (uint8_t)~(1u << from % 8);
	if (end - from >= 8) {
		memset(search->look + from / 8, 0, (size_t)((end - from) / 8));
		from = end - end % 8;
	}
	for (; from < end; from++)
		search->look[from / 8] &= (uint8_t)~(1u << from % 8);
}

static void pass_over_run(struct search *search, const struct run *run)
{
	if (run->lcn < search->clusters)
		pass_over(search, run->lcn, run->length);
}

/* What is in use by $Bitmap; all of it where that cannot be read. */
static void add_used(struct search *search)
{
	const struct stream *stream = catalogue_stream(search->known, RECORD_BITMAP, "");
	size_t length = (size_t)(search->clusters + 7) / 8, done = 0, got;
	struct data_reader *reader = stream == NULL ? NULL : data_open(search->known, stream);
	struct holes holes = {0};

	memset(search->look, 0xFF, length);
	while (reader != NULL && done < length) {
		size_t now = length - done < PIECE ? length - done : PIECE;

		if ((got = data_read(reader, search->look + done, now, &holes)) == 0)
			break;
		done += got;
	}
	for (size_t i = 0; i < holes.count; i++) {
		size_t from = holes.items[i].offset < length ? (size_t)holes.items[i].offset : length;
		size_t most = length - from;

		memset(search->look + from, 0xFF,
		    holes.items[i].length < most ? (size_t)holes.items[i].length : most);
	}
	search->use_is_known = done == length && holes.count == 0 && !holes.failed;
	data_close(reader);
	holes_free(&holes);
}

/* But for what known files have, and the table itself. */
static void leave_out_known(struct search *search)
{
	const struct catalogue *known = search->known;
	const struct volume *volume = search->volume;

	for (size_t i = 0; i < known->n_streams; i++) {
		const struct stream *stream = &known->streams[i];
		struct run_cursor cursor;
		struct run run;

		if ((stream->flags & (STREAM_RESIDENT | STREAM_CARRIED)) != 0)
			continue;
		run_cursor_stream(&cursor, known, stream);
		while (run_cursor_next(&cursor, &run))
			pass_over_run(search, &run);
	}
	for (size_t i = 0; i < volume->n_table_runs; i++)
		pass_over_run(search, &volume->table_runs[i]);
}

/* Which record numbers are missing. */
static void find_gaps(struct search *search)
{
	const struct volume *volume = search->volume;
	uint64_t size = volume->record_size, cluster = volume->cluster_size;
	uint64_t records = table_records(volume), most = search->clusters * cluster / size;

	for (size_t i = 0; i < volume->n_table_runs; i++) {
		const struct run *run = &volume->table_runs[i];
		uint64_t first = run->vcn * cluster / size;
		uint64_t end = (run->vcn + run->length) * cluster / size;

		end = end < records ? end : records;
		if (run->lcn == RUN_LOST && first < end)
			holes_add(&search->gaps, first, end - first);
	}
	if (volume->table_is_guessed && records < most)
		holes_add(&search->gaps, records, most - records);
	search->missing = holes_total(&search->gaps);
}

/* --- looking ------------------------------------------------------------------------------- */

/* Clusters that another file has, or none, are those of another volume. */
static void ask_runs(
    struct search *search, struct stretch *stretch, const struct attribute *attribute)
{
	struct run_list list = {0};

	runs_decode(&list, attribute->pairs, attribute->pairs_length,
	    attribute->end - attribute->lowest, search->volume->clusters);
	for (size_t i = 0; i < list.count && i < RUNS_ASKED; i++) {
		bool may_be = is_looked_at(search, list.items[i].lcn);

		if (list.items[i].lcn >= RUN_LOST)
			continue;
		stretch->placed += may_be;
		stretch->misplaced += !may_be;
	}
	search->no_memory = search->no_memory || list.failed;
	run_list_free(&list);
}

/* Is a missing record at this place of the volume? */
static void look_at(struct search *search, uint64_t at, const uint8_t *bytes)
{
	const struct volume *volume = search->volume;
	struct stretch *stretch;
	struct attribute attribute;
	struct record record;
	uint64_t number;
	size_t position = 0;

	if (get_u32(bytes) != SIGNATURE_FILE)
		return;
	memcpy(search->record, bytes, volume->record_size);
	if (!record_open(&record, search->record, volume->record_size))
		return;
	number = table_rest_number(&record);
	if (number == NONE || !holes_meet(&search->gaps, number, 1) ||
	    at % volume->cluster_size != number * volume->record_size % volume->cluster_size)
		return;
	stretch = finds_add(&search->finds, at, number, &record);
	while (stretch != NULL && record.in_use &&
	       attribute_next(&record, &position, &attribute) == ATTRIBUTE_GOOD)
		if (!attribute.is_resident)
			ask_runs(search, stretch, &attribute);
}

/* Is there anything left to find? */
static bool goes_on(const struct search *search)
{
	return !search->no_memory && !search->finds.no_memory && !stop_is_asked() &&
	       search->finds.covered < search->missing && !source_is_lost(search->volume->source);
}

/* The bytes [at, end) of the volume. */
static void look_through(struct search *search, uint64_t at, uint64_t end)
{
	const struct volume *volume = search->volume;
	uint64_t size = volume->record_size;
	uint64_t step = volume->cluster_size < size ? volume->cluster_size : size;

	finds_break(&search->finds);
	while (at + size <= end && goes_on(search)) {
		size_t length = end - at < PIECE ? (size_t)(end - at) : PIECE, i;
		struct holes holes = {0};

		source_read_passing(
		    volume->source, volume->offset + at, search->piece, length, &holes);
		for (i = 0; i + size <= length; i += step)
			if (!holes_meet(&holes, volume->offset + at + i, size))
				look_at(search, at + i, search->piece + i);
		holes_free(&holes);
		at += i;
		if (volume->progress != NULL)
			progress_at(volume->progress, volume->progress->done + i,
			    "what is left of a broken file table");
	}
}

static void look_everywhere(struct search *search)
{
	uint64_t cluster = search->volume->cluster_size;

	for (uint64_t from = 0, end; from < search->clusters && goes_on(search); from = end + 1) {
		/* Whole bytes at a time where nothing is to be looked at. */
		while (from % 8 == 0 && from < search->clusters && search->look[from / 8] == 0)
			from += 8;
		for (end = from; is_looked_at(search, end); end++)
			;
		look_through(search, from * cluster, end * cluster);
	}
}

/* --- what comes out ------------------------------------------------------------------------ */

/* How much of the volume may belong to files that are missing. */
static double chance_of(const struct search *search)
{
	uint64_t unlooked = bits_count_zeros(search->look, search->clusters);

	return search->use_is_known && search->clusters > 0 ?
	    (double)(search->clusters - unlooked) / (double)search->clusters : 1;
}

/* What is believed, as runs of the table. False: no memory. */
static bool put_in_place(struct search *search, struct volume *volume, uint64_t *found)
{
	uint64_t size = volume->record_size, cluster = volume->cluster_size;
	const struct finds *finds = &search->finds;
	struct run *runs = calloc(finds->n_believed + 1, sizeof(*runs));
	size_t n = 0;
	bool good;

	if (runs == NULL)
		return false;
	for (size_t i = 0; i < finds->n_believed; i++) {
		const struct stretch *stretch = &finds->items[finds->believed[i]];
		uint64_t skip = stretch->first * size % cluster;
		uint64_t vcn = stretch->first * size / cluster;
		uint64_t end = ((stretch->first + stretch->count) * size + cluster - 1) / cluster;

		if (stretch->at < skip)
			continue;
		runs[n++] = (struct run){vcn, (stretch->at - skip) / cluster, end - vcn};
		*found += stretch->count;
	}
	good = n == 0 || table_rest_fill(volume, runs, n);
	free(runs);
	return good;
}

static bool start(struct search *search)
{
	const struct volume *volume = search->volume;
	uint64_t here = volume->length / volume->cluster_size;

	search->clusters = volume->clusters < here ? volume->clusters : here;
	if (search->clusters > MOST_CLUSTERS)
		search->clusters = MOST_CLUSTERS;
	search->look = malloc((size_t)search->clusters / 8 + 2);
	search->piece = malloc(PIECE);
	search->record = malloc(volume->record_size);
	if (search->look == NULL || search->piece == NULL || search->record == NULL)
		return false;
	add_used(search);
	leave_out_known(search);
	find_gaps(search);
	search->finds.known = search->known;
	search->finds.gaps = &search->gaps;
	search->finds.record_size = volume->record_size;
	return !search->gaps.failed && finds_learn_root(&search->finds);
}

bool table_rest_by_search(
    struct volume *volume, const struct catalogue *known, uint64_t *found)
{
	struct search search = {.volume = volume, .known = known};
	bool good = start(&search);

	*found = 0;
	if (good && search.missing > 0) {
		look_everywhere(&search);
		finds_break(&search.finds);
		finds_believe(&search.finds, chance_of(&search));
		good = !search.no_memory && !search.finds.no_memory &&
		    put_in_place(&search, volume, found);
	}
	finds_free(&search.finds);
	free(search.look);
	free(search.piece);
	free(search.record);
	holes_free(&search.gaps);
	return good;
}
