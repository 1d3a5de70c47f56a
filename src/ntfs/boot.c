/* The boot sector: see boot.h. */
#include "ntfs/boot.h"

#include "base/bytes.h"
#include "ntfs/record.h"
#include "ntfs/runs.h"

#include <string.h>

#define MAX_CLUSTER ((uint64_t)2 << 20)

static bool is_power(uint64_t number)
{
	return number != 0 && (number & (number - 1)) == 0;
}

/* Up to 128 a count; above, as a signed byte, the negative power of two: 0xF4 is 2^12. */
static uint64_t sectors_per_cluster(uint8_t code)
{
	if (code <= 128)
		return code;
	return 256 - code < 32 ? UINT64_C(1) << (256 - code) : 0;
}

/* A positive count of clusters, or the negative power of two of the bytes. */
static uint64_t record_size(uint8_t code, uint64_t cluster_size)
{
	if (code < 128)
		return code * cluster_size;
	return 256 - code < 32 ? UINT64_C(1) << (256 - code) : 0;
}

bool boot_parse(struct boot *boot, const uint8_t *bytes)
{
	uint64_t sector = get_u16(bytes + 0x0B), cluster, record;

	if (memcmp(bytes + 3, "NTFS    ", 8) != 0 || !is_power(sector) || sector < 256 ||
	    sector > 4096)
		return false;
	cluster = sector * sectors_per_cluster(bytes[0x0D]);
	record = record_size(bytes[0x40], cluster);
	if (!is_power(cluster) || cluster > MAX_CLUSTER || !is_power(record) || record < 512 ||
	    record > RECORD_MAX_SIZE)
		return false;
	*boot = (struct boot){
	    .sector_size = (uint32_t)sector,
	    .cluster_size = (uint32_t)cluster,
	    .record_size = (uint32_t)record,
	    .sectors = get_u64(bytes + 0x28),
	    .table_lcn = get_u64(bytes + 0x30),
	    .mirror_lcn = get_u64(bytes + 0x38),
	    .serial = get_u64(bytes + 0x48),
	};
	/* So that no product of these numbers ever overflows. */
	if (boot->sectors == 0 || boot->sectors > INT64_MAX / sector)
		return false;
	boot->clusters = boot->sectors / (cluster / sector);
	return boot->clusters <= RUNS_MAX_CLUSTERS && boot->table_lcn < boot->clusters &&
	       boot->mirror_lcn < boot->clusters;
}

uint64_t boot_backup_offset(uint64_t length, unsigned index)
{
	static const uint64_t sizes[] = {512, 4096, 1024, 2048};
	uint64_t size = sizes[index / 2 % 4], offset;

	if (index >= 8 || length < 4 * size)
		return UINT64_MAX;
	offset = index % 2 == 0 ? length - size : length / 2;
	return offset / size * size;
}
