/*
 * What is mounted on the computer that coldlift runs on, and what it swaps to.
 *
 * Source: proc(5), /proc/pid/mountinfo and /proc/swaps; Linux kernel documentation,
 * Documentation/filesystems/proc.rst, section 3.5.
 */
#ifndef DISK_MOUNTS_H
#define DISK_MOUNTS_H

#include "base/arena.h"

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

struct mount {
	dev_t number; /* as mountinfo has it; an anonymous one (major 0) for some file systems */
	const char *point;  /* where it is mounted */
	const char *source; /* what is mounted: a device, an image file, or any word */
	bool read_only;     /* the file system itself, not only this mount of it */
};

/*
 * All mounts, in the order of mountinfo, and the paths that are swapped to. `root` is "" for the
 * running system. False when memory runs out; a file that is not there gives an empty list.
 */
bool mounts_read(struct arena *arena, const char *root, struct mount **mounts, size_t *count);
bool swaps_read(struct arena *arena, const char *root, const char ***paths, size_t *count);

#endif
