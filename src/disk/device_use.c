/* Who uses a drive: mounts, swap, drivers that hold it; see device_use.h. */
#include "disk/device_use.h"

#include "base/arena.h"
#include "disk/mounts.h"
#include "disk/sysfs.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

struct subject {
	const char *root, *path;
	const struct stat *status; /* of the device or image */
	struct block_set above;    /* the block devices that show its bytes */
};

/* Is the file or device at `name` the subject, or one of the devices above it? */
static bool names_subject(const struct subject *subject, const char *name)
{
	struct stat status;

	if (name[0] != '/' || stat(name, &status) != 0)
		return false;
	if (S_ISBLK(status.st_mode))
		return block_set_has(&subject->above, status.st_rdev);
	return S_ISREG(subject->status->st_mode) && status.st_ino == subject->status->st_ino &&
	       status.st_dev == subject->status->st_dev;
}

static bool check_mounts(
    struct arena *arena, const struct subject *subject, bool *mounted, struct error *error)
{
	struct mount *mounts;
	size_t count;

	if (!mounts_read(arena, subject->root, &mounts, &count))
		return error_no_memory(error);
	for (size_t i = 0; i < count; i++) {
		if (!block_set_has(&subject->above, mounts[i].number) &&
		    !names_subject(subject, mounts[i].source))
			continue;
		if (!mounts[i].read_only)
			return error_set(error, STATUS_NO_VOLUME,
			    "%s is in use: a file system on it is mounted at %s and can be written "
			    "to; unmount it first",
			    subject->path, mounts[i].point);
		*mounted = true;
	}
	return true;
}

static bool check_swaps(struct arena *arena, const struct subject *subject, struct error *error)
{
	const char **paths;
	size_t count;

	if (!swaps_read(arena, subject->root, &paths, &count))
		return error_no_memory(error);
	for (size_t i = 0; i < count; i++)
		if (names_subject(subject, paths[i]))
			return error_set(error, STATUS_NO_VOLUME,
			    "%s is in use: this computer swaps to it; turn that off first (swapoff "
			    "%s)",
			    subject->path, paths[i]);
	return true;
}

/* Adds the loop devices that show this image file, with all that is above them. */
static void add_loops(struct subject *subject)
{
	struct sysfs_path folder, path, file;
	struct dirent *entry;
	struct block_set *set = malloc(sizeof(*set));
	size_t own;
	DIR *stream = sysfs_join(&folder, subject->root, "sys/block") ? opendir(folder.text) : NULL;

	while (set != NULL && stream != NULL && (entry = readdir(stream)) != NULL) {
		struct stat status;

		if (strncmp(entry->d_name, "loop", 4) != 0 ||
		    !sysfs_join(&path, folder.text, entry->d_name) ||
		    !sysfs_text(path.text, "loop/backing_file", file.text, sizeof(file.text)) ||
		    stat(file.text, &status) != 0 || status.st_ino != subject->status->st_ino ||
		    status.st_dev != subject->status->st_dev)
			continue;
		block_set_above(subject->root, sysfs_device_number(path.text), set, &own);
		for (size_t i = 0; i < set->count && subject->above.count < BLOCK_SET_MAX; i++)
			subject->above.items[subject->above.count++] = set->items[i];
	}
	if (stream != NULL)
		closedir(stream);
	free(set);
}

bool device_is_free(const char *root, const char *path, const struct stat *status, bool *mounted,
    struct error *error)
{
	struct subject *subject = calloc(1, sizeof(*subject));
	struct arena arena = {0};
	size_t own = 0;
	bool is_free;

	if (subject == NULL)
		return error_no_memory(error);
	subject->root = root;
	subject->path = path;
	subject->status = status;
	*mounted = false;
	if (S_ISBLK(status->st_mode))
		block_set_above(root, status->st_rdev, &subject->above, &own);
	else
		add_loops(subject);
	is_free =
	    check_mounts(&arena, subject, mounted, error) && check_swaps(&arena, subject, error);
	if (is_free && S_ISBLK(status->st_mode) && subject->above.count > own)
		is_free = error_set(error, STATUS_NO_VOLUME,
		    "%s is in use: a RAID, volume manager or encryption driver of this computer "
		    "holds it; stop that first",
		    path);
	arena_free(&arena);
	free(subject);
	return is_free;
}
