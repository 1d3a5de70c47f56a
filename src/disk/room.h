/*
 * What a volume is called and how much room is left on it: FAT, exFAT and ext2/3/4, read from the
 * raw bytes without mounting anything and without replaying a journal.
 *
 * Sources: Microsoft "FAT: General Overview of On-Disk Format" 1.03 (boot sector, FSInfo sector,
 * "FAT Data Structure", "FAT Directory Structure"); Microsoft "exFAT file system specification"
 * (3.1 main boot sector, 4.1 FAT, 7.1 allocation bitmap, 7.3 volume label); Linux kernel
 * documentation, filesystems/ext4, "Super Block".
 */
#ifndef DISK_ROOM_H
#define DISK_ROOM_H

#include "base/arena.h"
#include "disk/partition.h"
#include "disk/source.h"

#include <stdbool.h>
#include <stdint.h>

#define ROOM_UNKNOWN UINT64_MAX

struct room {
	const char *label; /* inner text, "" when the volume has none; NULL when it is not known */
	uint64_t free;     /* bytes that a user could still write; ROOM_UNKNOWN */
};

/*
 * Looks at the volume at [offset, offset + length) of the source. What a file system notes of its
 * free room is only as good as its last proper unmounting: FAT's note is not trusted when the
 * volume was not put away properly, it is counted then. Counting stops without a result at a hole,
 * after a few seconds, and on a drive that could not read something before. Everything is unknown
 * for other file systems.
 */
struct room room_read(struct source *source, uint64_t offset, uint64_t length,
    enum filesystem filesystem, struct arena *arena);

#endif
