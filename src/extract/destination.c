/* Whether a destination can take a job: see destination.h. */
#include "extract/destination.h"

#include "base/text.h"

#include <errno.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <sys/vfs.h>
#include <unistd.h>

/* statfs(2), f_type; that of exFAT and NTFS: the kernel's drivers. */
#define FAT_MAGIC 0x4d44
#define EXFAT_MAGIC 0x2011BAB0
#define FUSE_MAGIC 0x65735546 /* also NTFS, where it is written to from user space */
#define NTFS_MAGIC 0x7366746E
#define TMPFS_MAGIC 0x01021994
#define RAMFS_MAGIC 0x858458f6
#define FAT_FILE_LIMIT UINT64_C(0xFFFFFFFF) /* Microsoft FAT specification: 32-bit file size */

/* A unit that is larger than this is how a file system likes to be asked, not how it stores. */
#define LARGEST_BLOCK 65536u

/* Why a file system can only be read is known of one kind. */
static bool only_readable(const char *folder, struct error *error)
{
	struct statfs type;

	if (statfs(folder, &type) == 0 && (type.f_type == FUSE_MAGIC || type.f_type == NTFS_MAGIC))
		return error_set(error, STATUS_DESTINATION,
		    "the destination '%s' can only be read; if it is an NTFS drive, the PC that "
		    "used it last did not put it away properly (it sleeps, was shut down for a "
		    "fast start, or the drive was pulled out): let that PC start, shut it down "
		    "fully with the Shift key held, and try again, or choose another drive",
		    folder);
	return error_set(error, STATUS_DESTINATION,
	    "the destination '%s' can only be read (its file system is read-only)", folder);
}

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
		return only_readable(folder, error);
	return error_set_errno(
	    error, STATUS_DESTINATION, errno, "the destination '%s' cannot be written to", folder);
}

bool destination_check(struct destination *destination, const char *folder, struct error *error)
{
	struct statvfs room;
	struct statfs type;
	struct stat info;

	*destination = (struct destination){0};
	if (!is_writable(folder, error))
		return false;
	if (statvfs(folder, &room) != 0 || statfs(folder, &type) != 0 || stat(folder, &info) != 0)
		return error_set_errno(error, STATUS_DESTINATION, errno,
		    "the destination '%s' does not say how much room it has", folder);
	if ((room.f_flag & ST_RDONLY) != 0)
		return only_readable(folder, error);
	if (type.f_type == RAMFS_MAGIC)
		return error_set(error, STATUS_DESTINATION,
		    "the destination '%s' lies in this computer's memory; mount the drive there "
		    "first",
		    folder);
	destination->device = info.st_dev;
	destination->in_memory = type.f_type == TMPFS_MAGIC;
	/* Some file systems in user space do not know. */
	destination->free =
	    room.f_blocks == 0 ? UINT64_MAX : (uint64_t)room.f_bavail * room.f_frsize;
	destination->files = room.f_files == 0 ? UINT64_MAX : room.f_favail;
	destination->stores_zeros = type.f_type == FAT_MAGIC || type.f_type == EXFAT_MAGIC;
	destination->cluster = room.f_frsize == 0 ? 4096 : room.f_frsize;
	if (!destination->stores_zeros && destination->cluster > LARGEST_BLOCK)
		destination->cluster = LARGEST_BLOCK;
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

static uint64_t sum(uint64_t one, uint64_t other)
{
	return one > UINT64_MAX - other ? UINT64_MAX : one + other;
}

bool destination_join(struct destination *destination, const struct destination *next,
    const char *folder, struct error *error)
{
	if (destination->device == next->device)
		return error_set(error, STATUS_USAGE,
		    "'%s' lies on the same volume as the folder of --to; leave --then out, or name a "
		    "folder on another drive",
		    folder);
	destination->free = sum(destination->free, next->free);
	destination->files = sum(destination->files, next->files);
	destination->stores_zeros = destination->stores_zeros || next->stores_zeros;
	if (destination->cluster < next->cluster)
		destination->cluster = next->cluster;
	return true;
}

bool destination_has_room(const struct destination *destination, const struct need *need,
    struct error *error)
{
	if (destination->free < need->bytes)
		return error_set(error, STATUS_DESTINATION,
		    "the destination is too small: the job may need %s and %s are free there; "
		    "choose a larger drive, or take less (--person, --leave)",
		    text_size(need->bytes).text, text_size(destination->free).text);
	if (destination->files < need->files)
		return error_set(error, STATUS_DESTINATION,
		    "the destination cannot hold so many files: the job has %s and there is place "
		    "for %s; choose another drive, or the format zip or tar",
		    text_count(need->files).text, text_count(destination->files).text);
	return true;
}
