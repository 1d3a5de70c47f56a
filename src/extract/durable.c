/* Files that are complete or marked as unfinished: see durable.h. */
#include "extract/durable.h"

#include "base/text.h"
#include "extract/interrupt.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/*
 * So many bytes at a time are sent on their way to the drive, instead of all of them when the file
 * is synced in the end; those that lie as far behind are not kept in memory either.
 */
#define START_STEP (UINT64_C(8) << 20)
#define FORGET_BEHIND (UINT64_C(64) << 20)

#define READ_BACK ((size_t)1 << 18) /* fits the processor's cache: hashed while it is there */

/* When a whole file is read: so many bytes until somebody is asked whether to go on. */
#define READ_AT_A_TIME (UINT64_C(64) << 20)

/* What a drive gives that is pulled out, or breaks: the kernel's drivers, and FUSE's end. */
static bool is_gone(int number)
{
	static const int numbers[] = {EIO, ENODEV, ENXIO, ENOMEDIUM, ENOTCONN, ESHUTDOWN,
	    ECONNABORTED, ESTALE, EUCLEAN};

	for (size_t i = 0; i < sizeof(numbers) / sizeof(numbers[0]); i++)
		if (number == numbers[i])
			return true;
	return false;
}

bool durable_failed(struct error *error, int number, const char *path)
{
	const char *slash = strrchr(path, '/');

	/* The sentence has more to say than fits behind a long path. */
	if (slash != NULL && slash[1] != '\0')
		path = slash + 1;
	if (number == ENOSPC || number == EDQUOT)
		return error_set(error, STATUS_DESTINATION,
		    "the destination is full: '%s' could not be written to its end",
		    path);
	if (number == EROFS)
		return error_set(error, STATUS_DESTINATION,
		    "the destination can only be read any more: '%s' could not be written; its "
		    "file system has met a fault, so check that drive or choose another",
		    path);
	if (number == EFBIG)
		return error_set(error, STATUS_DESTINATION,
		    "'%s' became larger than a file at the destination may be", path);
	if (is_gone(number))
		return error_set(error, STATUS_DESTINATION,
		    "the destination takes nothing any more (%s): '%s' could not be written; it "
		    "was pulled out or is faulty, so plug it in again or choose another drive",
		    strerror(number), path);
	return error_set_errno(error, STATUS_DESTINATION, number,
	    "'%s' at the destination could not be written", path);
}

/* Sets everything but the file itself. */
static bool start(struct durable *file, const char *path, struct error *error)
{
	*file = (struct durable){.fd = -1, .open_from = UINT64_MAX, .stays = true};
	sha256_init(&file->hash);
	file->path = strdup(path);
	if (asprintf(&file->temporary, "%s%s", path, UNFINISHED) < 0)
		file->temporary = NULL;
	if (file->path != NULL && file->temporary != NULL)
		return true;
	durable_abandon(file);
	return error_no_memory(error);
}

bool durable_open(struct durable *file, const char *path, struct error *error)
{
	if (!start(file, path, error))
		return false;
	file->fd = open(file->temporary, O_RDWR | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC,
	    0600);
	if (file->fd < 0) {
		durable_failed(error, errno, file->temporary);
		durable_abandon(file); /* what has that name is not ours: it stays */
		return false;
	}
	file->stays = false;
	return true;
}

/* False when this or an earlier call failed. */
static bool check(const struct durable *file, struct error *error)
{
	if (file->error.status == 0)
		return true;
	if (error != NULL)
		*error = file->error;
	return false;
}

static bool write_at(struct durable *file, uint64_t offset, const uint8_t *bytes, size_t length)
{
	while (length > 0 && file->error.status == 0) {
		ssize_t written = pwrite(file->fd, bytes, length, (off_t)offset);

		if (written < 0 && errno == EINTR)
			continue;
		if (written <= 0) {
			durable_failed(&file->error, written < 0 ? errno : ENOSPC, file->path);
			break;
		}
		bytes += written;
		length -= (size_t)written;
		offset += (uint64_t)written;
	}
	return file->error.status == 0;
}

/*
 * Whatever fails here is told by fsync(): without waiting, the system keeps the failure for that.
 * What was not hashed yet has to be read back, so it stays in memory.
 */
static void start_writing(struct durable *file)
{
	while (file->size - file->started >= START_STEP) {
		uint64_t end = file->started + START_STEP;

		(void)sync_file_range(file->fd, (off_t)file->started, (off_t)START_STEP,
		    SYNC_FILE_RANGE_WRITE);
		if (end >= FORGET_BEHIND + START_STEP && end - FORGET_BEHIND <= file->hashed)
			(void)posix_fadvise(file->fd, (off_t)(end - FORGET_BEHIND - START_STEP),
			    (off_t)START_STEP, POSIX_FADV_DONTNEED);
		file->started = end;
	}
}

bool durable_write(struct durable *file, const void *data, size_t length, struct error *error)
{
	if (write_at(file, file->size, data, length)) {
		if (file->hashed == file->size && file->open_from == UINT64_MAX) {
			sha256_update(&file->hash, length, data);
			file->hashed += length;
		}
		file->size += length;
		start_writing(file);
	}
	return check(file, error);
}

void durable_leave_open(struct durable *file)
{
	file->open_from = file->size;
}

bool durable_patch(struct durable *file, uint64_t offset, const void *data, size_t length,
    struct error *error)
{
	write_at(file, offset, data, length);
	return check(file, error);
}

void durable_settle(struct durable *file)
{
	file->open_from = UINT64_MAX;
}

/* Hashes what stands next in the file. */
static bool read_back(struct durable *file, size_t length)
{
	ssize_t got;

	if (file->buffer == NULL && (file->buffer = malloc(READ_BACK)) == NULL)
		return error_no_memory(&file->error);
	do
		got = pread(file->fd, file->buffer, length, (off_t)file->hashed);
	while (got < 0 && errno == EINTR);
	if (got <= 0) /* it cannot end before its end, unless somebody cuts it */
		return error_set_errno(&file->error, STATUS_DESTINATION, got < 0 ? errno : EIO,
		    "'%s' at the destination could not be read back", file->path);
	sha256_update(&file->hash, (size_t)got, file->buffer);
	file->hashed += (uint64_t)got;
	return true;
}

bool durable_catch_up(struct durable *file, uint64_t most)
{
	uint64_t settled = file->open_from < file->size ? file->open_from : file->size;
	uint64_t end = settled - file->hashed > most ? file->hashed + most : settled;

	while (file->hashed < end && file->error.status == 0) {
		uint64_t left = end - file->hashed;

		if (!read_back(file, left < READ_BACK ? (size_t)left : READ_BACK))
			return false;
	}
	return file->hashed < settled && file->error.status == 0;
}

struct durable_mark durable_mark(const struct durable *file)
{
	return (struct durable_mark){file->size, file->hashed, file->hash};
}

bool durable_go_back(struct durable *file, const struct durable_mark *mark, struct error *error)
{
	if (file->error.status == 0 && ftruncate(file->fd, (off_t)mark->size) != 0)
		durable_failed(&file->error, errno, file->path);
	file->size = mark->size;
	if (file->started > file->size)
		file->started = file->size;
	/* Only what is behind the mark must leave the hash; it may have gone on in front of it. */
	if (file->hashed > mark->size) {
		file->hashed = mark->hashed;
		file->hash = mark->hash;
	}
	file->open_from = UINT64_MAX;
	return check(file, error);
}

bool durable_checkpoint(struct durable *file, struct error *error)
{
	durable_catch_up(file, UINT64_MAX);
	if (file->error.status == 0 && fsync(file->fd) != 0)
		durable_failed(&file->error, errno, file->path);
	if (file->error.status == 0 && !file->stays &&
	    durable_sync_folder(file->path, &file->error))
		file->stays = true;
	return check(file, error);
}

bool durable_unfinish(const char *path, const char *temporary, struct error *error)
{
	struct stat info;

	if (lstat(temporary, &info) == 0 || errno != ENOENT || rename(path, temporary) == 0)
		return true;
	return error_set_errno(error, STATUS_DESTINATION, errno,
	    "'%s' at the destination cannot be gone on with", path);
}

static bool open_again(struct durable *file, uint64_t size, struct error *error)
{
	struct stat info;

	if (!durable_unfinish(file->path, file->temporary, error))
		return false;
	file->fd = open(file->temporary, O_RDWR | O_NOFOLLOW | O_CLOEXEC);
	if (file->fd < 0 || fstat(file->fd, &info) != 0)
		return error_set_errno(error, STATUS_DESTINATION, errno,
		    "'%s' at the destination cannot be gone on with", file->path);
	if (!S_ISREG(info.st_mode) || (uint64_t)info.st_size < size)
		return error_set(error, STATUS_DESTINATION,
		    "'%s' at the destination has become shorter than it was", file->path);
	if (ftruncate(file->fd, (off_t)size) != 0)
		return durable_failed(error, errno, file->path);
	file->size = file->started = size;
	return true;
}

bool durable_reopen(struct durable *file, const char *path, uint64_t size, struct error *error)
{
	bool good;

	if (!start(file, path, error))
		return false;
	good = open_again(file, size, error);
	while (good && durable_catch_up(file, READ_AT_A_TIME))
		if (interrupt_seen())
			good = error_set(error, STATUS_OTHER, "stopped as asked");
	if (good && check(file, error))
		return true;
	durable_abandon(file);
	return false;
}

/* 0 or errno. Some file systems cannot sync a folder and say so: no reason to fail. */
static int sync_at(const char *path, int flags)
{
	int fd = open(path, O_RDONLY | O_CLOEXEC | flags);
	int failure = 0;

	if (fd < 0)
		return errno;
	if (fsync(fd) != 0 && errno != EINVAL && errno != ENOTSUP && errno != ENOSYS)
		failure = errno;
	close(fd);
	return failure;
}

bool durable_sync_folder(const char *path, struct error *error)
{
	const char *slash = strrchr(path, '/');
	char *folder = slash == NULL ? strdup(".") :
	    slash == path ? strdup("/") : strndup(path, (size_t)(slash - path));
	int failure;

	if (folder == NULL)
		return error_no_memory(error);
	failure = sync_at(folder, O_DIRECTORY);
	if (failure != 0)
		durable_failed(error, failure, folder);
	free(folder);
	return failure == 0;
}

/*
 * On FAT a rename makes a new entry, which says that the file is empty and lies nowhere until the
 * file itself is written out once more: so it is synced again, before its folder.
 */
bool durable_sync_renamed(const char *path, bool is_folder, struct error *error)
{
	int failure = sync_at(path, is_folder ? O_DIRECTORY : O_NOFOLLOW);

	if (failure != 0)
		return durable_failed(error, failure, path);
	return durable_sync_folder(path, error);
}

static bool complete(struct durable *file)
{
	durable_settle(file);
	durable_catch_up(file, UINT64_MAX);
	if (file->error.status != 0)
		return false;
	if (fsync(file->fd) != 0)
		return durable_failed(&file->error, errno, file->path);
	if (close(file->fd) != 0) {
		file->fd = -1;
		return durable_failed(&file->error, errno, file->path);
	}
	file->fd = -1;
	if (rename(file->temporary, file->path) != 0)
		return durable_failed(&file->error, errno, file->path);
	free(file->temporary);
	file->temporary = NULL;
	return durable_sync_renamed(file->path, false, &file->error);
}

bool durable_finish(struct durable *file, struct digest *digest, struct error *error)
{
	bool good = complete(file);

	if (good && digest != NULL)
		*digest = digest_take(&file->hash);
	if (!good && error != NULL)
		*error = file->error;
	durable_abandon(file);
	return good;
}

void durable_abandon(struct durable *file)
{
	if (file->fd >= 0)
		close(file->fd);
	file->fd = -1;
	if (file->temporary != NULL && !file->stays)
		unlink(file->temporary);
	free(file->temporary);
	free(file->path);
	free(file->buffer);
	file->temporary = file->path = NULL;
	file->buffer = NULL;
}

bool durable_save(const char *path, const struct buf *content, struct digest *digest,
    struct error *error)
{
	struct durable file;

	if (content->failed)
		return error_no_memory(error);
	if (!durable_open(&file, path, error))
		return false;
	durable_write(&file, content->data, content->length, NULL);
	return durable_finish(&file, digest, error);
}
