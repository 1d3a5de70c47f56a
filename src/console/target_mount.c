/* Mounting a destination: see target_mount.h. */
#include "console/target_mount.h"

#include <ctype.h>
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/mount.h>
#include <sys/statvfs.h>
#include <sys/wait.h>
#include <unistd.h>

/* Files of the destination are no programs and no devices of this computer. */
#define COMMON_FLAGS (MS_NOSUID | MS_NODEV | MS_NOEXEC)
#define COMMON_TEXT "nosuid,nodev,noexec"

/* ntfs-3g.probe(8) */
enum driver_exit {
	DRIVER_INCONSISTENT = 13,
	DRIVER_HIBERNATED = 14,
	DRIVER_UNCLEAN = 15,
	DRIVER_IN_USE = 16,
	DRIVER_NOT_HERE = 127, /* not its own */
};

static const char windows_first[] =
    "the volume was not taken out of use properly: Windows is asleep on it, or it was pulled out "
    "too "
    "early; nothing can be written there. Connect it to its Windows PC, choose Restart there (not "
    "Shut down), then remove it safely, or use another drive";

enum target_kind target_kind(const char *filesystem)
{
	static const char *const names[] = {"FAT", "exFAT", "NTFS", "ext"};

	for (unsigned i = 0; i < sizeof(names) / sizeof(names[0]); i++)
		if (strcmp(filesystem, names[i]) == 0)
			return (enum target_kind)i;
	return TARGET_NONE;
}

/* --- in the kernel ---------------------------------------------------------------------------- */

static bool mount_failed(int number, const char *device, struct error *error)
{
	switch (number) {
	case EROFS:
	case EACCES:
		return error_set(error, STATUS_DESTINATION,
		    "%s cannot be written to: it is write-protected. Look for a switch on the "
		    "drive or "
		    "card, or use another drive",
		    device);
	case EINVAL:
	case EUCLEAN:
	case EIO:
		return error_set(error, STATUS_DESTINATION,
		    "the file system on %s is damaged (%s). Have it checked on the PC that it "
		    "belongs to, or use another drive",
		    device, strerror(number));
	case EBUSY:
		return error_set(error, STATUS_DESTINATION,
		    "%s is in use already. Unmount it in the shell, or start the PC again", device);
	case ENODEV:
		return error_set(error, STATUS_DESTINATION,
		    "there is no driver here for the file system on %s. Use a drive with exFAT or "
		    "NTFS",
		    device);
	default:
		return error_set_errno(error, STATUS_DESTINATION, number,
		    "%s could not be mounted. Use another drive", device);
	}
}

static bool kernel_mount(const char *type, unsigned long flags, const char *options,
    const char *device, const char *folder, struct error *error)
{
	return mount(device, folder, type, flags | COMMON_FLAGS, options) == 0 ||
	       mount_failed(errno, device, error);
}

/* --- ntfs-3g ---------------------------------------------------------------------------------- */

static bool driver_failed(int number, const char *device, struct error *error)
{
	switch (number) {
	case DRIVER_HIBERNATED:
	case DRIVER_UNCLEAN:
		return error_set(error, STATUS_DESTINATION, "%s: %s", device, windows_first);
	case DRIVER_INCONSISTENT:
		return error_set(error, STATUS_DESTINATION,
		    "the file system on %s is damaged. Have Windows check it (chkdsk), or use "
		    "another "
		    "drive",
		    device);
	case DRIVER_IN_USE:
		return mount_failed(EBUSY, device, error);
	case DRIVER_NOT_HERE:
		return error_set(
		    error, STATUS_DESTINATION, "the driver for NTFS (ntfs-3g) is not here");
	default:
		return error_set(error, STATUS_DESTINATION,
		    "%s could not be mounted (ntfs-3g says %d). Use another drive", device, number);
	}
}

/* What it says is left out: it is long, and gives advice for another situation. */
static _Noreturn void become_driver(const char *options, const char *device, const char *folder)
{
	int nowhere = open("/dev/null", O_RDWR);

	for (int fd = 0; fd <= 2; fd++)
		dup2(nowhere, fd);
	closefrom(3);
	execlp("ntfs-3g", "ntfs-3g", "-o", options, device, folder, NULL);
	_exit(DRIVER_NOT_HERE);
}

/*
 * Runs the driver until it has mounted and goes on in a process of its own. base/child.h is not for
 * it: what that leaves running is killed.
 */
static bool driver_mount(
    const char *options, const char *device, const char *folder, struct error *error)
{
	pid_t child = fork();
	int status = 0;

	if (child == 0)
		become_driver(options, device, folder);
	if (child < 0)
		return error_set_errno(
		    error, STATUS_DESTINATION, errno, "ntfs-3g could not be started");
	while (waitpid(child, &status, 0) < 0 && errno == EINTR)
		;
	if (!WIFEXITED(status))
		return error_set(error, STATUS_DESTINATION,
		    "%s: the driver for NTFS ended by mistake. Use another drive", device);
	return WEXITSTATUS(status) == 0 || driver_failed(WEXITSTATUS(status), device, error);
}

/* --- both ------------------------------------------------------------------------------------- */

bool target_mount_to_read(
    enum target_kind kind, const char *device, const char *folder, struct error *error)
{
	switch (kind) {
	case TARGET_FAT:
		return kernel_mount("vfat", MS_RDONLY, "utf8", device, folder, error);
	case TARGET_EXFAT:
		return kernel_mount("exfat", MS_RDONLY, "iocharset=utf8", device, folder, error);
	case TARGET_EXT:
		return kernel_mount("ext4", MS_RDONLY, "noload", device, folder, error);
	case TARGET_NTFS:
		return driver_mount("ro,norecover," COMMON_TEXT, device, folder, error);
	default:
		return mount_failed(ENODEV, device, error);
	}
}

static bool is_read_only(const char *folder)
{
	struct statvfs about;

	return statvfs(folder, &about) != 0 || (about.f_flag & ST_RDONLY) != 0;
}

static bool mount_any(
    enum target_kind kind, const char *device, const char *folder, struct error *error)
{
	switch (kind) {
	case TARGET_FAT:
		return kernel_mount(
		    "vfat", 0, "utf8,umask=077,errors=remount-ro", device, folder, error);
	case TARGET_EXFAT:
		return kernel_mount("exfat", 0, "iocharset=utf8,umask=077,errors=remount-ro",
		    device, folder, error);
	case TARGET_EXT:
		return kernel_mount("ext4", 0, "errors=remount-ro", device, folder, error);
	case TARGET_NTFS:
		/* The log of a volume that is not clean is Windows' to replay, not ours to drop. */
		return driver_mount(
		    "rw,norecover,umask=077,big_writes," COMMON_TEXT, device, folder, error);
	default:
		return mount_failed(ENODEV, device, error);
	}
}

bool target_mount_to_write(
    enum target_kind kind, const char *device, const char *folder, struct error *error)
{
	if (!mount_any(kind, device, folder, error))
		return false;
	if (!is_read_only(folder))
		return true;
	target_unmount(device, folder, 20);
	/* ntfs-3g falls back to reading where it would do harm. */
	if (kind == TARGET_NTFS)
		return error_set(error, STATUS_DESTINATION, "%s: %s", device, windows_first);
	return error_set(error, STATUS_DESTINATION,
	    "%s can only be read. Have its file system checked on the PC that it belongs to, or "
	    "use "
	    "another drive",
	    device);
}

/* --- unmounting ------------------------------------------------------------------------------- */

/* Does the process have the device open? */
static bool process_holds(const char *process, const char *device)
{
	char path[300], target[300];
	struct dirent *entry;
	bool holds = false;
	DIR *folder;

	snprintf(path, sizeof(path), "/proc/%s/fd", process);
	folder = opendir(path);
	while (folder != NULL && !holds && (entry = readdir(folder)) != NULL) {
		ssize_t length =
		    readlinkat(dirfd(folder), entry->d_name, target, sizeof(target) - 1);

		target[length > 0 ? length : 0] = '\0';
		holds = strcmp(target, device) == 0;
	}
	if (folder != NULL)
		closedir(folder);
	return holds;
}

static bool is_driver(const char *process)
{
	char path[300], name[32] = "";
	FILE *file;

	snprintf(path, sizeof(path), "/proc/%s/comm", process);
	file = fopen(path, "re");
	if (file == NULL)
		return false;
	if (fgets(name, sizeof(name), file) == NULL)
		name[0] = '\0';
	fclose(file);
	return strcmp(name, "ntfs-3g\n") == 0 || strcmp(name, "mount.ntfs\n") == 0;
}

static bool driver_works(const char *device)
{
	DIR *folder = opendir("/proc");
	struct dirent *entry;
	bool works = false;

	while (folder != NULL && !works && (entry = readdir(folder)) != NULL)
		works = isdigit((unsigned char)entry->d_name[0]) && is_driver(entry->d_name) &&
			process_holds(entry->d_name, device);
	if (folder != NULL)
		closedir(folder);
	return works;
}

bool target_unmount(const char *device, const char *folder, unsigned seconds)
{
	unsigned steps = seconds * 10;
	bool good;

	/* Somebody may just be letting go of a last file. */
	for (unsigned i = 0; (good = umount2(folder, 0) == 0) == false && errno == EBUSY && i < 50;
	     i++)
		usleep(100000);
	if (!good)
		umount2(folder, MNT_DETACH);
	while (driver_works(device)) {
		if (steps-- == 0)
			return false;
		usleep(100000);
	}
	return good;
}
