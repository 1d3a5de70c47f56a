/*
 * Filling holes of a hive from its logs.
 *
 * A log of the new generation keeps entries that are in the hive already, whole pages each, until
 * they are overwritten. Where a page of the hive cannot be read, its newest version there is the
 * page itself, as long as no entry is missing between that one and the hive's own number: a page
 * could have changed in it. So only the unbroken row of entries up to the hive's number counts.
 *
 * Source: regf specification, sections "Log entries" and "Multiple transaction log files".
 */
#include "hive/internal.h"

#include "base/buf.h"

#define ENTRIES_LIMIT 65536u /* a log of 32 MiB in the smallest entries */

struct entries {
	struct log_entry *items;
	size_t count, capacity;
};

static int by_sequence(const void *a, const void *b)
{
	const struct log_entry *x = a, *y = b;

	return (x->sequence > y->sequence) - (x->sequence < y->sequence);
}

/* All entries of one log that are in the hive already. */
static bool collect(struct entries *entries, const struct log_file *log, uint32_t last)
{
	struct log_entry entry;

	for (size_t at = PAGE_SIZE_DIRTY;
	     entries->count < ENTRIES_LIMIT && log_entry_read(log, at, &entry); at += entry.size) {
		if (entry.sequence > last)
			continue;
		if (!array_reserve(&entries->items, &entries->capacity, entries->count + 1,
			sizeof(*entries->items)))
			return false;
		entries->items[entries->count++] = entry;
	}
	return true;
}

/* The index of the first entry of the row that leads up to the hive; count when there is none. */
static size_t find_row(const struct entries *entries, uint32_t last)
{
	size_t first = entries->count;

	/* An entry's number is that of the hive before or after it was applied. */
	if (first == 0 || (uint64_t)entries->items[first - 1].sequence + 1 < last)
		return first;
	first--;
	while (
	    first > 0 && entries->items[first].sequence - entries->items[first - 1].sequence <= 1)
		first--;
	return first;
}

/* Copies what of [offset, offset + length) of the bins lies in holes of the file. */
static void fill(struct hive *hive, const struct holes *holes, struct holes *filled,
    uint32_t offset, const uint8_t *page, uint32_t length)
{
	uint64_t at = (uint64_t)BASE_BLOCK_SIZE + offset, end = at + length;
	const struct hole *hole;

	if (end > hive->length)
		end = hive->length;
	while (at < end && (hole = holes_next(holes, at)) != NULL && hole->offset < end) {
		uint64_t start = hole->offset > at ? hole->offset : at;
		uint64_t stop =
		    hole->offset + hole->length < end ? hole->offset + hole->length : end;

		memcpy(hive->data + start, page + (start - BASE_BLOCK_SIZE - offset),
		    (size_t)(stop - start));
		holes_add(filled, start, stop - start);
		at = stop;
	}
}

static void fill_from(struct hive *hive, const struct holes *holes, struct holes *filled,
    const struct log_entry *entry)
{
	const uint8_t *page = entry->data + LOG_ENTRY_HEADER + 8 * (size_t)entry->n_pages;

	for (uint32_t i = 0; i < entry->n_pages; i++) {
		const uint8_t *reference = entry->data + LOG_ENTRY_HEADER + 8 * (size_t)i;
		uint32_t length = get_u32(reference + 4);

		fill(hive, holes, filled, get_u32(reference), page, length);
		page += length;
	}
}

bool logs_fill(
    struct hive *hive, const struct holes *holes, const struct hive_log *logs, size_t n_logs)
{
	struct entries entries = {0};
	struct holes filled = {0};
	uint32_t last = hive->base.secondary;
	bool good = true;

	/* Without a base block the hive's number is not known; replay does what can be done. */
	if (holes == NULL || holes->count == 0 || !hive->base.valid)
		return true;
	/* What a dirty hive lacks is applied by replay, in any case. */
	if (hive->base.primary != hive->base.secondary && last > 0)
		last--;
	for (size_t i = 0; i < n_logs && good; i++) {
		struct log_file log = {
		    .data = logs[i].data, .length = logs[i].length, .holes = logs[i].holes};

		if (log.data != NULL && log.length > PAGE_SIZE_DIRTY && log_is_new(&log))
			good = collect(&entries, &log, last);
	}
	if (entries.count > 1)
		qsort(entries.items, entries.count, sizeof(*entries.items), by_sequence);
	for (size_t i = find_row(&entries, last); good && i < entries.count; i++)
		fill_from(hive, holes, &filled, &entries.items[i]);
	hive->health.bytes_filled = (uint32_t)holes_total(&filled);
	good = good && !filled.failed;
	holes_free(&filled);
	free(entries.items);
	return good;
}
