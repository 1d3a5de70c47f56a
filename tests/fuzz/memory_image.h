/*
 * A drive in memory for the fuzz targets, one sector of which cannot be read.
 */
#ifndef MEMORY_IMAGE_H
#define MEMORY_IMAGE_H

#include "disk/source.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

/* Stays the caller's, and has to stay until the source is closed. */
struct memory_image {
	const uint8_t *bytes;
	size_t size;         /* a multiple of 512 */
	uint64_t bad_sector; /* its number, in sectors of 512 bytes */
};

static ssize_t memory_image_read(
    struct device *device, uint64_t offset, void *buffer, size_t length)
{
	const struct memory_image *image = device->state;
	uint64_t bad = image->bad_sector * 512;

	if (offset >= image->size || length > image->size - offset)
		return -EIO;
	if (offset <= bad && offset + length > bad) {
		if (offset == bad)
			return -EIO;
		length = (size_t)(bad - offset);
	}
	memcpy(buffer, image->bytes + offset, length);
	return (ssize_t)length;
}

static void memory_image_close(struct device *device)
{
	device->state = NULL;
}

static const struct device_ops memory_image_ops = {
    .read = memory_image_read, .close = memory_image_close};

/* NULL when a thread or memory cannot be had. */
static struct source *memory_image_open(struct memory_image *image)
{
	struct device *device = device_new(&memory_image_ops, "image");

	if (device == NULL)
		return NULL;
	device->size = image->size;
	device->sector_size = 512;
	device->state = image;
	return source_open(device, NULL);
}

#endif
