/*
 * A folder that stands for the root of a computer: sys/ with the files that a test puts there.
 *
 * Layout: Linux kernel documentation, Documentation/ABI/stable/sysfs-block and
 * testing/sysfs-class-block, sysfs-bus-pci.
 */
#ifndef UNIT_FAKE_SYSFS_H
#define UNIT_FAKE_SYSFS_H

#include <stdbool.h>

struct fake_sysfs {
	char root[64];
};

struct fake_sysfs fake_sysfs_make(void);
void fake_sysfs_drop(struct fake_sysfs *fake);

/* A file with this text; folders on the way are made. */
void fake_put(const struct fake_sysfs *fake, const char *name, const char *text);
void fake_link(const struct fake_sysfs *fake, const char *name, const char *target);
void fake_remove(const struct fake_sysfs *fake, const char *name);

/*
 * A whole drive or (with a '/' in it: "sda/sda1") a partition, `name` below sys/devices/x/block/,
 * with its number "8:0" and its links.
 */
void fake_block(const struct fake_sysfs *fake, const char *name, const char *number);

#endif
