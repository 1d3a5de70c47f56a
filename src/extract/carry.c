/* Copying from one destination to another: see carry.h. */
#include "extract/carry.h"

#include "extract/durable.h"
#include "extract/interrupt.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define PIECE ((size_t)1 << 18)

static bool unreadable(struct error *error, const char *path)
{
	return error_set_errno(error, STATUS_DESTINATION, errno,
	    "'%s' at the earlier destination could not be read", path);
}

static bool write_all(int fd, const uint8_t *bytes, size_t left, const char *path,
    struct error *error)
{
	while (left > 0) {
		ssize_t written = write(fd, bytes, left);

		if (written < 0 && errno == EINTR)
			continue;
		if (written <= 0)
			return durable_failed(error, written < 0 ? errno : ENOSPC, path);
		bytes += written;
		left -= (size_t)written;
	}
	return true;
}

/* Up to `length` bytes, or to the end; *length becomes what is left of it. */
static bool pour(struct carry *carry, int in, int out, const char *from, const char *to,
    uint64_t *length, struct error *error)
{
	uint8_t *buffer = malloc(PIECE);
	bool good = buffer != NULL || error_no_memory(error);

	while (good && *length > 0) {
		ssize_t got = read(in, buffer, *length < PIECE ? (size_t)*length : PIECE);

		if (got < 0 && errno == EINTR)
			continue;
		if (got == 0)
			break;
		good = got > 0 ? write_all(out, buffer, (size_t)got, to, error) :
				 unreadable(error, from);
		if (!good)
			break;
		*length -= (uint64_t)got;
		carry->done += (uint64_t)got;
		progress_at(&carry->progress, carry->done, from);
		if (interrupt_seen())
			good = error_set(error, STATUS_OTHER, "stopped as asked");
	}
	free(buffer);
	return good;
}

static bool copy_open(struct carry *carry, int in, const char *from, const char *to,
    uint64_t *length, struct error *error)
{
	int out = open(to, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600);
	bool good = out >= 0 ? pour(carry, in, out, from, to, length, error) :
			       durable_failed(error, errno, to);

	if (good && fsync(out) != 0)
		good = durable_failed(error, errno, to);
	if (out >= 0 && close(out) != 0 && good)
		good = durable_failed(error, errno, to);
	return good;
}

bool carry_file(struct carry *carry, const char *from, const char *to, uint64_t length, bool *whole,
    struct error *error)
{
	int in = open(from, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
	struct stat info;
	bool good = true;

	*whole = false;
	if (in < 0)
		return errno == ENOENT || unreadable(error, from);
	if (fstat(in, &info) != 0)
		good = unreadable(error, from);
	*whole = good && S_ISREG(info.st_mode) &&
	    (length == UINT64_MAX || (uint64_t)info.st_size >= length);
	if (length == UINT64_MAX)
		length = *whole ? (uint64_t)info.st_size : 0;
	if (*whole)
		good = copy_open(carry, in, from, to, &length, error);
	if (good && *whole && length > 0)
		good = error_set(error, STATUS_DESTINATION,
		    "'%s' at the earlier destination became shorter", from);
	close(in);
	return good;
}

static bool carry_name(struct carry *carry, const char *from, const char *to, const char *name,
    struct error *error)
{
	char *source = NULL, *copy = NULL;
	bool whole, good;

	if (asprintf(&source, "%s/%s", from, name) < 0)
		source = NULL;
	if (asprintf(&copy, "%s/%s", to, name) < 0)
		copy = NULL;
	good = source != NULL && copy != NULL ?
		   carry_file(carry, source, copy, UINT64_MAX, &whole, error) :
		   error_no_memory(error);
	free(source);
	free(copy);
	return good;
}

bool carry_folder(struct carry *carry, const char *from, const char *to, struct error *error)
{
	DIR *folder = opendir(from);
	const struct dirent *entry;
	bool good;

	if (folder == NULL)
		return errno == ENOENT || unreadable(error, from);
	good = mkdir(to, 0700) == 0 || durable_failed(error, errno, to);
	while (good && (errno = 0, entry = readdir(folder)) != NULL)
		if (entry->d_name[0] != '.')
			good = carry_name(carry, from, to, entry->d_name, error);
	if (good && errno != 0)
		good = unreadable(error, from);
	closedir(folder);
	return good && durable_sync_renamed(to, true, error);
}
