/* Opening and closing the destination: see target.h. */
#include "console/target.h"

#include "base/child.h"
#include "console/apart.h"
#include "console/target_mount.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define OPEN_PATIENCE 180  /* seconds: a large journal is replayed */
#define CLOSE_PATIENCE 600 /* what the memory still holds is written to a slow stick */
#define DRIVER_PATIENCE 120

bool target_is_possible(const struct look_volume *volume)
{
	return *volume->device != '\0' && target_kind(volume->filesystem) != TARGET_NONE;
}

static const char *short_name(const char *device)
{
	const char *slash = strrchr(device, '/');

	return slash != NULL ? slash + 1 : device;
}

/* One of the stick's small programs with one or two names. True when it did its work. */
static bool let(const char *program, const char *first, const char *second)
{
	const char *const arguments[] = {program, first, second, NULL};
	const struct child_limits limits = {30000, 3000, 4096};
	struct buf said = {0};
	struct child_end end = child_run(arguments, &limits, &said);

	buf_free(&said);
	return end.how == CHILD_EXITED && end.number == 0;
}

/* Of the drive that a volume is on, as in /sys/class/block; the volume's when it has no table. */
struct drive_name {
	char text[PATH_MAX];
};

static struct drive_name drive_of(const char *volume)
{
	char link[PATH_MAX], path[PATH_MAX], partition[PATH_MAX + 16];
	struct drive_name name;
	char *slash;

	snprintf(name.text, sizeof(name.text), "%s", volume);
	snprintf(link, sizeof(link), "/sys/class/block/%s", volume);
	if (realpath(link, path) == NULL)
		return name;
	snprintf(partition, sizeof(partition), "%s/partition", path);
	slash = strrchr(path, '/');
	if (access(partition, F_OK) != 0 || slash == NULL)
		return name;
	*slash = '\0';
	snprintf(name.text, sizeof(name.text), "%s", short_name(path));
	return name;
}

static void set_read_only(const char *device)
{
	let("read-only", short_name(device), drive_of(short_name(device)).text);
}

/* Is something mounted there? */
static bool is_in_use(const char *folder)
{
	struct stat own, parent;

	return stat(folder, &own) == 0 && stat("/", &parent) == 0 && own.st_dev != parent.st_dev;
}

/* --- in processes of their own --- */

/* A volume, and where it is mounted. */
struct site {
	const struct look_volume *volume;
	const char *folder;
};

static bool open_apart(const void *about, struct buf *answer, struct error *error)
{
	const struct site *site = about;
	const struct look_volume *volume = site->volume;
	const char *device = volume->device;

	(void)answer;
	if (mkdir(site->folder, 0700) != 0 && errno != EEXIST)
		return error_set_errno(
		    error, STATUS_DESTINATION, errno, "%s could not be made", site->folder);
	if (is_in_use(site->folder))
		return error_set(error, STATUS_DESTINATION,
		    "something is mounted at %s already. Unmount it in the shell, or start the PC "
		    "again",
		    site->folder);
	if (!let("read-write", short_name(device), NULL)) {
		set_read_only(device);
		return error_set(error, STATUS_DESTINATION,
		    "%s could not be opened for writing. Plug it in again, or use another drive",
		    device);
	}
	if (target_mount_to_write(target_kind(volume->filesystem), device, site->folder, error))
		return true;
	set_read_only(device);
	return false;
}

static bool close_apart(const void *about, struct buf *answer, struct error *error)
{
	const struct site *site = about;
	const struct look_volume *volume = site->volume;
	int fd = open(site->folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	bool written, unmounted;

	(void)answer;
	/* An error that nobody was told about yet is told here. */
	written = fd >= 0 && syncfs(fd) == 0;
	if (fd >= 0)
		close(fd);
	unmounted = target_unmount(volume->device, site->folder, DRIVER_PATIENCE);
	set_read_only(volume->device);
	if (written && unmounted)
		return true;
	if (!written)
		return error_set(error, STATUS_DESTINATION,
		    "what was written last to %s may be missing: the drive is gone, or reported an "
		    "error",
		    volume->device);
	return error_set(error, STATUS_DESTINATION,
	    "%s is still in use: wait until its light has stopped blinking before it is pulled out",
	    volume->device);
}

/* --- */

bool target_open(const struct look_volume *volume, const char *folder, struct error *error)
{
	struct site site = {volume, folder};
	struct buf answer = {0};
	bool late, good;

	if (!target_is_possible(volume))
		return error_set(error, STATUS_DESTINATION,
		    "%s has no file system that coldlift can write to. Use a drive with exFAT or "
		    "NTFS",
		    volume->device);
	good = apart_run(open_apart, &site, OPEN_PATIENCE, &answer, &late, error);
	buf_free(&answer);
	if (late)
		error_set(error, STATUS_DESTINATION,
		    "%s does not answer. Plug it in again, or use another drive", volume->device);
	return good;
}

bool target_close(const struct look_volume *volume, const char *folder, struct error *error)
{
	struct site site = {volume, folder};
	struct buf answer = {0};
	bool late, good = apart_run(close_apart, &site, CLOSE_PATIENCE, &answer, &late, error);

	buf_free(&answer);
	if (late)
		error_set(error, STATUS_DESTINATION,
		    "%s does not answer; what was written last may be missing", volume->device);
	return good;
}
