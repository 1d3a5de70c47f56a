/*
 * Whether a destination can take a job: checked before anything is written there.
 */
#ifndef EXTRACT_DESTINATION_H
#define EXTRACT_DESTINATION_H

#include "base/buf.h"
#include "base/error.h"
#include "system/survey.h"

#include <stdbool.h>
#include <stdint.h>

struct destination {
	uint64_t device;     /* number of its file system */
	uint64_t free;       /* bytes; UINT64_MAX: not told */
	uint64_t files;      /* how many more it takes; UINT64_MAX: not told */
	uint64_t file_limit; /* largest possible file, bytes; 0: no limit worth a thought */
	uint64_t cluster;    /* every file takes a multiple of this, bytes */
	bool stores_zeros;   /* ranges that are left out take room there all the same */
	bool in_memory;      /* gone when the computer is switched off */
};

/*
 * Is `folder` there and can be written to? Needs no survey, so it can be asked first. A ramfs, the
 * root of a live system, is refused: it has no end, so a job there would fill the memory, and is
 * what a folder is on which no drive was mounted. False with *error (STATUS_DESTINATION).
 */
bool destination_check(struct destination *destination, const char *folder, struct error *error);

/* Does the folder lie on none of the surveyed drives? False with *error (STATUS_DESTINATION). */
bool destination_is_apart(const char *folder, const struct survey *survey, struct error *error);

/*
 * Adds the room of another one (`folder`), where the job goes on when this one is full. False with
 * *error when it is the same room.
 */
bool destination_join(struct destination *destination, const struct destination *next,
    const char *folder, struct error *error);

/* What a job needs at most. */
struct need {
	uint64_t bytes;
	uint64_t files; /* and folders */
};

/* Is there room for it? False with *error (STATUS_DESTINATION), which says what to do. */
bool destination_has_room(const struct destination *destination, const struct need *need,
    struct error *error);

#endif
