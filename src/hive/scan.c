/*
 * Finding key nodes without the tree: bin by bin, cell by cell, and byte by byte where these are
 * broken.
 *
 * Source: regf specification, sections "Hive bin" and "Cell".
 */
#include "hive/internal.h"

struct scan {
	const struct hive *hive;
	scan_visit visit;
	void *context;
	bool stopped;
};

/* The length of the bin that starts at `at`; 0 when none does. */
static uint32_t bin_length(const struct hive *hive, uint32_t at)
{
	const uint8_t *bin = hive->data + BASE_BLOCK_SIZE + at;
	uint32_t length;

	if (hive->bins_length - at < BIN_HEADER || memcmp(bin, "hbin", 4) != 0 ||
	    get_u32(bin + 4) != at)
		return 0;
	length = get_u32(bin + 8);
	if (length == 0 || length % BIN_ALIGN != 0)
		return 0;
	/* The last bin of a hive that was cut short. */
	return length <= hive->bins_length - at ? length : hive->bins_length - at;
}

/* Looks at one place. Returns how far the next place is; sets *lost when cells do not follow on. */
static uint32_t scan_place(struct scan *scan, uint32_t at, uint32_t end, bool *lost)
{
	const uint8_t *place = scan->hive->data + BASE_BLOCK_SIZE + at;
	uint32_t size = get_u32(place);
	struct cell nk;

	if (size > INT32_MAX)
		size = -size;
	if (size < 8 || size % CELL_ALIGN != 0 || size > end - at) {
		*lost = true;
		return CELL_ALIGN;
	}
	if (nk_get(scan->hive, at, &nk)) {
		scan->stopped = !scan->visit(scan->context, at, &nk);
		return size;
	}
	/* Once out of step, a plausible size proves nothing. */
	return *lost ? CELL_ALIGN : size;
}

static void scan_range(struct scan *scan, uint32_t at, uint32_t end, bool lost)
{
	while (!scan->stopped && at < end && end - at >= 8)
		at += scan_place(scan, at, end, &lost);
}

void scan_keys(const struct hive *hive, scan_visit visit, void *context)
{
	struct scan scan = {.hive = hive, .visit = visit, .context = context};
	uint32_t at = 0, length, left;

	while (!scan.stopped && at < hive->bins_length) {
		length = bin_length(hive, at);
		if (length != 0) {
			scan_range(&scan, at + BIN_HEADER, at + length, false);
		} else {
			left = hive->bins_length - at;
			length = left < BIN_ALIGN ? left : BIN_ALIGN;
			scan_range(&scan, at, at + length, true);
		}
		at += length;
	}
}
