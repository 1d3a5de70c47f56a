/* See drive_image.h. */
#include "unit.h"

#include "drive_image.h"

#include "base/bytes.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <zlib.h>

struct drive_image image_make(uint64_t size)
{
	struct drive_image image = {.path = "/tmp/coldlift-image-XXXXXX", .size = size};

	image.fd = mkstemp(image.path);
	assert_true(image.fd >= 0);
	assert_int_equal(ftruncate(image.fd, (off_t)size), 0);
	return image;
}

uint8_t *image_fill(char *path, size_t size, uint32_t seed)
{
	uint8_t *content = malloc(size);

	assert_non_null(content);
	for (size_t i = 0; i < size; i++) {
		seed = seed * 1664525 + 1013904223;
		content[i] = (uint8_t)(seed >> 24);
	}
	if (path != NULL) {
		int fd = mkstemp(path);

		assert_true(fd >= 0);
		assert_int_equal(write(fd, content, size), size);
		assert_int_equal(close(fd), 0);
	}
	return content;
}

void image_drop(struct drive_image *image)
{
	close(image->fd);
	unlink(image->path);
}

void image_write(struct drive_image *image, uint64_t offset, const void *data, size_t length)
{
	assert_int_equal(pwrite(image->fd, data, length, (off_t)offset), length);
}

void image_read(struct drive_image *image, uint64_t offset, void *data, size_t length)
{
	assert_int_equal(pread(image->fd, data, length, (off_t)offset), length);
}

/*
 * sfdisk always counts in the sectors of the device, 512 bytes for a file; fdisk takes another size
 * and reads the same scripts.
 */
void image_sfdisk(struct drive_image *image, unsigned sector_size, const char *script)
{
	char command[500], list[80];
	FILE *pipe;

	snprintf(list, sizeof(list), "%s.script", image->path);
	if (sector_size == 512)
		snprintf(command, sizeof(command),
		    "PATH=$PATH:/usr/sbin:/sbin sfdisk --quiet --no-reread %s >/dev/null",
		    image->path);
	else
		snprintf(command, sizeof(command),
		    "cat >%s && printf 'I\\n%s\\nw\\n' | PATH=$PATH:/usr/sbin:/sbin fdisk -b %u %s "
		    ">/dev/null && rm %s",
		    list, list, sector_size, image->path, list);
	pipe = popen(command, "w");
	assert_non_null(pipe);
	fputs(script, pipe);
	assert_int_equal(pclose(pipe), 0);
}

void image_fix_gpt(struct drive_image *image, uint64_t offset, unsigned sector_size)
{
	uint8_t header[92], *entries;
	size_t length;

	image_read(image, offset, header, sizeof(header));
	length = (size_t)get_u32(header + 80) * get_u32(header + 84);
	if (length > 0 && length < 4u << 20) {
		entries = calloc(1, length);
		assert_non_null(entries);
		/* Where the field leads nowhere, the checksum does not matter. */
		if (pread(image->fd, entries, length, (off_t)(get_u64(header + 72) * sector_size)) >
		    0)
			put_u32(header + 88, (uint32_t)crc32(0, entries, (uInt)length));
		free(entries);
	}
	put_u32(header + 16, 0);
	put_u32(header + 16, (uint32_t)crc32(0, header, sizeof(header)));
	image_write(image, offset, header, sizeof(header));
}

bool image_make_ntfs(const struct drive_image *image)
{
	char command[160];

	snprintf(command, sizeof(command), "mkntfs -q -F -s 512 %s >/dev/null 2>&1", image->path);
	return system(command) == 0;
}

struct source *image_open(const char *path, const char *script)
{
	struct error error = {0};
	struct device *device = device_open_test(path, script, &error);
	struct source *source;

	assert_non_null(device);
	source = source_open(device, &error);
	assert_non_null(source);
	return source;
}
