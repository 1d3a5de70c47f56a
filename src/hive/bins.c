/*
 * The hive's bins as bytes that a log overwrites and makes longer.
 */
#include "hive/internal.h"

uint8_t *bins_of(const struct hive *hive)
{
	return hive->data + BASE_BLOCK_SIZE;
}

/* Bytes that were never in the hive are zero. False when memory runs out. */
bool bins_grow(struct hive *hive, size_t length)
{
	size_t need = BASE_BLOCK_SIZE + length;
	uint8_t *grown;

	if (length <= hive->bins_length)
		return true;
	if (length > BINS_LIMIT)
		return false;
	if (need > hive->length) {
		grown = realloc(hive->data, need);
		if (grown == NULL) {
			hive->no_memory = true;
			return false;
		}
		hive->data = grown;
		hive->length = need;
	}
	/*
	 * What stood behind the last bin was no part of the hive. Where bins stood before a log
	 * made the hive shorter, nothing is cleared again: a log that goes up and down would take
	 * for ever.
	 */
	if (hive->bins_top < hive->bins_length)
		hive->bins_top = hive->bins_length;
	if (length > hive->bins_top) {
		memset(bins_of(hive) + hive->bins_top, 0, length - hive->bins_top);
		hive->bins_top = (uint32_t)length;
	}
	hive->bins_length = (uint32_t)length;
	return true;
}

/* False when the page lies outside the bins. */
bool bins_write(struct hive *hive, uint64_t offset, const uint8_t *data, size_t length)
{
	if (offset > hive->bins_length || length > hive->bins_length - offset)
		return false;
	memcpy(bins_of(hive) + offset, data, length);
	return true;
}
