/*
 * Images of drives for the unit tests: files that sfdisk, or the test itself, puts tables on.
 */
#ifndef DRIVE_IMAGE_H
#define DRIVE_IMAGE_H

#include "disk/source.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct drive_image {
	char path[64];
	int fd;
	uint64_t size;
};

/* A new file of zeros in a temporary folder. */
struct drive_image image_make(uint64_t size);
void image_drop(struct drive_image *image);

/*
 * `size` bytes that look like chance and are the same for each `seed`; to be freed. With a `path`, a
 * template of mkstemp(), they are written into a new file of that name, too.
 */
uint8_t *image_fill(char *path, size_t size, uint32_t seed);

/* Makes an NTFS volume of all of it (mkntfs). False where that program is not there. */
bool image_make_ntfs(const struct drive_image *image);

void image_write(struct drive_image *image, uint64_t offset, const void *data, size_t length);
void image_read(struct drive_image *image, uint64_t offset, void *data, size_t length);

/* Puts the table of an sfdisk script on it. */
void image_sfdisk(struct drive_image *image, unsigned sector_size, const char *script);

/* Computes both checksums of the GPT header at byte `offset` again, after the test changed it. */
void image_fix_gpt(struct drive_image *image, uint64_t offset, unsigned sector_size);

/* A source over an image file that misbehaves as the script says (device_open_test()). */
struct source *image_open(const char *path, const char *script);

#endif
