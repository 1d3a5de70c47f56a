/*
 * Which drives this computer has: model, serial, bus and size from sysfs.
 *
 * Source: Linux kernel documentation, Documentation/ABI/{testing,stable}/sysfs-block; what the
 * buses look like in the device path: the kernel's drivers, common practice.
 */
#ifndef DISK_DRIVES_H
#define DISK_DRIVES_H

#include "base/arena.h"
#include "base/error.h"
#include "base/finding.h"
#include "disk/device.h"

#include <stdbool.h>
#include <stdint.h>
#include <sys/types.h>

struct json;

struct drive {
	const char *path;  /* "/dev/sda", or the image file */
	const char *model; /* "" when unknown; inner text, trimmed */
	const char *serial;
	const char *
	    bus; /* "USB", "ATA" (also SATA), "NVMe", "virtio", "image file", ... "" when unknown */
	dev_t number;  /* of the whole drive, as the kernel has it; 0: an image file */
	uint64_t size; /* bytes */
	uint32_t sector_size, physical_sector_size;
	bool removable, spinning, read_only;
	bool is_image;
	/* Of a drive on USB: how fast it is connected, Mbit/s (1: really 1.5); 0: not known. */
	unsigned link_megabits;
};

/* The keys by which a drive is known: path, model, serial, bus, size. */
void drive_keys_to_json(const struct drive *drive, struct json *json);

/*
 * All whole drives with a medium, sorted by name; loop devices without a file, RAM disks, optical
 * and floppy drives and zero-sized devices are left out. `root` is "" for the running system; tests
 * give a folder with copies of sys/ and proc/.
 */
bool drives_list(struct arena *arena, const char *root, struct drive **drives, size_t *count,
    struct error *error);

/*
 * What is known of one source: of a block device from sysfs (of a partition: what is known of its
 * drive, and its own size), of an image file from the file.
 */
bool drive_describe(struct arena *arena, const char *root, const char *path, struct drive *drive,
    struct error *error);

/* {"bus":"USB","megabits":480}, or null when the speed is not known or it is not on USB. */
void drive_link_to_json(const struct drive *drive, struct json *json);

/*
 * Adds the note "slow-link" when the drive is connected at the speed of USB 2 or 1, with the time
 * that reading then takes.
 */
void drive_find_slow_link(const struct drive *drive, struct findings *findings);

/*
 * The kernel's name ("/dev/sda1") of the volume that begins at byte `offset` of the block device
 * `number`; of the device itself where the volume is the whole of it. NULL when the kernel shows no
 * partition that begins there, or memory ran out.
 */
const char *drive_volume_device(struct arena *arena, const char *root, dev_t number,
    uint64_t offset, bool is_whole);

/*
 * Does the file system at `folder` lie, through partitions, loop devices, device mapper or RAID, on
 * the drive `device`? A partition stands for its whole drive. For refusing a destination on a
 * source. Of a file system over several drives only the one that is mounted is known.
 */
bool drive_holds_folder(const char *root, dev_t device, const char *folder);

/* The same for an image file: is the folder on a file system that is stored in it? */
bool image_holds_folder(const char *root, const char *image, const char *folder);

/* One of the two, by what the device is. */
bool device_holds_folder(const char *root, const struct device *device, const char *folder);

#endif
