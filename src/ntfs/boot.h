/*
 * The boot sector: the geometry of a volume. Private to src/ntfs.
 *
 * Source: linux-ntfs documentation, "$Boot".
 */
#ifndef NTFS_BOOT_H
#define NTFS_BOOT_H

#include <stdbool.h>
#include <stdint.h>

#define BOOT_SIZE 512u

struct boot {
	uint32_t sector_size, cluster_size, record_size; /* bytes */
	uint64_t sectors; /* without the last one, which holds the backup */
	uint64_t clusters;
	uint64_t table_lcn, mirror_lcn;
	uint64_t serial;
};

/* Reads and checks BOOT_SIZE bytes. False when they describe no volume. */
bool boot_parse(struct boot *boot, const uint8_t *bytes);

/*
 * Where a copy of the boot sector can lie in `length` bytes: the last sector (by the sector sizes
 * there are), and the middle, where the first versions kept it. The `index`-th offset, or
 * UINT64_MAX.
 */
uint64_t boot_backup_offset(uint64_t length, unsigned index);

#endif
