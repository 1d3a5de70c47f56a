/*
 * Cells: the only way from an offset in the hive to bytes.
 *
 * Source: regf specification, section "Cell": a 4-byte size, negative when allocated, then the
 * data.
 */
#include "hive/internal.h"

bool cell_get(const struct hive *hive, hive_cell offset, struct cell *cell)
{
	const uint8_t *bins = hive->data + BASE_BLOCK_SIZE;
	uint32_t size;

	if (offset < BIN_HEADER || offset % CELL_ALIGN != 0 || hive->bins_length < 8 ||
	    offset > hive->bins_length - 8)
		return false;
	size = get_u32(bins + offset);
	/* A positive size is a free cell: what a stale list still points to there was deleted. */
	if (size <= INT32_MAX)
		return false;
	size = -size;
	if (size < 8 || size > hive->bins_length - offset)
		return false;
	cell->data = bins + offset + 4;
	cell->length = size - 4;
	return true;
}

bool cell_record(const struct hive *hive, hive_cell offset, const char *signature, size_t size,
    struct cell *cell)
{
	return cell_get(hive, offset, cell) && cell->length >= size &&
	       memcmp(cell->data, signature, 2) == 0;
}
