/* Opening drives and image files read-only; see device.h. */
#include "disk/device.h"

#include "disk/device_use.h"
#include "disk/listed.h"

#include <errno.h>
#include <fcntl.h>
#include <linux/fs.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

struct file_state {
	int fd;
	bool set_back; /* we set the device read-only in the kernel, and nobody else had */
};

struct device *device_new(const struct device_ops *ops, const char *path)
{
	struct device *device = calloc(1, sizeof(*device));

	if (device == NULL)
		return NULL;
	device->ops = ops;
	device->sector_size = 512;
	device->path = strdup(path);
	if (device->path == NULL) {
		free(device);
		return NULL;
	}
	return device;
}

void device_close(struct device *device)
{
	if (device == NULL)
		return;
	if (device->state != NULL)
		device->ops->close(device);
	free(device->path);
	free(device);
}

/* A drive that was pulled out shows a size of zero, and reads at its end or fails. */
static bool is_gone(const struct device *device, int fd)
{
	uint64_t size;

	return device->is_block && (ioctl(fd, BLKGETSIZE64, &size) != 0 || size == 0);
}

static ssize_t file_read(struct device *device, uint64_t offset, void *buffer, size_t length)
{
	struct file_state *state = device->state;
	size_t done = 0;
	int number = 0;

	while (done < length) {
		ssize_t got = pread(
		    state->fd, (uint8_t *)buffer + done, length - done, (off_t)(offset + done));

		if (got < 0 && errno == EINTR)
			continue;
		if (got < 0)
			number = errno;
		if (got <= 0)
			break;
		done += (size_t)got;
		/*
		 * Going on from inside a sector would break the alignment that O_DIRECT asks for.
		 */
		if (done % device->sector_size != 0)
			break;
	}
	if (done > 0 || length == 0)
		return (ssize_t)done;
	if (is_gone(device, state->fd))
		return -ENODEV;
	return number != 0 ? -number : 0;
}

static void file_close(struct device *device)
{
	struct file_state *state = device->state;
	int writable = 0;

	if (state->set_back)
		ioctl(state->fd, BLKROSET, &writable);
	close(state->fd);
	free(state);
}

static const struct device_ops file_ops = {file_read, file_close};

static bool refuse_kind(const char *path, mode_t mode, struct error *error)
{
	if (S_ISDIR(mode))
		return error_set(error, STATUS_NO_VOLUME,
		    "%s is a folder; a drive (/dev/sdb) or an image file is needed", path);
	return error_set(error, STATUS_NO_VOLUME,
	    "%s is neither a drive nor an image file, but another kind of special file", path);
}

static bool open_failed(const char *path, int number, struct error *error)
{
	switch (number) {
	case ENOENT:
	case ENOTDIR:
		return error_set(error, STATUS_NO_VOLUME, "%s does not exist", path);
	case EACCES:
	case EPERM:
		return error_set(error, STATUS_NO_VOLUME,
		    "%s may not be read by this user; run coldlift as root (sudo)", path);
	case ENOMEDIUM:
		return error_set(error, STATUS_NO_VOLUME, "there is no medium in %s", path);
	case ENXIO:
	case ENODEV:
		return error_set(
		    error, STATUS_NO_VOLUME, "there is no drive behind %s any more", path);
	case EBUSY:
		return error_set(error, STATUS_NO_VOLUME,
		    "%s is in use by another program of this computer", path);
	default:
		return error_set_errno(
		    error, STATUS_NO_VOLUME, number, "%s cannot be opened", path);
	}
}

/* Opens without waiting; O_DIRECT is left out where the device does not know it. */
static int open_file(const char *path, int flags)
{
	int fd;

	flags |= O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK;
	do
		fd = open(path, flags);
	while (fd < 0 && errno == EINTR);
	if (fd < 0 && errno == EINVAL && (flags & O_DIRECT) != 0) {
		flags &= ~O_DIRECT;
		do
			fd = open(path, flags);
		while (fd < 0 && errno == EINTR);
	}
	return fd;
}

/* Sizes, and the kernel's own read-only mark where nothing holds the drive. */
static bool prepare_block(struct device *device, int fd, bool exclusive, struct error *error)
{
	struct file_state *state = device->state;
	int sector = 0, read_only = 0;
	uint64_t size = 0;

	if (ioctl(fd, BLKGETSIZE64, &size) != 0 || ioctl(fd, BLKSSZGET, &sector) != 0)
		return error_set_errno(error, STATUS_NO_VOLUME, errno,
		    "the size of %s cannot be found out", device->path);
	if (sector < 512 || sector > 65536 || (sector & (sector - 1)) != 0)
		return error_set(error, STATUS_OTHER,
		    "%s has sectors of %d bytes, which is not possible", device->path, sector);
	device->size = size;
	device->sector_size = (uint32_t)sector;
	if (!exclusive || ioctl(fd, BLKROGET, &read_only) != 0 || read_only != 0)
		return true;
	read_only = 1;
	state->set_back = ioctl(fd, BLKROSET, &read_only) == 0;
	return true;
}

static bool prepare(
    struct device *device, const struct stat *expected, bool exclusive, struct error *error)
{
	struct file_state *state = device->state;
	struct stat status;

	if (fstat(state->fd, &status) != 0)
		return open_failed(device->path, errno, error);
	if (status.st_dev != expected->st_dev || status.st_ino != expected->st_ino ||
	    status.st_mode != expected->st_mode)
		return error_set(
		    error, STATUS_OTHER, "%s was replaced while it was being opened", device->path);
	device->is_block = S_ISBLK(status.st_mode);
	device->number = device->is_block ? status.st_rdev : status.st_dev;
	if (device->is_block) {
		if (!prepare_block(device, state->fd, exclusive, error))
			return false;
	} else {
		device->size = (uint64_t)status.st_size;
	}
	if (device->size == 0)
		return device->is_block
			   ? open_failed(device->path, ENOMEDIUM, error)
			   : error_set(error, STATUS_NO_VOLUME, "%s is empty", device->path);
	return true;
}

static struct device *open_checked(
    const char *path, const struct stat *status, bool exclusive, struct error *error)
{
	int flags = S_ISBLK(status->st_mode) ? O_DIRECT | (exclusive ? O_EXCL : 0) : 0;
	struct file_state *state;
	struct device *device;
	int fd = open_file(path, flags);

	if (fd < 0) {
		open_failed(path, errno, error);
		return NULL;
	}
	state = calloc(1, sizeof(*state));
	device = device_new(&file_ops, path);
	if (state == NULL || device == NULL) {
		free(state);
		device_close(device);
		close(fd);
		error_no_memory(error);
		return NULL;
	}
	state->fd = fd;
	device->state = state;
	if (!prepare(device, status, exclusive, error)) {
		device_close(device);
		return NULL;
	}
	return device;
}

struct device *device_open(const char *path, struct error *error)
{
	struct device *device;
	struct stat status;
	bool mounted;

	if (stat(path, &status) != 0) {
		open_failed(path, errno, error);
		return NULL;
	}
	if (!S_ISBLK(status.st_mode) && !S_ISREG(status.st_mode)) {
		refuse_kind(path, status.st_mode, error);
		return NULL;
	}
	if (!device_is_free("", path, &status, &mounted, error))
		return NULL;
	device = open_checked(path, &status, S_ISBLK(status.st_mode) && !mounted, error);
	return device == NULL || device->is_block ? device : listed_open(device, error);
}
