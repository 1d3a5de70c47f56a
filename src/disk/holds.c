/*
 * Does a folder lie on a drive or inside an image? For refusing a destination on a source; see
 * drives.h.
 */
#include "disk/drives.h"
#include "disk/sysfs.h"

#include <stdlib.h>
#include <sys/stat.h>

/* Images in file systems in images: more layers than this are nobody's. */
#define LAYERS 8

bool drive_holds_folder(const char *root, dev_t device, const char *folder)
{
	struct block_set *set = malloc(sizeof(*set));
	bool holds;

	if (set == NULL)
		return true; /* what is not known to be safe is refused */
	block_set_below(root, block_under_path(root, folder), set);
	holds = set->full || block_set_has(set, device) ||
		block_set_has(set, block_whole(root, device));
	free(set);
	return holds;
}

static bool is_same_file(const char *path, const struct stat *image)
{
	struct stat status;

	return stat(path, &status) == 0 && status.st_dev == image->st_dev &&
	       status.st_ino == image->st_ino;
}

/* Is the image among the files of the loop devices in the set? *file gets one of them. */
static bool set_shows_image(const char *root, const struct block_set *set, const struct stat *image,
    struct sysfs_path *file)
{
	struct sysfs_path found;

	for (size_t i = 0; i < set->count; i++) {
		if (!block_loop_file(root, set->items[i], &found))
			continue;
		*file = found;
		if (is_same_file(found.text, image))
			return true;
	}
	return false;
}

bool image_holds_folder(const char *root, const char *image, const char *folder)
{
	struct block_set *set = malloc(sizeof(*set));
	struct sysfs_path at, file;
	struct stat status;
	bool holds = set == NULL;

	if (set != NULL && stat(image, &status) == 0 && realpath(folder, at.text) != NULL) {
		for (int layer = 0; layer < LAYERS && !holds; layer++) {
			file.text[0] = '\0';
			block_set_below(root, block_under_path(root, at.text), set);
			holds = set_shows_image(root, set, &status, &file);
			/* A file system in user space names the image itself as its source. */
			if (!holds && file.text[0] == '\0' && !mounted_file(root, at.text, &file))
				break;
			holds = holds || is_same_file(file.text, &status);
			at = file;
		}
	}
	free(set);
	return holds;
}

bool device_holds_folder(const char *root, const struct device *device, const char *folder)
{
	if (device->is_block)
		return drive_holds_folder(root, device->number, folder);
	return image_holds_folder(root, device->path, folder);
}
