/*
 * Mounting a destination's file system: which options each needs. Only target.c and target_peek.c
 * use this, in processes of their own: every function here can hang.
 *
 * Sources: mount(2); Linux kernel documentation, Documentation/filesystems/vfat.rst and
 * Documentation/admin-guide/ext4.rst (noload, errors); ntfs-3g(8) (norecover, ro) and
 * ntfs-3g.probe(8) (exit codes).
 */
#ifndef CONSOLE_TARGET_MOUNT_H
#define CONSOLE_TARGET_MOUNT_H

#include "base/error.h"

#include <stdbool.h>

enum target_kind {
	TARGET_FAT,
	TARGET_EXFAT,
	TARGET_NTFS,
	TARGET_EXT,
	TARGET_NONE, /* nothing that coldlift writes to */
};

/* From what filesystem_name() says. */
enum target_kind target_kind(const char *filesystem);

/*
 * Mounts `device` at `folder`: for a glance, without any change, or for writing. False with *error
 * (STATUS_DESTINATION), a sentence that says what to do; nothing is mounted then.
 */
bool target_mount_to_read(
    enum target_kind kind, const char *device, const char *folder, struct error *error);
bool target_mount_to_write(
    enum target_kind kind, const char *device, const char *folder, struct error *error);

/*
 * Unmounts, and waits until a driver outside the kernel is done with the device, `seconds` at most.
 * False when the folder was still in use (it is detached then, and goes as soon as it can) or the
 * driver has not ended.
 */
bool target_unmount(const char *device, const char *folder, unsigned seconds);

#endif
