/* Where the sector store's bytes lie: see salvage_space.h. */
#include "disk/salvage_space.h"

#include "base/buf.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

#define MOST_FILES 100000u

void space_start(struct space *space, const char *name)
{
	*space = (struct space){.folder = -1, .name = name};
}

static bool file_name(const struct space *space, size_t index, char *name, size_t size)
{
	return (size_t)snprintf(name, size, "%s.sectors-%zu", space->name, index + 1) < size;
}

static void close_last(struct space *space)
{
	close(space->files[--space->n_files]);
}

static void remove_last(struct space *space)
{
	char name[256];

	close_last(space);
	if (file_name(space, space->n_files, name, sizeof(name)))
		unlinkat(space->folder, name, 0);
}

static void forget(struct space *space)
{
	free(space->files);
	free(space->live);
	space->files = NULL;
	space->live = NULL;
	space->files_capacity = space->segments_capacity = 0;
	space->n_segments = space->current = 0;
	space->fill = 0;
}

void space_free(struct space *space)
{
	while (space->n_files > 0)
		close_last(space);
	forget(space);
}

void space_remove(struct space *space)
{
	while (space->n_files > 0)
		remove_last(space);
	forget(space);
}

static bool fail(struct space *space, int number)
{
	space->failure = number;
	return false;
}

/* Opens or makes the next file. False with space->failure. */
static bool add_file(struct space *space, int flags)
{
	char name[256];
	int fd;

	if (!array_reserve(&space->files, &space->files_capacity, space->n_files + 1, sizeof(int)))
		return fail(space, ENOMEM);
	if (space->n_files >= MOST_FILES ||
	    !file_name(space, space->n_files, name, sizeof(name)))
		return fail(space, ENAMETOOLONG);
	fd = openat(space->folder, name, O_RDWR | O_CLOEXEC | O_NOFOLLOW | flags, 0600);
	if (fd < 0)
		return fail(space, errno);
	space->files[space->n_files++] = fd;
	return true;
}

bool space_open(struct space *space)
{
	struct stat status = {0};
	uint64_t segments;

	while (add_file(space, 0))
		continue;
	if (space->failure != ENOENT)
		return false;
	space->failure = 0;
	if (space->n_files == 0)
		return true;
	if (fstat(space->files[space->n_files - 1], &status) != 0)
		return fail(space, errno);
	segments = ((uint64_t)status.st_size + SPACE_SEGMENT - 1) / SPACE_SEGMENT;
	if (segments > SPACE_FILE_SEGMENTS)
		segments = SPACE_FILE_SEGMENTS;
	segments += (space->n_files - 1) * (uint64_t)SPACE_FILE_SEGMENTS;
	if (!array_reserve(&space->live, &space->segments_capacity, (size_t)segments + 1,
		sizeof(*space->live)))
		return fail(space, ENOMEM);
	memset(space->live, 0, ((size_t)segments + 1) * sizeof(*space->live));
	space->n_segments = space->current = (size_t)segments;
	return true;
}

bool space_move(struct space *space, int folder)
{
	char name[256];

	for (size_t i = 0; i < space->n_files; i++) {
		if (!file_name(space, i, name, sizeof(name)) ||
		    renameat(space->folder, name, folder, name) != 0) {
			int failure = errno;

			while (i-- > 0)
				if (file_name(space, i, name, sizeof(name)))
					renameat(folder, name, space->folder, name);
			return fail(space, failure);
		}
	}
	space->folder = folder;
	return true;
}

bool space_follow(struct space *space)
{
	char name[256];

	for (size_t i = 0; i < space->n_files; i++) {
		int fd = file_name(space, i, name, sizeof(name)) ?
			     openat(space->folder, name, O_RDWR | O_CLOEXEC | O_NOFOLLOW) :
			     -1;

		if (fd < 0)
			return false;
		close(space->files[i]);
		space->files[i] = fd;
	}
	space->failure = 0;
	return true;
}

static int file_of(const struct space *space, size_t segment)
{
	return space->files[segment / SPACE_FILE_SEGMENTS];
}

static off_t place_in_file(uint64_t position)
{
	return (off_t)(position % (SPACE_FILE_SEGMENTS * SPACE_SEGMENT));
}

/* Is so much room left that a further segment takes nothing from others? */
static bool has_room(const struct space *space)
{
	struct statvfs status;
	uint64_t room;

	if (space->reserve == 0 || fstatvfs(space->folder, &status) != 0)
		return true;
	room = (uint64_t)status.f_bavail * status.f_frsize;
	return room >= SPACE_SEGMENT && room - SPACE_SEGMENT >= space->reserve;
}

/* Chooses the segment to be filled next: an empty one, or a new one. */
static bool next_segment(struct space *space)
{
	space->fill = 0;
	for (space->current = 0; space->current < space->n_segments; space->current++)
		if (space->live[space->current] == 0)
			return true;
	if (!has_room(space))
		return fail(space, ENOSPC);
	if (space->n_segments == space->n_files * SPACE_FILE_SEGMENTS &&
	    !add_file(space, O_CREAT | O_TRUNC))
		return false;
	if (!array_reserve(&space->live, &space->segments_capacity, space->n_segments + 1,
		sizeof(*space->live)))
		return fail(space, ENOMEM);
	space->live[space->n_segments++] = 0;
	return true;
}

static bool write_all(int fd, const uint8_t *data, size_t length, off_t at, int *failure)
{
	while (length > 0) {
		ssize_t done = pwrite(fd, data, length, at);

		if (done < 0 && errno == EINTR)
			continue;
		if (done <= 0) {
			*failure = done < 0 ? errno : ENOSPC;
			return false;
		}
		data += done;
		length -= (size_t)done;
		at += done;
	}
	return true;
}

bool space_put(struct space *space, const void *data, uint32_t length, uint64_t *position)
{
	if ((space->current >= space->n_segments || space->fill + length > SPACE_SEGMENT) &&
	    !next_segment(space))
		return false;
	*position = space->current * SPACE_SEGMENT + space->fill;
	if (!write_all(file_of(space, space->current), data, length, place_in_file(*position),
		&space->failure))
		return false;
	space->fill += length;
	space->live[space->current] += length;
	return true;
}

bool space_read(const struct space *space, uint64_t position, void *buffer, uint32_t length)
{
	uint8_t *to = buffer;
	off_t at = place_in_file(position);

	if (position / SPACE_SEGMENT >= space->n_segments)
		return false;
	while (length > 0) {
		ssize_t got = pread(file_of(space, position / SPACE_SEGMENT), to, length, at);

		if (got < 0 && errno == EINTR)
			continue;
		if (got <= 0)
			return false;
		to += got;
		at += got;
		length -= (uint32_t)got;
	}
	return true;
}

bool space_claim(struct space *space, uint64_t position, uint32_t length)
{
	if (position / SPACE_SEGMENT >= space->n_segments ||
	    length > SPACE_SEGMENT - position % SPACE_SEGMENT)
		return false;
	space->live[position / SPACE_SEGMENT] += length;
	return true;
}

/* Cuts off the segments at the end that nobody needs. */
static void cut_end(struct space *space)
{
	size_t before = space->n_segments;
	struct stat status;
	off_t end;

	while (space->n_segments > 0 && space->live[space->n_segments - 1] == 0)
		space->n_segments--;
	if (space->n_segments == before)
		return;
	while (space->n_files > 0 &&
	       (space->n_files - 1) * SPACE_FILE_SEGMENTS >= space->n_segments)
		remove_last(space);
	if (space->n_files == 0)
		return;
	end = (off_t)((space->n_segments - (space->n_files - 1) * SPACE_FILE_SEGMENTS) *
		      SPACE_SEGMENT);
	/* One that cannot be cut only takes room. */
	if (fstat(space->files[space->n_files - 1], &status) == 0 && status.st_size > end &&
	    ftruncate(space->files[space->n_files - 1], end) != 0)
		return;
}

void space_release(struct space *space, uint64_t position, uint32_t length)
{
	size_t segment = (size_t)(position / SPACE_SEGMENT);

	if (segment >= space->n_segments)
		return;
	space->live[segment] -= length <= space->live[segment] ? length : space->live[segment];
	if (space->live[segment] == 0 && segment == space->current)
		space->fill = 0;
	if (space->live[segment] == 0 && segment == space->n_segments - 1)
		cut_end(space);
	if (space->current > space->n_segments)
		space->current = space->n_segments;
}

bool space_sync(struct space *space)
{
	for (size_t i = 0; i < space->n_files; i++)
		if (fdatasync(space->files[i]) != 0)
			return fail(space, errno);
	return true;
}
