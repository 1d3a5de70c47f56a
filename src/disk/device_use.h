/*
 * Is a drive or an image file in use by the computer that coldlift runs on?
 */
#ifndef DISK_DEVICE_USE_H
#define DISK_DEVICE_USE_H

#include "base/error.h"

#include <stdbool.h>
#include <sys/stat.h>

/*
 * False with *error when the block device or image file of `status` is mounted read-write (itself,
 * a partition of it, or through a loop device), is swapped to, or is held by another driver. `root`
 * as in sysfs.h. *mounted tells whether a file system on it is mounted read-only.
 */
bool device_is_free(const char *root, const char *path, const struct stat *status, bool *mounted,
    struct error *error);

#endif
