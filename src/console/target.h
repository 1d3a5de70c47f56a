/*
 * The destination of a job from the live stick: a volume that a person, or a job file on it, has
 * chosen. Only while a job runs is it open for writing; every other volume stays read-only.
 *
 * The stick's own small programs do what concerns the system (`read-write` opens one volume,
 * `read-only` closes it, ntfs-3g is the driver for NTFS); this part decides, mounts and lets go.
 * Whatever can hang is done in a process of its own.
 */
#ifndef CONSOLE_TARGET_H
#define CONSOLE_TARGET_H

#include "base/buf.h"
#include "base/error.h"
#include "console/look.h"

#include <stdbool.h>

/* Where the destination is mounted: a folder of the stick's root in memory. */
#define TARGET_FOLDER "/mnt"
/* And where the one is that a job leaves, while it goes on at another. */
#define TARGET_EARLIER "/mnt-earlier"

/* Can a job be written to a volume with this file system? "FAT", "exFAT", "NTFS", or "ext". */
bool target_is_possible(const struct look_volume *volume);

/*
 * What is done inside a volume at which somebody looks: `folder` is where it is mounted. In another
 * process, as apart_work (see apart.h).
 */
typedef bool target_work(
    const void *about, const char *folder, struct buf *answer, struct error *error);

/*
 * Mounts the volume read-only and without replaying its own journal, where nobody else sees it,
 * and has `work` look around there: nothing on the volume changes. Its answer is appended to
 * *answer. False with *error: the work's own, the volume cannot be read, or it took longer than
 * `seconds`.
 */
bool target_look(const struct look_volume *volume, target_work *work, const void *about,
    unsigned seconds, struct buf *answer, struct error *error);

/* What a glance at a volume told. */
struct target_view {
	bool found;      /* the file is there */
	bool old_system; /* it has a folder with the hives of a Windows */
	struct buf text; /* the file's first bytes; to be freed */
};

/*
 * Reads the beginning of one small file at the top of a volume, `limit` bytes at most, as
 * target_look() does. The file's name may be written in any case. False with *error when the volume
 * cannot be read.
 */
bool target_peek(const struct look_volume *volume, const char *name, size_t limit,
    struct target_view *view, struct error *error);

/*
 * Opens the volume for writing and mounts it at one of these folders. Two volumes that are open at
 * the same time must be on two drives. From here on it may be changed (its
 * own journal is replayed). False with *error (STATUS_DESTINATION), a sentence that says what to
 * do; the volume is read-only again then.
 */
bool target_open(const struct look_volume *volume, const char *folder, struct error *error);

/*
 * Writes everything out, unmounts, and sets the volume and its drive read-only again. False with
 * *error when that did not go well: what was written last may be missing. In any case
 * the folder is free again, or everything possible was done for that.
 */
bool target_close(const struct look_volume *volume, const char *folder, struct error *error);

#endif
