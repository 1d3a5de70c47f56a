/* Whether a destination can take a job: see destination.h. */
#include "extract/destination.h"

#include "base/text.h"

#include <errno.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <sys/vfs.h>
#include <unistd.h>

/* statfs(2), f_type. */
#define FAT_MAGIC 0x4d44
#define TMPFS_MAGIC 0x01021994
#define RAMFS_MAGIC 0x858458f6
#define FAT_FILE_LIMIT UINT64_C(0xFFFFFFFF) /* Microsoft FAT specification: 32-bit file size */

static bool is_writable(const char *folder, struct error *error)
{
	struct stat info;

	if (stat(folder, &info) != 0 && errno == ENOENT)
		return error_set(error, STATUS_DESTINATION,
		    "the destination '%s' is not there; make the folder first", folder);
	if (stat(folder, &info) != 0)
		return error_set_errno(error, STATUS_DESTINATION, errno,
		    "the destination '%s' cannot be looked at", folder);
	if (!S_ISDIR(info.st_mode))
		return error_set(
		    error, STATUS_DESTINATION, "the destination '%s' is not a folder", folder);
	if (access(folder, W_OK | X_OK) == 0)
		return true;
	if (errno == EROFS)
		return error_set(error, STATUS_DESTINATION,
		    "the destination '%s' can only be read (its file system is read-only)", folder);
	return error_set_errno(
	    error, STATUS_DESTINATION, errno, "the destination '%s' cannot be written to", folder);
}

bool destination_check(struct destination *destination, const char *folder, struct error *error)
{
	struct statvfs room;
	struct statfs type;

	*destination = (struct destination){0};
	if (!is_writable(folder, error))
		return false;
	if (statvfs(folder, &room) != 0 || statfs(folder, &type) != 0)
		return error_set_errno(error, STATUS_DESTINATION, errno,
		    "the destination '%s' does not say how much room it has", folder);
	if ((room.f_flag & ST_RDONLY) != 0)
		return error_set(error, STATUS_DESTINATION,
		    "the destination '%s' can only be read (its file system is read-only)", folder);
	if (type.f_type == RAMFS_MAGIC)
		return error_set(error, STATUS_DESTINATION,
		    "the destination '%s' lies in this computer's memory; mount the drive there "
		    "first",
		    folder);
	destination->in_memory = type.f_type == TMPFS_MAGIC;
	/* Some file systems in user space do not know. */
	destination->free =
	    room.f_blocks == 0 ? UINT64_MAX : (uint64_t)room.f_bavail * room.f_frsize;
	if (type.f_type == FAT_MAGIC)
		destination->file_limit = FAT_FILE_LIMIT;
	return true;
}

bool destination_is_apart(const char *folder, const struct survey *survey, struct error *error)
{
	for (size_t i = 0; i < survey->n_drives; i++) {
		const struct survey_drive *drive = &survey->drives[i];
		const struct device *device = source_device(drive->source);

		if (device_holds_folder("", device, folder))
			return error_set(error, STATUS_DESTINATION,
			    "the destination '%s' lies on '%s', which is to be read and never "
			    "written to; choose a folder on another drive",
			    folder, device->path);
	}
	return true;
}

bool destination_has_room(const struct destination *destination, uint64_t need, struct error *error)
{
	if (destination->free >= need)
		return true;
	return error_set(error, STATUS_DESTINATION,
	    "the destination is too small: the job needs about %s and %s are free there",
	    text_size(need).text, text_size(destination->free).text);
}
