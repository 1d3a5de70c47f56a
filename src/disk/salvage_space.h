/*
 * Where the sector store's bytes lie: numbered files, divided into segments. A segment in which
 * nothing is needed any more is filled again, and the last ones are cut off.
 */
#ifndef DISK_SALVAGE_SPACE_H
#define DISK_SALVAGE_SPACE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define SPACE_SEGMENT (UINT64_C(4) << 20) /* bytes */
#define SPACE_FILE_SEGMENTS 256u          /* 1 GiB: well below what FAT can hold */

struct space {
	int folder;    /* descriptor, not owned; -1: none yet */
	const char *name;
	int *files;
	size_t n_files, files_capacity;
	uint32_t *live; /* of each segment: bytes that are needed */
	size_t n_segments, segments_capacity;
	size_t current; /* is being filled; n_segments: none */
	uint32_t fill;
	uint64_t reserve;
	int failure;    /* errno value of the latest failure; 0: none */
};

void space_start(struct space *space, const char *name);
/* Closes the files. */
void space_free(struct space *space);
/* The same, and removes them. */
void space_remove(struct space *space);

/* Opens the files that are there. False with space->failure. */
bool space_open(struct space *space);

/* Renames the files into another folder (a descriptor). False with space->failure. */
bool space_move(struct space *space, int folder);

/* Opens the copies of the files in the folder in place of those that are open. False with errno. */
bool space_follow(struct space *space);

/*
 * Writes `length` bytes (a segment at most) where there is room, and counts them as needed. False
 * with space->failure.
 */
bool space_put(struct space *space, const void *data, uint32_t length, uint64_t *position);
bool space_read(const struct space *space, uint64_t position, void *buffer, uint32_t length);
/* Counts the bytes as needed, of a file that was opened. False: there is no such place. */
bool space_claim(struct space *space, uint64_t position, uint32_t length);
void space_release(struct space *space, uint64_t position, uint32_t length);
bool space_sync(struct space *space);

#endif
