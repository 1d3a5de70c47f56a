/* What a job has written behind its last checkpoint: see leftovers.h. */
#include "extract/leftovers.h"

#include "extract/bookmarks.h"
#include "extract/durable.h"
#include "extract/paper_names.h"
#include "extract/proof.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static bool ends_in(const char *name, const char *ending)
{
	size_t length = strlen(name), end = strlen(ending);

	return length > end && strcmp(name + length - end, ending) == 0;
}

/* Is it "NAME-something.zip" (or .tar)? */
static bool is_like_part(const struct parts *parts, const char *name)
{
	const char *job = parts->job->name;
	size_t length = strlen(job);
	char ending[12];

	snprintf(ending, sizeof(ending), ".%s", format_name(parts->format));
	return strncmp(name, job, length) == 0 && name[length] == '-' &&
	    (ends_in(name, ending) || ends_in(name, PROOF_ARCHIVE_END));
}

static bool is_known(const struct parts *parts, const char *name)
{
	for (size_t i = 0; i < parts->count; i++) {
		const char *part = parts->items[i].name;
		size_t length = strlen(part);

		if (strncmp(name, part, length) != 0)
			continue;
		if (name[length] == '\0' ||
		    (strcmp(name + length, UNFINISHED) == 0 && !parts->items[i].is_finished))
			return true;
	}
	return false;
}

static bool is_leftover(const struct parts *parts, const char *name)
{
	if (is_known(parts, name) || strcmp(name, JOB_JOURNAL) == 0)
		return false;
	return paper_is_known(name) || ends_in(name, UNFINISHED) || is_like_part(parts, name);
}

/* Is it a page of bookmarks, or what goes with them? */
static bool is_page(const char *name)
{
	return strcmp(name, BOOKMARKS_READ_ME) == 0 || ends_in(name, ".html") ||
	       ends_in(name, UNFINISHED);
}

/* Removes what is a leftover from an open folder, which is closed. */
static bool clear_folder(const struct parts *parts, DIR *folder, bool of_bookmarks,
    struct error *error)
{
	const struct dirent *entry;
	bool good = true;

	while (good && (errno = 0, entry = readdir(folder)) != NULL)
		/* A folder of that name is not removed: it has something in it. */
		if ((of_bookmarks ? is_page(entry->d_name) : is_leftover(parts, entry->d_name)) &&
		    unlinkat(dirfd(folder), entry->d_name, 0) != 0 && errno != EISDIR &&
		    errno != EPERM && errno != ENOENT)
			good = durable_failed(error, errno, entry->d_name);
	if (good && errno != 0)
		good = durable_failed(error, errno, parts->job->folder);
	closedir(folder);
	return good;
}

/* The folder of bookmarks, if there is one: what is left of it may be a page or two. */
static bool clear_bookmarks(const struct parts *parts, struct error *error)
{
	char *path = job_path(parts->job, BOOKMARKS_FOLDER);
	DIR *folder;
	int fd;

	if (path == NULL)
		return error_no_memory(error);
	fd = open(path, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
	free(path);
	if (fd < 0)
		return true; /* none yet */
	folder = fdopendir(fd);
	if (folder != NULL)
		return clear_folder(parts, folder, true, error);
	close(fd);
	return error_no_memory(error);
}

bool leftovers_remove(const struct parts *parts, struct error *error)
{
	DIR *folder = opendir(parts->job->folder);

	if (folder == NULL)
		return durable_failed(error, errno, parts->job->folder);
	return clear_folder(parts, folder, false, error) && clear_bookmarks(parts, error);
}

/* Is there such a thing at the path, with so many bytes if it is a file? */
static bool is_there(const struct parts *parts, const char *path, uint64_t length)
{
	struct stat info;

	if (lstat(path, &info) != 0)
		return false;
	return parts->format == FORMAT_FOLDER ?
		   S_ISDIR(info.st_mode) :
		   S_ISREG(info.st_mode) && (uint64_t)info.st_size >= length;
}

static bool remove_both(const struct parts *parts, const char *path, const char *unfinished,
    struct error *error)
{
	if (parts->format == FORMAT_FOLDER)
		return true; /* neither is a folder, or is_there() would have said so */
	if ((unlink(path) != 0 && errno != ENOENT) || (unlink(unfinished) != 0 && errno != ENOENT))
		return durable_failed(error, errno, path);
	return true;
}

bool leftovers_take_back(const struct parts *parts, const struct part *part, uint64_t length,
    bool *whole, struct error *error)
{
	char *path = job_path(parts->job, part->name), *unfinished = NULL;
	bool good;

	if (path == NULL || asprintf(&unfinished, "%s%s", path, UNFINISHED) < 0) {
		free(path);
		return error_no_memory(error);
	}
	good = true;
	*whole = is_there(parts, unfinished, length);
	if (!*whole && is_there(parts, path, length)) {
		*whole = true;
		good = rename(path, unfinished) == 0 ?
			   durable_sync_folder(path, error) :
			   durable_failed(error, errno, path);
	} else if (!*whole) {
		good = remove_both(parts, path, unfinished, error);
	} else if (parts->format != FORMAT_FOLDER && unlink(path) != 0 && errno != ENOENT) {
		good = durable_failed(error, errno, path);
	}
	free(unfinished);
	free(path);
	return good;
}

bool leftovers_has_folder(const struct parts *parts, const char *name)
{
	char *path;
	bool there;

	if (asprintf(&path, "%s/%s%s", parts->job->folder, name, UNFINISHED) < 0)
		return false;
	there = is_there(parts, path, 0);
	free(path);
	return there;
}
