/*
 * Reading around bad sectors: a run that fails is read again in short runs, and those that fail
 * sector by sector, so that every good sector arrives and no sector is asked for more than three
 * times.
 */
#ifndef DISK_NARROW_H
#define DISK_NARROW_H

#include "disk/hole.h"

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
};

/* offset and length are multiples of the sector size. */
void narrow_read(const struct narrow *narrow, uint64_t offset, uint8_t *buffer, size_t length);

#endif
