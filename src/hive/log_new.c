/*
 * Logs of Windows 8.1 and later: a chain of sealed entries, each with whole pages of the bins.
 *
 * Entries are numbered. Those that the hive does not have yet are applied in one unbroken chain
 * that may go on from one log file to the other; the first entry that is broken or out of step ends
 * it. Each entry proves itself by two hashes, so a damaged base block of the log does not matter.
 *
 * Source: regf specification, sections "Log entries" and "Multiple transaction log files".
 */
#include "hive/internal.h"

/* A run through one log: where the next entry starts. */
struct cursor {
	const struct log_file *log;
	size_t offset;
	bool used;
};

bool log_is_new(const struct log_file *log)
{
	return log->length >= PAGE_SIZE_DIRTY + LOG_ENTRY_HEADER &&
	       memcmp(log->data + PAGE_SIZE_DIRTY, "HvLE", 4) == 0;
}

/* Do the page references and the pages themselves fit, and lie inside the bins? */
static bool pages_fit(const struct log_entry *entry)
{
	uint64_t used = LOG_ENTRY_HEADER + (uint64_t)entry->n_pages * 8;

	if (used > entry->size)
		return false;
	for (uint32_t i = 0; i < entry->n_pages; i++) {
		const uint8_t *reference = entry->data + LOG_ENTRY_HEADER + 8 * (size_t)i;
		uint32_t offset = get_u32(reference), length = get_u32(reference + 4);

		used += length;
		if (used > entry->size || (uint64_t)offset + length > entry->bins_size)
			return false;
	}
	return true;
}

static bool entry_is_numbered(const struct log_file *log, size_t offset, uint32_t sequence)
{
	return offset <= log->length && log->length - offset >= LOG_ENTRY_HEADER &&
	       get_u32(log->data + offset + 12) == sequence;
}

bool log_entry_read(const struct log_file *log, size_t offset, struct log_entry *entry)
{
	const uint8_t *data = log->data + offset;

	if (offset > log->length || log->length - offset < LOG_ENTRY_HEADER ||
	    memcmp(data, "HvLE", 4) != 0)
		return false;
	*entry = (struct log_entry){
	    .data = data,
	    .size = get_u32(data + 4),
	    .sequence = get_u32(data + 12),
	    .bins_size = get_u32(data + 16),
	    .n_pages = get_u32(data + 20),
	};
	if (entry->size < LOG_ENTRY_HEADER || entry->size % PAGE_SIZE_DIRTY != 0 ||
	    entry->size > log->length - offset)
		return false;
	if (entry->bins_size % BIN_ALIGN != 0 || entry->bins_size > BINS_LIMIT)
		return false;
	return get_u64(data + 32) == marvin32(MARVIN_SEED, data, 32) &&
	       get_u64(data + 24) ==
		   marvin32(MARVIN_SEED, data + LOG_ENTRY_HEADER, entry->size - LOG_ENTRY_HEADER) &&
	       pages_fit(entry);
}

/* Goes past the entries that the hive has already. False when nothing is left. */
static bool skip_older(struct cursor *cursor, uint32_t from, struct log_entry *entry)
{
	uint32_t previous = 0;
	bool first = true;

	while (log_entry_read(cursor->log, cursor->offset, entry)) {
		if (!first && entry->sequence != previous + 1)
			return false;
		if (entry->sequence >= from)
			return true;
		previous = entry->sequence;
		first = false;
		cursor->offset += entry->size;
	}
	return false;
}

static void entry_apply(struct hive *hive, const struct log_entry *entry, size_t limit)
{
	const uint8_t *page = entry->data + LOG_ENTRY_HEADER + 8 * (size_t)entry->n_pages;

	/* What the hive and its logs cannot fill is not made up: a number in a log is no reason to
	   ask for memory. */
	if (entry->bins_size > limit)
		hive->health.truncated = true;
	if (!bins_grow(hive, entry->bins_size < limit ? entry->bins_size : limit))
		return;
	for (uint32_t i = 0; i < entry->n_pages; i++) {
		const uint8_t *reference = entry->data + LOG_ENTRY_HEADER + 8 * (size_t)i;
		uint32_t length = get_u32(reference + 4);

		if (bins_write(hive, get_u32(reference), page, length))
			hive->health.pages_replaced++;
		page += length;
	}
	hive->base.bins_size = entry->bins_size;
	if (hive->bins_length > entry->bins_size)
		hive->bins_length = entry->bins_size;
}

/* Applies the chain from `sequence` on. Returns the number that must come next. */
static uint32_t chain_apply(
    struct hive *hive, struct cursor *cursor, uint32_t sequence, size_t limit)
{
	struct log_entry entry;

	/* The number is looked at first: proving an entry takes as long as it is large, and a log
	   that is not in turn would be asked again after each turn of the others. */
	while (!hive->no_memory && entry_is_numbered(cursor->log, cursor->offset, sequence) &&
	       log_entry_read(cursor->log, cursor->offset, &entry)) {
		entry_apply(hive, &entry, limit);
		cursor->offset += entry.size;
		cursor->used = true;
		sequence++;
	}
	return sequence;
}

/* Where the chain starts: the lowest number in any log that the hive does not have yet. */
static bool chain_start(struct cursor *cursors, size_t n, uint32_t from, uint32_t *sequence)
{
	bool found = false;
	struct log_entry entry;

	for (size_t i = 0; i < n; i++) {
		if (!skip_older(&cursors[i], from, &entry))
			continue;
		if (!found || entry.sequence < *sequence)
			*sequence = entry.sequence;
		found = true;
	}
	return found;
}

/* The last number of the unbroken chain that starts at the log's first entry. */
static bool log_last(const struct log_file *log, uint32_t *first, uint32_t *last)
{
	struct cursor cursor = {.log = log, .offset = PAGE_SIZE_DIRTY};
	struct log_entry entry;
	bool any = false;

	while (log_entry_read(log, cursor.offset, &entry) && (!any || entry.sequence == *last + 1)) {
		if (!any)
			*first = entry.sequence;
		*last = entry.sequence;
		any = true;
		cursor.offset += entry.size;
	}
	return any;
}

/*
 * A hive without a valid base block does not say where to begin: begin with the newest log, and
 * before it any other log that leads up to it without a gap.
 */
static uint32_t start_without_base(const struct log_file *logs, size_t n)
{
	uint32_t start = 0, newest = 0, first, last;
	bool any = false;

	for (size_t i = 0; i < n; i++) {
		if (!log_last(&logs[i], &first, &last) || (any && last <= newest))
			continue;
		newest = last;
		start = first;
		any = true;
	}
	for (size_t i = 0; i < n; i++)
		if (log_last(&logs[i], &first, &last) && last == start - 1 && first < start)
			start = first;
	return start;
}

bool logs_new_apply(struct hive *hive, const struct log_file *logs, size_t n_logs)
{
	struct cursor cursors[8] = {0};
	uint32_t sequence = 0, from, next;
	size_t n = n_logs < 8 ? n_logs : 8, limit = hive->length;
	bool moved = true;

	from = hive->base.valid ? hive->base.secondary : start_without_base(logs, n);
	for (size_t i = 0; i < n; i++) {
		cursors[i] = (struct cursor){.log = &logs[i], .offset = PAGE_SIZE_DIRTY};
		limit += logs[i].length;
	}
	limit = (limit < BINS_LIMIT ? limit : BINS_LIMIT) / BIN_ALIGN * BIN_ALIGN;
	if (!chain_start(cursors, n, from, &sequence))
		return true;
	while (moved) {
		moved = false;
		for (size_t i = 0; i < n; i++) {
			next = chain_apply(hive, &cursors[i], sequence, limit);
			moved |= next != sequence;
			sequence = next;
		}
	}
	for (size_t i = 0; i < n; i++)
		hive->health.logs_applied += cursors[i].used;
	return !hive->no_memory;
}
