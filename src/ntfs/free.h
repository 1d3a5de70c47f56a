/*
 * How much of an open volume is free, without reading its file table.
 *
 * Source: linux-ntfs documentation, "$Bitmap".
 */
#ifndef NTFS_FREE_H
#define NTFS_FREE_H

#include "ntfs/volume.h"

/*
 * Counts $Bitmap. False when it cannot be read without a hole, is larger than 64 MiB (2 TiB in
 * clusters of 4 KiB), its runs lie in several records, or it takes more than a few seconds.
 */
bool volume_count_free(const struct volume *volume, uint64_t *bytes);

#endif
