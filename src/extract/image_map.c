/* How far the saving of a drive is: see image_map.h. */
#include "extract/image_map.h"

#include "base/buf.h"
#include "extract/durable.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define MARK_LETTERS 64u

static bool write_file(const char *path, const struct buf *text, struct error *error)
{
	int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOFOLLOW, 0600);
	size_t done = 0;
	ssize_t written = 0;

	while (fd >= 0 && done < text->length) {
		written = write(fd, text->data + done, text->length - done);
		if (written < 0 && errno == EINTR)
			continue;
		if (written <= 0)
			break;
		done += (size_t)written;
	}
	if (fd >= 0 && done == text->length && fsync(fd) == 0 && close(fd) == 0)
		return true;
	durable_failed(error, errno != 0 ? errno : EIO, path);
	if (fd >= 0)
		close(fd);
	return false;
}

bool image_map_save(const struct image_map *map, const char *path, struct error *error)
{
	struct buf text = {0}, temporary = {0};
	bool good;

	buf_printf(&temporary, "%s-new", path);
	buf_printf(&text, "image 1\ndrive %" PRIu64 " %u %s\npassed %" PRIu64 "\nrounds %u\n",
	    map->size, map->sector_size, map->mark[0] != '\0' ? map->mark : "-", map->passed,
	    map->rounds);
	for (size_t i = 0; i < map->missing.count; i++)
		buf_printf(&text, "missing %" PRIu64 " %" PRIu64 "\n",
		    map->missing.items[i].offset, map->missing.items[i].length);
	buf_add_text(&text, "end\n");
	good = !text.failed && !temporary.failed && !map->missing.failed;
	if (!good)
		error_no_memory(error);
	good = good && write_file(buf_text(&temporary), &text, error);
	if (good && rename(buf_text(&temporary), path) != 0)
		good = durable_failed(error, errno, path);
	if (!good)
		unlink(buf_text(&temporary));
	buf_free(&text);
	buf_free(&temporary);
	return good && durable_sync_renamed(path, false, error);
}

/* --- reading ---------------------------------------------------------------------------------- */

/* One line. False: it is none of these. */
static bool take_line(struct image_map *map, const char *line)
{
	struct hole hole;
	char mark[80];

	if (sscanf(line, "drive %" SCNu64 " %" SCNu32 " %79s", &map->size, &map->sector_size,
		mark) == 3) {
		if (strcmp(mark, "-") == 0)
			mark[0] = '\0';
		snprintf(map->mark, sizeof(map->mark), "%.70s", mark);
		return mark[0] == '\0' || strlen(mark) == MARK_LETTERS;
	}
	if (sscanf(line, "passed %" SCNu64, &map->passed) == 1)
		return map->passed <= map->size;
	if (sscanf(line, "rounds %u", &map->rounds) == 1)
		return true;
	if (sscanf(line, "missing %" SCNu64 " %" SCNu64, &hole.offset, &hole.length) != 2 ||
	    hole.length == 0 || hole.offset >= map->size || hole.length > UINT64_MAX - hole.offset)
		return false;
	holes_add(&map->missing, hole.offset, hole.length);
	return true;
}

static bool take_lines(struct image_map *map, FILE *file)
{
	char line[256];

	if (fgets(line, sizeof(line), file) == NULL || strcmp(line, "image 1\n") != 0)
		return false;
	while (fgets(line, sizeof(line), file) != NULL) {
		if (strcmp(line, "end\n") == 0)
			return map->size > 0 && map->sector_size >= 512 && !map->missing.failed;
		if (!take_line(map, line))
			return false;
	}
	return false;
}

bool image_map_load(struct image_map *map, const char *path, bool *there, struct error *error)
{
	int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
	FILE *file = fd < 0 ? NULL : fdopen(fd, "r");
	bool good;

	*map = (struct image_map){0};
	*there = fd >= 0;
	if (fd < 0 && errno == ENOENT)
		return true;
	if (file == NULL) {
		if (fd >= 0)
			close(fd);
		return durable_failed(error, errno, path);
	}
	good = take_lines(map, file);
	fclose(file);
	return good || error_set(error, STATUS_DESTINATION,
	    "'%s' does not say how far the image is; remove it, and the unfinished image beside "
	    "it, to begin anew",
	    path);
}

bool image_map_is_of(const struct image_map *map, const struct image_map *drive)
{
	return map->size == drive->size && map->sector_size == drive->sector_size &&
	       (map->mark[0] == '\0' || drive->mark[0] == '\0' ||
		   strcmp(map->mark, drive->mark) == 0);
}
