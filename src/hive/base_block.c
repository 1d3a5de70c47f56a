/*
 * The base block (file header) of a hive or of a log: checksum and checks of its fields.
 *
 * Source: regf specification, section "Base block".
 */
#include "hive/internal.h"

static uint32_t base_checksum(const uint8_t *data)
{
	uint32_t sum = 0;

	for (size_t i = 0; i < 508; i += 4)
		sum ^= get_u32(data + i);
	if (sum == UINT32_MAX)
		return UINT32_MAX - 1;
	return sum == 0 ? 1 : sum;
}

static bool fields_are_right(const struct base_block *base, const uint8_t *data)
{
	return get_u32(data + 20) == 1 && base->minor <= 16 && get_u32(data + 32) == 1 &&
	       base->bins_size != 0 && base->bins_size % BIN_ALIGN == 0 &&
	       base->bins_size <= BINS_LIMIT && base->root < base->bins_size;
}

struct base_block base_block_read(const uint8_t *data, size_t length)
{
	struct base_block base = {.root = HIVE_NO_CELL};

	if (length < 512 || memcmp(data, "regf", 4) != 0)
		return base;
	base.readable = true;
	base.primary = get_u32(data + 4);
	base.secondary = get_u32(data + 8);
	base.written = (int64_t)get_u64(data + 12);
	base.minor = get_u32(data + 24);
	base.file_type = get_u32(data + 28);
	base.root = get_u32(data + 36);
	base.bins_size = get_u32(data + 40);
	base.cluster = get_u32(data + 44);
	base.valid = base_checksum(data) == get_u32(data + 508) && fields_are_right(&base, data);
	return base;
}

int64_t first_bin_written(const uint8_t *bins, size_t length)
{
	if (length < BIN_HEADER || memcmp(bins, "hbin", 4) != 0)
		return 0;
	return (int64_t)get_u64(bins + 20);
}
