/*
 * A folder that is gone on with: see folder_again.h.
 *
 * Folders are kept in a list, each before what is in it: first all are looked through, then from
 * the last to the first those that became empty are removed. No link is followed.
 */
#include "extract/folder_again.h"

#include "base/buf.h"
#include "extract/durable.h"
#include "extract/stored_paths.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct sweeping {
	int root;
	const struct map *stored;
	const char *name;
	char **folders; /* paths below the root; the first is "" */
	size_t n_folders, capacity;
};

/* Opens the folder of `length` bytes of path. -1: errno. */
static int open_below(int root, const char *path, size_t length)
{
	int at = openat(root, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);

	while (at >= 0 && length > 0) {
		const char *slash = memchr(path, '/', length);
		size_t part = slash == NULL ? length : (size_t)(slash - path);
		char name[NAME_MAX + 1];
		int next;

		if (part > NAME_MAX) {
			close(at);
			errno = ENAMETOOLONG;
			return -1;
		}
		memcpy(name, path, part);
		name[part] = '\0';
		next = openat(at, name, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
		close(at);
		at = next;
		path += part + (slash != NULL);
		length -= part + (slash != NULL);
	}
	return at;
}

/* Takes the path over; NULL is no memory. */
static bool add_folder(struct sweeping *sweeping, char *path, struct error *error)
{
	if (path == NULL ||
	    !array_reserve(&sweeping->folders, &sweeping->capacity, sweeping->n_folders + 1,
		sizeof(*sweeping->folders))) {
		free(path);
		return error_no_memory(error);
	}
	sweeping->folders[sweeping->n_folders++] = path;
	return true;
}

/* One name in a folder: kept, removed, or looked through later. */
static bool look_at(struct sweeping *sweeping, int folder, const char *above, const char *name,
    struct error *error)
{
	struct buf path = {0};
	struct stat info;
	bool good = true;

	if (above[0] != '\0')
		buf_printf(&path, "%s/", above);
	buf_add_text(&path, name);
	if (path.failed)
		good = error_no_memory(error);
	else if (fstatat(folder, name, &info, AT_SYMLINK_NOFOLLOW) != 0)
		good = durable_failed(error, errno, sweeping->name);
	else if (S_ISDIR(info.st_mode))
		good = add_folder(sweeping, strdup(buf_text(&path)), error);
	else if (!stored_paths_has(sweeping->stored, buf_text(&path), path.length) &&
	    unlinkat(folder, name, 0) != 0)
		good = durable_failed(error, errno, sweeping->name);
	buf_free(&path);
	return good;
}

static bool look_through(struct sweeping *sweeping, const char *path, struct error *error)
{
	int fd = open_below(sweeping->root, path, strlen(path));
	DIR *folder = fd < 0 ? NULL : fdopendir(fd);
	struct dirent *entry;
	bool good = true;

	if (folder == NULL) {
		durable_failed(error, errno, sweeping->name);
		if (fd >= 0)
			close(fd);
		return false;
	}
	while (good && (errno = 0, entry = readdir(folder)) != NULL)
		if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0)
			good = look_at(sweeping, fd, path, entry->d_name, error);
	if (good && errno != 0)
		good = durable_failed(error, errno, sweeping->name);
	closedir(folder);
	return good;
}

/* Removes the folder unless something is in it. */
static bool remove_empty(struct sweeping *sweeping, const char *path, struct error *error)
{
	const char *slash = strrchr(path, '/');
	int above = open_below(sweeping->root, path, slash == NULL ? 0 : (size_t)(slash - path));
	bool good = above >= 0 &&
	    (unlinkat(above, slash == NULL ? path : slash + 1, AT_REMOVEDIR) == 0 ||
		errno == ENOTEMPTY || errno == EEXIST);

	if (!good)
		durable_failed(error, errno, sweeping->name);
	if (above >= 0)
		close(above);
	return good;
}

bool folder_keep_only(int root, const struct map *stored, const char *name, struct error *error)
{
	struct sweeping sweeping = {.root = root, .stored = stored, .name = name};
	bool good = add_folder(&sweeping, strdup(""), error);

	for (size_t i = 0; good && i < sweeping.n_folders; i++)
		good = look_through(&sweeping, sweeping.folders[i], error);
	for (size_t i = sweeping.n_folders; good && i-- > 1;)
		if (!stored_paths_has(stored, sweeping.folders[i], strlen(sweeping.folders[i])))
			good = remove_empty(&sweeping, sweeping.folders[i], error);
	for (size_t i = 0; i < sweeping.n_folders; i++)
		free(sweeping.folders[i]);
	free(sweeping.folders);
	return good;
}
