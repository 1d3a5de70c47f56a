/*
 * Logs of Windows 2000 to 8: a bitmap of dirty pages of 512 bytes, then the pages.
 *
 * Such a log holds one write operation that was under way. It belongs to the hive when both bear
 * the same last-written time. A later one can belong to it too: the second log is only written when
 * writing through the first failed, and then repeats what the first had, so of two logs the newer
 * is taken. But a PC whose battery is empty forgets the date, and then a leftover is the "newer"
 * one: hence the sequence numbers have the last word.
 *
 * Nothing in such a log proves its pages: what of it could not be read must not be taken for zeros.
 *
 * Source: regf specification, sections "Old format" (of logs) and "Multiple transaction log files".
 */
#include "hive/internal.h"

/* Where the parts of a log lie. */
struct layout {
	const uint8_t *bitmap;
	uint32_t n_bits;
	size_t pages; /* offset of the first page */
};

bool log_is_old(const struct log_file *log)
{
	return log->base.readable && (log->base.file_type == 1 || log->base.file_type == 2);
}

static bool has_hole(const struct log_file *log, size_t offset, size_t length)
{
	return log->holes != NULL && holes_meet(log->holes, offset, length);
}

static bool layout_of(const struct log_file *log, struct layout *layout)
{
	/* The sector size of the drive that the log was written for. */
	size_t sector =
	    512u * (log->base.cluster >= 1 && log->base.cluster <= 8 ? log->base.cluster : 1);
	size_t bytes = log->base.bins_size / PAGE_SIZE_DIRTY / 8;

	if (log->base.bins_size % BIN_ALIGN != 0 || log->base.bins_size > BINS_LIMIT ||
	    log->length < sector + 4 || bytes > log->length - sector - 4 ||
	    memcmp(log->data + sector, "DIRT", 4) != 0)
		return false;
	layout->bitmap = log->data + sector + 4;
	layout->n_bits = log->base.bins_size / PAGE_SIZE_DIRTY;
	layout->pages = (sector + 4 + bytes + sector - 1) / sector * sector;
	/* A bit that is missing would put every page behind it in a wrong place. */
	return !has_hole(log, sector, layout->pages - sector);
}

/*
 * Can this log be the hive's? A wrong checksum alone does not rule it out (the old system's own
 * self-healing uses such a log too), as long as the time proves that it belongs here.
 */
static bool is_candidate(const struct hive *hive, const struct log_file *log)
{
	struct layout layout;
	int64_t written = hive->base.written;

	if (!hive->base.valid)
		written = first_bin_written(bins_of(hive), hive->bins_length);
	if (log->base.primary != log->base.secondary || !layout_of(log, &layout))
		return false;
	if (log->base.written == written || !log->base.valid)
		return log->base.written == written;
	/* XP and Vista number their logs differently, but neither below the last whole write. */
	return log->base.written > written &&
	       (!hive->base.valid || log->base.primary - hive->base.secondary <= INT32_MAX);
}

/* A page that claims to begin a bin must say the right place. */
static bool page_is_right(const uint8_t *page, uint32_t offset)
{
	if (offset % BIN_ALIGN != 0 || memcmp(page, "hbin", 4) != 0)
		return true;
	return get_u32(page + 4) == offset && get_u32(page + 8) >= BIN_ALIGN;
}

static void log_apply(struct hive *hive, const struct log_file *log)
{
	size_t limit = hive->length + log->length, at;
	struct layout layout;

	if (!layout_of(log, &layout))
		return;
	at = layout.pages;
	for (uint32_t bit = 0; bit < layout.n_bits; bit++) {
		uint32_t offset = bit * PAGE_SIZE_DIRTY;

		if ((layout.bitmap[bit / 8] >> bit % 8 & 1) == 0)
			continue;
		if (at > log->length || log->length - at < PAGE_SIZE_DIRTY ||
		    !page_is_right(log->data + at, offset))
			return;
		at += PAGE_SIZE_DIRTY;
		if (has_hole(log, at - PAGE_SIZE_DIRTY, PAGE_SIZE_DIRTY))
			continue;
		/* A page so far out that hive and log cannot fill what lies before it. */
		if ((size_t)offset + PAGE_SIZE_DIRTY > limit) {
			hive->health.truncated = true;
			continue;
		}
		if (!bins_grow(hive, offset + PAGE_SIZE_DIRTY))
			return;
		bins_write(hive, offset, log->data + at - PAGE_SIZE_DIRTY, PAGE_SIZE_DIRTY);
		hive->health.pages_replaced++;
	}
}

bool logs_old_apply(struct hive *hive, const struct log_file *logs, size_t n_logs)
{
	const struct log_file *best = NULL;

	for (size_t i = 0; i < n_logs; i++)
		if (log_is_old(&logs[i]) && is_candidate(hive, &logs[i]) &&
		    (best == NULL || logs[i].base.written > best->base.written))
			best = &logs[i];
	if (best == NULL)
		return true;
	log_apply(hive, best);
	if (hive->base.valid || best->base.valid)
		hive->base.bins_size = best->base.bins_size;
	hive->health.logs_applied++;
	return !hive->no_memory;
}
