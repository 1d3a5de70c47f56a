/*
 * The destination of a job from the live stick: a volume that a person, or a job file on it, has
 * chosen. Only while a job runs is it open for writing; every other volume stays read-only.
 *
 * The stick's own small programs do what concerns the system (set one volume read-write, load a file
 * system's driver); this file decides, mounts and lets go.
 */
#ifndef CONSOLE_TARGET_H
#define CONSOLE_TARGET_H

#include "base/error.h"
#include "console/look.h"

#include <stdbool.h>

/* Where the destination is mounted: a folder of the stick's root in memory. */
#define TARGET_FOLDER "/mnt"

/* Can a job be written to a volume with this file system? "FAT", "exFAT", "NTFS", or ext. */
bool target_is_possible(const struct look_volume *volume);

/*
 * Reads one small file of a volume without changing anything there, a journal least of all: the
 * volume is mounted read-only without replay, and let go. `*text` is NUL-terminated and to be freed.
 * False when there is no such file, or it is larger than `limit` bytes, or the volume cannot be read;
 * *found tells the first case from the others.
 */
bool target_peek(const struct look_volume *volume, const char *name, size_t limit, char **text,
    size_t *length, bool *found, struct error *error);

/*
 * Opens the volume for writing and mounts it at TARGET_FOLDER. From here on it may be changed (its
 * own journal is replayed). False with *error, a sentence that says what to do.
 */
bool target_open(const struct look_volume *volume, struct error *error);

/*
 * Writes everything out, unmounts, and sets the volume and its drive read-only again. False when
 * that did not go well: what was written last may be missing.
 */
bool target_close(const struct look_volume *volume, struct error *error);

#endif
