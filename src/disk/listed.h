/*
 * The list of what could not be read when an image was made: a text file beside the image, with the
 * image's name and ".holes" behind it.
 *
 * One range a line: offset and length in bytes, decimal, separated by spaces or tabs. What follows
 * a '#' does not count, nor do empty lines. Ranges may overlap and stand in any order; they are
 * widened to whole sectors. What an image holds in such a range means nothing, whatever it is.
 */
#ifndef DISK_LISTED_H
#define DISK_LISTED_H

#include "base/error.h"
#include "disk/device.h"
#include "disk/hole.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define LISTED_ENDING ".holes"
#define LISTED_FILE_MAX ((size_t)64 << 20) /* bytes; limits for hostile lists */
#define LISTED_RANGES_MAX ((size_t)1 << 20)

/*
 * Reads a list for an image of `size` bytes out of `length` bytes of text. False with *error, in
 * which `path` names the list: a line that is none, a range that is empty or reaches over the end,
 * too many of them, no memory.
 */
bool listed_parse(const char *text, size_t length, const char *path, uint64_t size,
    uint32_t sector_size, struct holes *holes, struct error *error);

/*
 * The device with the holes of the list beside its image, if there is one; otherwise the device
 * itself. Takes over `device` (also when it fails). NULL with *error when the list cannot be read
 * or is wrong: without it damaged files would be taken for whole.
 */
struct device *listed_open(struct device *device, struct error *error);

/* The ranges of that list; NULL for a device without one. */
const struct holes *listed_holes(const struct device *device);

#endif
