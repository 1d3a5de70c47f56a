/* Reading sysfs; see sysfs.h. */
#include "disk/sysfs.h"

#include "disk/mounts.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

bool sysfs_join(struct sysfs_path *out, const char *folder, const char *name)
{
	int length = snprintf(out->text, sizeof(out->text), "%s/%s", folder, name);

	return length >= 0 && (size_t)length < sizeof(out->text);
}

ssize_t sysfs_bytes(const char *folder, const char *file, void *out, size_t size)
{
	struct sysfs_path path;
	ssize_t got;
	int fd;

	if (!sysfs_join(&path, folder, file))
		return -1;
	fd = open(path.text, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
	if (fd < 0)
		return -1;
	do
		got = read(fd, out, size);
	while (got < 0 && errno == EINTR);
	close(fd);
	return got;
}

static bool is_blank(char c)
{
	return c == ' ' || c == '\t' || c == '\n' || c == '\r';
}

bool sysfs_text(const char *folder, const char *file, char *out, size_t size)
{
	ssize_t got = sysfs_bytes(folder, file, out, size - 1);
	size_t length, start = 0;

	if (got <= 0) {
		out[0] = '\0';
		return false;
	}
	length = strnlen(out, (size_t)got);
	for (size_t i = 0; i < length; i++)
		if (out[i] == '\n')
			length = i;
	while (length > 0 && is_blank(out[length - 1]))
		length--;
	while (start < length && is_blank(out[start]))
		start++;
	memmove(out, out + start, length - start);
	out[length - start] = '\0';
	return length > start;
}

uint64_t sysfs_number(const char *folder, const char *file, uint64_t otherwise)
{
	char text[64], *end;
	unsigned long long number;

	if (!sysfs_text(folder, file, text, sizeof(text)) || text[0] < '0' || text[0] > '9')
		return otherwise;
	errno = 0;
	number = strtoull(text, &end, 10);
	return errno == 0 && *end == '\0' ? number : otherwise;
}

bool sysfs_device_folder(const char *root, dev_t number, struct sysfs_path *folder)
{
	char link[PATH_MAX];
	int length = snprintf(
	    link, sizeof(link), "%s/sys/dev/block/%u:%u", root, major(number), minor(number));

	if (length < 0 || (size_t)length >= sizeof(link))
		return false;
	return realpath(link, folder->text) != NULL;
}

dev_t sysfs_device_number(const char *folder)
{
	char text[64];
	unsigned major, minor;

	if (!sysfs_text(folder, "dev", text, sizeof(text)) ||
	    sscanf(text, "%u:%u", &major, &minor) != 2)
		return 0;
	return makedev(major, minor);
}

bool block_set_has(const struct block_set *set, dev_t number)
{
	for (size_t i = 0; i < set->count; i++)
		if (set->items[i] == number)
			return true;
	return false;
}

static void set_add(struct block_set *set, dev_t number)
{
	if (number == 0 || block_set_has(set, number))
		return;
	if (set->count == BLOCK_SET_MAX)
		set->full = true;
	else
		set->items[set->count++] = number;
}

/* Adds the devices whose folders or links stand in `folder`; only partitions when asked so. */
static void add_entries(struct block_set *set, const char *folder, bool only_partitions)
{
	DIR *stream = opendir(folder);
	struct sysfs_path path, part;
	struct dirent *entry;

	while (stream != NULL && (entry = readdir(stream)) != NULL) {
		if (entry->d_name[0] == '.' || !sysfs_join(&path, folder, entry->d_name))
			continue;
		if (only_partitions &&
		    (!sysfs_join(&part, path.text, "partition") || access(part.text, F_OK) != 0))
			continue;
		set_add(set, sysfs_device_number(path.text));
	}
	if (stream != NULL)
		closedir(stream);
}

void block_set_above(const char *root, dev_t number, struct block_set *set, size_t *own)
{
	struct sysfs_path folder, part;

	set->count = 0;
	set->full = false;
	set_add(set, number);
	if (sysfs_device_folder(root, number, &folder))
		add_entries(set, folder.text, true);
	*own = set->count;
	for (size_t i = 0; i < set->count; i++) {
		if (!sysfs_device_folder(root, set->items[i], &folder))
			continue;
		if (i >= *own)
			add_entries(set, folder.text, true);
		if (sysfs_join(&part, folder.text, "holders"))
			add_entries(set, part.text, false);
	}
}

bool block_loop_file(const char *root, dev_t number, struct sysfs_path *file)
{
	struct sysfs_path folder;

	return sysfs_device_folder(root, number, &folder) &&
	       sysfs_text(folder.text, "loop/backing_file", file->text, sizeof(file->text));
}

dev_t block_whole(const char *root, dev_t number)
{
	struct sysfs_path folder, mark;
	dev_t whole;
	char *slash;

	if (!sysfs_device_folder(root, number, &folder) ||
	    !sysfs_join(&mark, folder.text, "partition") || access(mark.text, F_OK) != 0)
		return number;
	slash = strrchr(folder.text, '/');
	if (slash == NULL)
		return number;
	*slash = '\0';
	whole = sysfs_device_number(folder.text);
	return whole != 0 ? whole : number;
}

void block_set_below(const char *root, dev_t number, struct block_set *set)
{
	struct sysfs_path folder, part;

	set->count = 0;
	set->full = false;
	set_add(set, number);
	for (size_t i = 0; i < set->count; i++) {
		set_add(set, block_whole(root, set->items[i]));
		if (!sysfs_device_folder(root, set->items[i], &folder))
			continue;
		if (sysfs_join(&part, folder.text, "slaves"))
			add_entries(set, part.text, false);
		if (block_loop_file(root, set->items[i], &part))
			set_add(set, block_under_path(root, part.text));
	}
}

/* Does the mount point hold the path? Gives the length of the point, or -1. */
static int point_covers(const char *point, const char *path)
{
	size_t length = strlen(point);

	if (strcmp(point, "/") == 0)
		return 1;
	if (strncmp(point, path, length) != 0 || (path[length] != '\0' && path[length] != '/'))
		return -1;
	return (int)length;
}

/* What mountinfo names as the source of the file system that holds `path`. */
static bool source_of_mount(const char *root, const char *path, struct sysfs_path *out)
{
	struct arena arena = {0};
	struct mount *mounts;
	char resolved[PATH_MAX];
	size_t count;
	int best = 0;

	out->text[0] = '\0';
	if (realpath(path, resolved) != NULL && mounts_read(&arena, root, &mounts, &count)) {
		/* Later mounts cover earlier ones at the same point. */
		for (size_t i = 0; i < count; i++) {
			int covers = point_covers(mounts[i].point, resolved);

			if (covers >= best && covers > 0) {
				best = covers;
				snprintf(out->text, sizeof(out->text), "%s", mounts[i].source);
			}
		}
	}
	arena_free(&arena);
	return out->text[0] == '/';
}

bool mounted_file(const char *root, const char *path, struct sysfs_path *file)
{
	struct stat status;

	return source_of_mount(root, path, file) && stat(file->text, &status) == 0 &&
	       S_ISREG(status.st_mode);
}

dev_t block_under_path(const char *root, const char *path)
{
	struct sysfs_path source;
	struct stat status;
	dev_t number;

	if (stat(path, &status) != 0)
		return 0;
	if (major(status.st_dev) != 0)
		return status.st_dev;
	if (!source_of_mount(root, path, &source) || stat(source.text, &status) != 0)
		return 0;
	number = S_ISBLK(status.st_mode) ? status.st_rdev : status.st_dev;
	return major(number) != 0 ? number : 0;
}
