/*
 * Reading around bad sectors, in three manners.
 *
 * Thorough: a run that fails is read again in short runs, and those that fail sector by sector, so
 * that every good sector arrives and no sector is asked for more than three times.
 *
 * First try: a run that fails is read again in short runs; where one of those fails, or takes very
 * long, it is skipped, further with each failure that follows, and put off to later.
 *
 * Again: what was put off, in units of one size, each once.
 */
#ifndef DISK_NARROW_H
#define DISK_NARROW_H

#include "disk/hole.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

struct narrow {
	/* Like device_ops.read, with `context` instead of the device. */
	ssize_t (*read)(void *context, uint64_t offset, void *buffer, size_t length);
	void *context;
	uint32_t sector_size;
	uint64_t size; /* of the drive; the last sector may reach over it */
	struct holes
	    *holes; /* what stayed unread is added, in whole sectors, and zero in the buffer */
	/* Did the latest request take very long? NULL: no. */
	bool (*is_slow)(void *context);
	/* Is there no patience left for what did not read at once? NULL: there is. */
	bool (*is_weary)(void *context);
};

/* offset and length are multiples of the sector size. */
void narrow_read(const struct narrow *narrow, uint64_t offset, uint8_t *buffer, size_t length);

/* How far the next failure skips, in bytes; 0 at first. */
#define SKIP_LEAST 65536u
#define SKIP_MOST (8u << 20)
/*
 * What is put off is added to *put_off, too, and may reach behind the request: the caller does not
 * ask for it before the next round.
 */
void narrow_first_try(const struct narrow *narrow, uint64_t *skip, uint64_t offset,
    uint8_t *buffer, size_t length, struct holes *put_off);

/* How a round asks for what was put off before. */
struct narrow_way {
	uint32_t unit;  /* bytes, at least a sector */
	bool backwards; /* from the far side */
	bool stops;     /* at the first failure */
};
void narrow_again(const struct narrow *narrow, const struct narrow_way *way, uint64_t offset,
    uint8_t *buffer, size_t length);

#endif
