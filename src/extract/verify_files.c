/*
 * Opening and reading files of a job that may have been made to do harm: see verify_internal.h.
 *
 * Every folder on the way is opened by itself without following links, so that no name can lead out
 * of the job whatever lies there.
 */
#include "base/utf.h"
#include "extract/verify_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

bool name_is_plain(const char *name)
{
	return name[0] != '\0' && strcmp(name, ".") != 0 && strcmp(name, "..") != 0 &&
	       strchr(name, '/') == NULL && strlen(name) <= NAME_MAX && utf_is_clean(name);
}

bool name_is_of_files(const struct verify *verify, const char *name)
{
	size_t length = strlen(verify->files_name);

	if (length == 0 || strncmp(name, verify->files_name, length) != 0)
		return false;
	name += length;
	return name[0] == '\0' ||
	       (name[0] == '-' && name[1] != '\0' && name[1 + strspn(name + 1, "0123456789")] == '\0');
}

bool path_is_safe(const char *path)
{
	if (!utf_is_clean(path) || strlen(path) > PATH_LIMIT)
		return false;
	for (;;) {
		size_t length = strcspn(path, "/");

		if (length == 0 || length > NAME_MAX || (length == 1 && path[0] == '.') ||
		    (length == 2 && path[0] == '.' && path[1] == '.'))
			return false;
		if (path[length] == '\0')
			return true;
		path += length + 1;
	}
}

bool path_is_payload(const char *path)
{
	return strncmp(path, "data/", 5) == 0 && path_is_safe(path);
}

int open_folder(int folder, const char *path, size_t length)
{
	int at = fcntl(folder, F_DUPFD_CLOEXEC, 0);

	while (at >= 0 && length > 0) {
		char name[NAME_MAX + 1];
		const char *slash = memchr(path, '/', length);
		size_t part = slash == NULL ? length : (size_t)(slash - path);
		int next;

		if (part == 0 || part > NAME_MAX) {
			close(at);
			errno = ENAMETOOLONG;
			return -1;
		}
		memcpy(name, path, part);
		name[part] = '\0';
		next = openat(at, name, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
		if (next < 0) {
			int number = errno;

			close(at);
			errno = number;
			return -1;
		}
		close(at);
		at = next;
		path += part;
		length -= part;
		if (length > 0) {
			path++;
			length--;
		}
	}
	return at;
}

/* Opens below the job without following anything. -1 with errno. */
static int open_below(int folder, const char *path)
{
	const char *slash = strrchr(path, '/');
	int parent, fd, number;

	if (slash == NULL)
		return openat(folder, path, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
	parent = open_folder(folder, path, (size_t)(slash - path));
	if (parent < 0)
		return -1;
	fd = openat(parent, slash + 1, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
	number = errno;
	close(parent);
	errno = number;
	return fd;
}

void read_from_disk(int fd)
{
	(void)posix_fadvise(fd, 0, 0, POSIX_FADV_DONTNEED);
}

static bool open_at(struct verify *verify, int folder, const char *path, bool must_exist, int *fd,
    uint64_t *size, struct error *error)
{
	struct stat info;

	*fd = -1;
	*size = 0;
	if (!path_is_safe(path))
		return differ(verify, error, DIFFERS_UNSAFE_NAME, path,
		    "This name is no name for a file of a job; it was not opened.");
	*fd = open_below(folder, path);
	if (*fd < 0 && (errno == ENOENT || errno == ENOTDIR))
		return !must_exist || differ(verify, error, DIFFERS_NO_FILE, path,
					  "This file is missing; every job has it.");
	if (*fd < 0 && (errno == ELOOP || errno == ENXIO))
		return differ(verify, error, DIFFERS_STRANGE_FILE, path,
		    "This is no plain file but a link or a device; it was not opened.");
	if (*fd < 0)
		return error_set_errno(
		    error, STATUS_DESTINATION, errno, "'%s' in the job cannot be read", path);
	if (fstat(*fd, &info) == 0 && S_ISREG(info.st_mode)) {
		*size = (uint64_t)info.st_size;
		read_from_disk(*fd);
		return true;
	}
	close(*fd);
	*fd = -1;
	return differ(verify, error, DIFFERS_STRANGE_FILE, path, "This is no plain file.");
}

bool job_open(struct verify *verify, const char *path, bool must_exist, int *fd, uint64_t *size,
    struct error *error)
{
	return open_at(verify, verify->folder, path, must_exist, fd, size, error);
}

bool part_open(struct verify *verify, uint32_t part, bool must_exist, int *fd, uint64_t *size,
    struct error *error)
{
	return open_at(verify, verify->parts[part].folder, verify->parts[part].name, must_exist, fd,
	    size, error);
}

bool job_read(int fd, const char *name, void *data, size_t length, size_t *got, struct error *error)
{
	for (;;) {
		ssize_t count = read(fd, data, length);

		*got = count < 0 ? 0 : (size_t)count;
		if (count >= 0)
			return true;
		if (errno != EINTR)
			return error_set_errno(error, STATUS_DESTINATION, errno,
			    "reading '%s' in the job failed", name);
	}
}

bool job_hash(struct verify *verify, const char *path, bool must_exist, bool *found,
    struct digest *digest, struct error *error)
{
	struct sha256_ctx hash;
	uint64_t size;
	size_t got;
	int fd;
	bool good;

	*found = false;
	if (!job_open(verify, path, must_exist, &fd, &size, error))
		return false;
	if (fd < 0)
		return true;
	sha256_init(&hash);
	do {
		good = job_read(fd, path, verify->buffer, VERIFY_BUFFER, &got, error);
		sha256_update(&hash, got, verify->buffer);
	} while (good && got > 0);
	close(fd);
	*digest = digest_take(&hash);
	*found = good;
	return good;
}

void lines_start(struct lines *lines, int fd, const char *name, size_t limit)
{
	*lines = (struct lines){.fd = fd, .name = name, .limit = limit};
}

/* Takes the line of `length` bytes off the buffer; behind it stands a line break or the end. */
static void take_line(struct lines *lines, size_t length, bool has_break)
{
	lines->line = (char *)lines->buf.data + lines->start;
	lines->line[length] = '\0';
	lines->length = length;
	lines->is_open_ended = !has_break;
	lines->start += length + (has_break ? 1 : 0);
	lines->scanned = 0;
	lines->number++;
}

/* Moves what is left to the front and reads more behind it. */
static bool read_more(struct lines *lines, struct error *error)
{
	struct buf *buf = &lines->buf;
	size_t got;
	uint8_t *room;

	if (lines->start > 0) {
		memmove(buf->data, buf->data + lines->start, buf->length - lines->start);
		buf->length -= lines->start;
		lines->start = 0;
	}
	room = buf_reserve(buf, 1 << 16);
	if (room == NULL)
		return error_no_memory(error);
	if (!job_read(lines->fd, lines->name, room, 1 << 16, &got, error))
		return false;
	buf_added(buf, got);
	lines->at_end = got == 0;
	return true;
}

bool lines_next(struct lines *lines, bool *more, struct error *error)
{
	for (;;) {
		size_t rest = lines->buf.length - lines->start;
		uint8_t *from = rest == 0 ? NULL : lines->buf.data + lines->start;
		uint8_t *end = rest == lines->scanned
				   ? NULL
				   : memchr(from + lines->scanned, '\n', rest - lines->scanned);

		*more = true;
		if (end != NULL && (size_t)(end - from) <= lines->limit) {
			take_line(lines, (size_t)(end - from), true);
			return true;
		}
		if (end != NULL || rest > lines->limit) {
			lines->is_too_long = true;
			lines->number++;
			*more = false;
			return true;
		}
		if (lines->at_end) {
			*more = rest > 0;
			if (rest > 0)
				take_line(lines, rest, false);
			return true;
		}
		lines->scanned = rest;
		if (!read_more(lines, error))
			return false;
	}
}

void lines_free(struct lines *lines)
{
	close(lines->fd);
	buf_free(&lines->buf);
	lines->fd = -1;
}
