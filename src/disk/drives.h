/*
 * Which drives this computer has: model, serial, bus and size from sysfs.
 *
 * Source: Linux kernel documentation, Documentation/ABI/{testing,stable}/sysfs-block.
 */
#ifndef DISK_DRIVES_H
#define DISK_DRIVES_H

#include "base/arena.h"
#include "base/error.h"

#include <stdbool.h>
#include <stdint.h>
#include <sys/types.h>

struct drive {
	const char *path;    /* "/dev/sda", or the image file */
	const char *model;   /* "" when unknown; inner text, trimmed */
	const char *serial;
	const char *bus;     /* "USB", "SATA", "NVMe", "virtio", "image file", ... */
	uint64_t size;       /* bytes */
	uint32_t sector_size, physical_sector_size;
	bool removable, spinning, read_only;
	bool is_image;
};

/*
 * All whole drives with a medium, sorted by name; loop devices without a file, RAM disks and zero-sized
 * devices are left out. `root` is "" for the running system; tests give a folder with a sysfs copy.
 */
bool drives_list(struct arena *arena, const char *root, struct drive **drives, size_t *count,
    struct error *error);

/* What is known of one source: of a block device from sysfs, of an image file from the file. */
bool drive_describe(struct arena *arena, const char *root, const char *path, struct drive *drive,
    struct error *error);

/*
 * Do the file systems at `folder` lie, through partitions, loop devices, device mapper or RAID, on
 * the drive `device` (or, for an image, is the folder on a file system stored in it)? For refusing a
 * destination on a source.
 */
bool drive_holds_folder(const char *root, dev_t device, const char *folder);

#endif
