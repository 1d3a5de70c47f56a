/*
 * What a source is read from: a block device, an image file, or the test device.
 *
 * The only place in the program that touches an old drive. There is no way to write.
 */
#ifndef DISK_DEVICE_H
#define DISK_DEVICE_H

#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

struct device;

struct device_ops {
	/*
	 * Reads up to `length` bytes at `offset`; offset, length and buffer are multiples of the
	 * device's sector size (the end of the drive may lie inside the last sector: what is behind
	 * it does not count as missing). Returns bytes read, or -errno; -ENODEV means that the
	 * drive is gone. A short count means that the next byte failed. Called by the reader thread
	 * only.
	 */
	ssize_t (*read)(struct device *device, uint64_t offset, void *buffer, size_t length);
	/* Gives back the state; the device itself is freed by device_close(). */
	void (*close)(struct device *device);
};

struct device {
	const struct device_ops *ops;
	char *path;    /* as the user named it */
	uint64_t size; /* bytes; of an image file not always a multiple of the sector size */
	uint32_t
	    sector_size; /* logical, 512 for an image file; a power of two from 512 to 65,536 */
	bool is_block;
	dev_t number; /* of a block device, or of the file system that holds the image */
	void *state;  /* of the implementation */
};

/*
 * Opens a block device or an image file, read-only (O_RDONLY; O_DIRECT on block devices). A block
 * device that is mounted read-write, used as swap or held by another driver is refused, and so is
 * an image file that is mounted read-write through a loop device. A block device that nothing holds
 * is opened exclusively, so that nothing can mount it while it is open, and is set read-only in the
 * kernel (as root); device_close() sets it back. That is promised for every way out that reaches
 * device_close(): a program that must obey SIGINT or SIGTERM while a device is open returns through
 * it. After SIGKILL the drive stays read-only until it is unplugged or set back by hand, which does
 * no harm.
 *
 * Ranges in a list beside an image file (disk/listed.h) cannot be read.
 *
 * NULL with *error (STATUS_NO_VOLUME: not there, no permission, a folder, empty, in use;
 * STATUS_OTHER).
 */
struct device *device_open(const char *path, struct error *error);
void device_close(struct device *device);

/*
 * A device of any implementation, with a copy of `path`; the caller fills in the rest. NULL when
 * memory runs out.
 */
struct device *device_new(const struct device_ops *ops, const char *path);

/*
 * The test device: an image file whose reads can fail, slow down, be corrupted and are counted.
 * `script` is text, one rule per line, empty lines and lines that start with '#' ignored:
 *   fail OFFSET LENGTH [TIMES]     reading these bytes gives EIO (only the first TIMES times)
 *   short OFFSET LENGTH            the same, but the bytes in front of it are delivered
 *   fleeting OFFSET LENGTH TIMES   each sector there gives EIO the first TIMES times it is asked for
 *   dies OFFSET LENGTH READS       these bytes give EIO after so many requests to the device
 *   flip OFFSET MASK               the byte at OFFSET is read xor MASK
 *   slow OFFSET LENGTH MILLIS      reading there takes that long
 *   size BYTES                     the device seems to end there
 *   sector BYTES                   logical sector size
 *   hang OFFSET LENGTH             reading there never returns
 *   gone OFFSET LENGTH             reading there, and everything after it, gives ENODEV
 *   watch                          sectors that are delivered more than once are counted
 * Numbers are decimal or, with 0x, hexadecimal.
 */
struct device *device_open_test(const char *image, const char *script, struct error *error);

struct device_counts {
	uint64_t reads, bytes, failures; /* bytes: that were asked for */
	/* Most often that one sector with a failing rule was asked for. */
	uint64_t most_asked;
	/* Sectors delivered again: at all, and those delivered before since the first failure. */
	uint64_t again, again_since;
};
/* Of a test device. */
struct device_counts device_test_counts(const struct device *device);

#endif
