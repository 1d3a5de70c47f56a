/*
 * Block devices as the kernel shows them in sysfs: attributes, and what lies on what.
 *
 * `root` is "" for the running system; tests give a folder with a copy of sys/ and proc/ in it.
 * Source: Linux kernel documentation, Documentation/ABI/stable/sysfs-block,
 * Documentation/ABI/testing/sysfs-class-block (slaves, holders, partition, dev, loop/backing_file).
 */
#ifndef DISK_SYSFS_H
#define DISK_SYSFS_H

#include <limits.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

struct sysfs_path {
	char text[PATH_MAX];
};

/* Reads up to `size` raw bytes of folder/file; the count, or -1 when it cannot be read. */
ssize_t sysfs_bytes(const char *folder, const char *file, void *out, size_t size);

/* The first line, without spaces around it; "" and false when it cannot be read or is empty. */
bool sysfs_text(const char *folder, const char *file, char *out, size_t size);

/* A decimal number, or `otherwise`. */
uint64_t sysfs_number(const char *folder, const char *file, uint64_t otherwise);

/* The folder of the block device `number` below root/sys/devices. */
bool sysfs_device_folder(const char *root, dev_t number, struct sysfs_path *folder);

/* Its number out of the file "dev"; 0 when there is none. */
dev_t sysfs_device_number(const char *folder);

bool sysfs_join(struct sysfs_path *out, const char *folder, const char *name);

#define BLOCK_SET_MAX 256

struct block_set {
	dev_t items[BLOCK_SET_MAX];
	size_t count;
	bool full; /* there are more: the set is not complete */
};

bool block_set_has(const struct block_set *set, dev_t number);

/*
 * The device itself, its partitions, and everything that holds them (device mapper, RAID). The
 * first `own` items are the device and its partitions, what holds them comes behind.
 */
void block_set_above(const char *root, dev_t number, struct block_set *set, size_t *own);

/*
 * The device itself and everything that it lies on: the drive of a partition, the members of a RAID
 * or mapped device, the device that holds a loop device's file.
 */
void block_set_below(const char *root, dev_t number, struct block_set *set);

/* The block device of the file system that holds `path`; 0 when it has none or it is not known. */
dev_t block_under_path(const char *root, const char *path);

/* The image file that the file system at `path` is mounted from without a loop device, if so. */
bool mounted_file(const char *root, const char *path, struct sysfs_path *file);

/* The loop device's file, when `number` is a loop device that has one. */
bool block_loop_file(const char *root, dev_t number, struct sysfs_path *file);

/* The whole drive that a partition is on; a whole drive's own number otherwise. */
dev_t block_whole(const char *root, dev_t number);

#endif
