/* Files that are complete or marked as unfinished: see durable.h. */
#include "extract/durable.h"

#include "base/text.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

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
		    "the destination is full: '%s' could not be written to its end; choose a "
		    "larger drive, or take less (--person, --leave)",
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

bool durable_open(struct durable *file, const char *path, struct error *error)
{
	*file = (struct durable){.fd = -1};
	sha256_init(&file->hash);
	file->path = strdup(path);
	if (asprintf(&file->temporary, "%s%s", path, UNFINISHED) < 0)
		file->temporary = NULL;
	if (file->path == NULL || file->temporary == NULL) {
		durable_abandon(file);
		return error_no_memory(error);
	}
	file->fd = open(file->temporary, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC,
	    0600);
	if (file->fd < 0) {
		durable_failed(error, errno, file->temporary);
		free(file->temporary); /* not ours: it must not be removed */
		file->temporary = NULL;
		durable_abandon(file);
		return false;
	}
	return true;
}

bool durable_write(struct durable *file, const void *data, size_t length, struct error *error)
{
	const uint8_t *bytes = data;

	while (length > 0 && file->error.status == 0) {
		ssize_t written = write(file->fd, bytes, length);

		if (written < 0 && errno == EINTR)
			continue;
		if (written <= 0) {
			durable_failed(&file->error, written < 0 ? errno : ENOSPC, file->path);
			break;
		}
		sha256_update(&file->hash, (size_t)written, bytes);
		file->size += (uint64_t)written;
		bytes += written;
		length -= (size_t)written;
	}
	if (file->error.status == 0)
		return true;
	if (error != NULL)
		*error = file->error;
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

static bool settle(struct durable *file)
{
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
	bool good = settle(file);

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
	if (file->temporary != NULL)
		unlink(file->temporary);
	free(file->temporary);
	free(file->path);
	file->temporary = file->path = NULL;
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
