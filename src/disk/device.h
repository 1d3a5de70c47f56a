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
	 * device's sector size. Returns bytes read, or -errno. A short count means that the next byte
	 * failed. Called by the reader thread only.
	 */
	ssize_t (*read)(struct device *device, uint64_t offset, void *buffer, size_t length);
	void (*close)(struct device *device);
};

struct device {
	const struct device_ops *ops;
	char *path;           /* as the user named it */
	uint64_t size;        /* bytes */
	uint32_t sector_size; /* logical, 512 for an image file */
	bool is_block;
	dev_t number;         /* of a block device, or of the file system that holds the image */
	void *state;          /* of the implementation */
};

/*
 * Opens a block device or an image file, read-only (O_RDONLY; O_DIRECT on block devices). A block
 * device that is mounted read-write, used as swap or held by another driver is refused; one that
 * nothing holds is set read-only in the kernel and set back by device_close(). NULL with *error
 * (STATUS_NO_VOLUME: not there, no permission, a folder, empty; STATUS_OTHER).
 */
struct device *device_open(const char *path, struct error *error);
void device_close(struct device *device);

/*
 * The test device: an image file whose reads can fail, slow down, be corrupted and are counted.
 * `script` is text, one rule per line:
 *   fail OFFSET LENGTH [TIMES]     reading these bytes gives EIO (only the first TIMES times)
 *   flip OFFSET MASK               the byte at OFFSET is read xor MASK
 *   slow OFFSET LENGTH MILLIS      reading there takes that long
 *   size BYTES                     the device seems to end there
 *   sector BYTES                   logical sector size
 *   hang OFFSET LENGTH             reading there never returns
 */
struct device *device_open_test(const char *image, const char *script, struct error *error);

struct device_counts {
	uint64_t reads, bytes, failures;
};
/* Of a test device. */
struct device_counts device_test_counts(const struct device *device);

#endif
