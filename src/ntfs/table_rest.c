/* Parts of the table that other records know of: see table_rest.h. */
#include "ntfs/table_rest.h"

#include "base/bytes.h"
#include "ntfs/table.h"
#include "ntfs/table_pass.h"

#include <stdlib.h>

#define ROUNDS 16u            /* in which parts lead to further parts */
#define MOST_PARTS (1u << 20) /* the table of no volume has as many */
#define NUMBER_AT 0x2Cu       /* of a record's own number */
#define FIXUPS_BEHIND_IT 0x30u

uint32_t table_rest_number(const struct record *record)
{
	/* In older records the fixups stand where the number would be. */
	return get_u16(record->bytes + 4) < FIXUPS_BEHIND_IT ? NONE :
							       get_u32(record->bytes + NUMBER_AT);
}

/* --- putting parts in their places --------------------------------------------------------- */

static int compare_runs(const void *a, const void *b)
{
	const struct run *x = a, *y = b;

	return (x->vcn > y->vcn) - (x->vcn < y->vcn);
}

/* Puts them in order, without overlaps. Returns how many are left. */
static size_t sort_runs(struct run *runs, size_t n_runs)
{
	uint64_t end = 0;
	size_t kept = 0;

	if (n_runs > 1)
		qsort(runs, n_runs, sizeof(*runs), compare_runs);
	for (size_t i = 0; i < n_runs; i++) {
		struct run run = runs[i];
		uint64_t skip = run.vcn < end ? end - run.vcn : 0;

		if (skip >= run.length)
			continue;
		runs[kept++] = (struct run){run.vcn + skip, run.lcn + skip, run.length - skip};
		end = run.vcn + run.length;
	}
	return kept;
}

/*
 * What is lost at [at, end), with the runs that lie there; *next is the first that may, and moves
 * on from gap to gap.
 */
static void fill_gap(struct run_list *list, uint64_t at, uint64_t end, const struct run *runs,
    size_t n_runs, size_t *next)
{
	while (*next < n_runs && at < end && runs[*next].vcn < end) {
		const struct run *run = &runs[*next];
		uint64_t from = run->vcn > at ? run->vcn : at, to = run->vcn + run->length;

		if (to > at) {
			run_list_add(list, RUN_LOST, from - at);
			at = to < end ? to : end;
			run_list_add(list, run->lcn + (from - run->vcn), at - from);
		}
		if (to > end)
			break;
		++*next;
	}
	run_list_add(list, RUN_LOST, end - at);
}

bool table_rest_fill(struct volume *volume, struct run *runs, size_t n_runs)
{
	struct run_list list = {0};
	uint64_t size = volume->table_size, end = 0;
	size_t next = 0;

	n_runs = sort_runs(runs, n_runs);
	for (size_t i = 0; i < volume->n_table_runs; i++) {
		const struct run *run = &volume->table_runs[i];

		end = run->vcn + run->length;
		if (run->lcn == RUN_LOST)
			fill_gap(&list, run->vcn, end, runs, n_runs, &next);
		else
			run_list_add(&list, run->lcn, run->length);
	}
	/* Where the table ends is not known either: as far as there is something. */
	if (volume->table_is_guessed && n_runs > 0) {
		uint64_t last = runs[n_runs - 1].vcn + runs[n_runs - 1].length;

		fill_gap(&list, end, last > end ? last : end, runs, n_runs, &next);
		size = run_list_end(&list) * volume->cluster_size;
	}
	return table_keep_runs(volume, &list, size);
}

/* --- records that hold a part of the list -------------------------------------------------- */

struct parts {
	struct run *items;
	size_t count, capacity;
};

/* Is the place of a part really one? A record that is there has the number that belongs there. */
static bool is_part(const struct volume *volume, const struct run *run, uint8_t *bytes)
{
	uint64_t at = run->vcn * volume->cluster_size;
	struct record record;
	uint32_t number;

	if (at % volume->record_size != 0 ||
	    !volume_read(volume, run->lcn * volume->cluster_size, bytes, volume->record_size, NULL))
		return true; /* nobody can say */
	if (!record_open(&record, bytes, volume->record_size))
		return false;
	number = table_rest_number(&record);
	return number == NONE || number == at / volume->record_size;
}

static bool add_parts(struct parts *parts, const struct volume *volume,
    const struct attribute *attribute, uint8_t *bytes)
{
	struct run_list list = {0};
	bool good = true;

	runs_decode(&list, attribute->pairs, attribute->pairs_length,
	    attribute->end - attribute->lowest, volume->clusters);
	for (size_t i = 0; good && i < list.count; i++) {
		struct run run = list.items[i];

		run.vcn += attribute->lowest;
		if (run.lcn >= RUN_LOST || !is_part(volume, &run, bytes))
			continue;
		if (parts->count >= MOST_PARTS)
			break;
		good = array_reserve(
		    &parts->items, &parts->capacity, parts->count + 1, sizeof(run));
		if (good)
			parts->items[parts->count++] = run;
	}
	good = good && !list.failed;
	run_list_free(&list);
	return good;
}

/* Does the record belong to $MFT, and does it say where a part of the table lies? */
static bool ask_record(struct parts *parts, const struct volume *volume, uint8_t *bytes,
    uint8_t *room)
{
	struct attribute attribute;
	struct record record;
	size_t position = 0;
	bool good = true;

	if (!record_open(&record, bytes, volume->record_size) || !record.in_use ||
	    !record.is_extension || record.base.record != 0)
		return true;
	while (good && attribute_next(&record, &position, &attribute) == ATTRIBUTE_GOOD)
		if (attribute.type == ATTR_DATA && attribute.name_units == 0 &&
		    !attribute.is_resident && attribute.lowest > 0 &&
		    attribute.lowest < RUNS_MAX_CLUSTERS)
			good = add_parts(parts, volume, &attribute, room);
	return good;
}

static bool ask_all(struct parts *parts, const struct volume *volume, uint8_t *room)
{
	uint64_t records = table_records(volume);
	struct table_pass *pass = table_pass_start(volume, records < NONE ? records : NONE - 1);
	struct table_piece *piece;
	bool good = pass != NULL;

	while (good && (piece = table_pass_next(pass)) != NULL)
		for (size_t i = 0; good && i < piece->count; i++) {
			size_t at = i * volume->record_size;

			if (!holes_meet(&piece->holes, at, volume->record_size))
				good = ask_record(parts, volume, piece->bytes + at, room);
		}
	table_pass_end(pass);
	return good;
}

static uint64_t clusters_known(const struct volume *volume)
{
	uint64_t count = 0;

	for (size_t i = 0; i < volume->n_table_runs; i++)
		count += volume->table_runs[i].lcn < RUN_LOST ? volume->table_runs[i].length : 0;
	return count;
}

bool table_rest_by_records(struct volume *volume)
{
	uint8_t *room = malloc(volume->record_size);
	struct parts parts = {0};
	bool good = room != NULL, goes_on = true;

	for (unsigned i = 0; good && goes_on && i < ROUNDS; i++) {
		uint64_t before = clusters_known(volume);

		parts.count = 0;
		good = ask_all(&parts, volume, room) &&
		    table_rest_fill(volume, parts.items, parts.count);
		goes_on = good && clusters_known(volume) > before;
	}
	free(parts.items);
	free(room);
	return good;
}
