/*
 * The format "folder": plain files and folders with their times, under one folder of the job.
 *
 * The folder is built under a temporary name and gets its good name when everything in it is
 * synced. A file in it gets its own name when its last byte is written, so that half of one never
 * has it. Paths are walked one name at a time from an open folder: they may be longer than the
 * system's limit for a path, and a link that somebody puts there meanwhile is never followed.
 */
#include "base/filetime.h"
#include "extract/durable.h"
#include "extract/folder_again.h"
#include "extract/stored_paths.h"
#include "extract/writer_ops.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* The file in work, in the root: all members lie below "data", so none has this name. */
#define IN_WORK "file" UNFINISHED

/* Times of folders are set at the very end: every file written into one would change them. */
struct folder_times {
	char *path;
	int64_t modified, accessed;
};

struct folder_writer {
	struct writer base;
	char *path, *temporary;
	int root;
	char *parent;      /* path of the open parent folder, so that neighbours need no walk */
	int parent_fd;     /* -1: none; may be equal to root */
	int fd;            /* the file in work, -1: none */
	uint64_t position; /* in it */
	struct member member;
	char *name;        /* path of the entry in work */
	size_t there;      /* so much of it was there before: all folders below are new */
	bool is_new;       /* the entry itself was not there before */
	uint64_t entries;
	struct folder_times *folders;
	size_t n_folders, folders_capacity;
};

static void close_parent(struct folder_writer *folder)
{
	if (folder->parent_fd >= 0 && folder->parent_fd != folder->root)
		close(folder->parent_fd);
	folder->parent_fd = -1;
	free(folder->parent);
	folder->parent = NULL;
}

/*
 * Opens the folder of `length` bytes of path below the root, making what is not there; *there (may
 * be NULL) becomes the length of what was. -1: errno.
 */
static int walk(int root, const char *path, size_t length, size_t *there)
{
	const char *start = path;
	bool all_there = true;
	int at = root;

	if (there != NULL)
		*there = length;
	while (length > 0) {
		char name[NAME_MAX + 1];
		const char *slash = memchr(path, '/', length);
		size_t part = slash == NULL ? length : (size_t)(slash - path);
		int next;

		if (part == 0 || part > NAME_MAX) {
			errno = ENAMETOOLONG;
			next = -1;
		} else {
			bool is_made;

			memcpy(name, path, part);
			name[part] = '\0';
			is_made = mkdirat(at, name, 0700) == 0;
			if (is_made && all_there && there != NULL)
				*there = path == start ? 0 : (size_t)(path - start) - 1;
			all_there = all_there && !is_made;
			next = !is_made && errno != EEXIST ? -1 :
			    openat(at, name, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
		}
		if (at != root)
			close(at);
		if (next < 0)
			return -1;
		at = next;
		path += part;
		length -= part;
		if (length > 0) {
			path++;
			length--;
		}
	}
	return at;
}

/* Makes `parent_fd` the folder that holds `path`; returns the last name, or NULL with *error. */
static const char *enter_parent(struct folder_writer *folder, const char *path, struct error *error)
{
	const char *slash = strrchr(path, '/');
	size_t length = slash == NULL ? 0 : (size_t)(slash - path);
	const char *name = slash == NULL ? path : slash + 1;

	folder->there = length;
	if (folder->parent != NULL && strlen(folder->parent) == length &&
	    memcmp(folder->parent, path, length) == 0)
		return name;
	close_parent(folder);
	folder->parent_fd = walk(folder->root, path, length, &folder->there);
	if (folder->parent_fd < 0) {
		durable_failed(error, errno, path);
		return NULL;
	}
	folder->parent = strndup(path, length);
	if (folder->parent == NULL) {
		close_parent(folder);
		error_no_memory(error);
		return NULL;
	}
	return name;
}

static struct timespec to_timespec(int64_t filetime)
{
	struct timespec time = {.tv_nsec = UTIME_OMIT};
	int64_t seconds;
	uint32_t nanoseconds;

	if (filetime <= 0)
		return time;
	filetime_to_unix(filetime, &seconds, &nanoseconds);
	return (struct timespec){.tv_sec = seconds, .tv_nsec = nanoseconds};
}

/* The order that futimens() wants; a destination that cannot keep a time is no failure. */
static void times_of(struct timespec times[2], int64_t accessed, int64_t modified)
{
	times[0] = to_timespec(accessed);
	times[1] = to_timespec(modified);
}

static bool keep_times(struct folder_writer *folder, const struct member *member,
    struct error *error)
{
	struct folder_times *times;

	if (!array_reserve(&folder->folders, &folder->folders_capacity, folder->n_folders + 1,
		sizeof(*folder->folders)))
		return error_no_memory(error);
	times = &folder->folders[folder->n_folders];
	times->path = strdup(member->path);
	if (times->path == NULL)
		return error_no_memory(error);
	times->modified = member->modified;
	times->accessed = member->accessed;
	folder->n_folders++;
	return true;
}

static bool begin_folder(struct folder_writer *folder, const struct member *member,
    const char *name, struct error *error)
{
	folder->is_new = mkdirat(folder->parent_fd, name, 0700) == 0;
	if (!folder->is_new && errno != EEXIST)
		return durable_failed(error, errno, member->path);
	return keep_times(folder, member, error);
}

/*
 * Gives the file in work its own name in the open parent folder, where nothing has it yet. 0 or
 * errno.
 */
static int settle_file(struct folder_writer *folder, const char *name)
{
	struct stat info;

	if (fstatat(folder->parent_fd, name, &info, AT_SYMLINK_NOFOLLOW) == 0)
		return EEXIST;
	if (errno != ENOENT)
		return errno;
	return renameat(folder->root, IN_WORK, folder->parent_fd, name) == 0 ? 0 : errno;
}

static int create_file(struct folder_writer *folder)
{
	return openat(folder->root, IN_WORK,
	    O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600);
}

/* 0 or errno. */
static int copy_file(
    struct folder_writer *folder, int from, const char *from_name, const char *name)
{
	int in = openat(from, from_name, O_RDONLY | O_NOFOLLOW | O_CLOEXEC);
	int out = in < 0 ? -1 : create_file(folder);
	int failure = out < 0 ? errno : 0;
	ssize_t moved = 1;

	while (failure == 0 && moved > 0) {
		moved = copy_file_range(in, NULL, out, NULL, 1 << 20, 0);
		if (moved < 0)
			failure = errno;
	}
	if (in >= 0)
		close(in);
	if (out >= 0 && close(out) != 0 && failure == 0)
		failure = errno;
	return failure != 0 ? failure : settle_file(folder, name);
}

/*
 * A second name of a file that is already there; a copy where the destination knows no such thing.
 */
static bool begin_same(struct folder_writer *folder, const char *name, const char *path,
    const char *same_as, struct error *error)
{
	const char *slash = strrchr(same_as, '/');
	const char *from_name = slash == NULL ? same_as : slash + 1;
	int from = walk(folder->root, same_as, slash == NULL ? 0 : (size_t)(slash - same_as),
	    NULL);
	int failure;

	if (from < 0)
		return durable_failed(error, errno, same_as);
	failure = linkat(from, from_name, folder->parent_fd, name, 0) == 0 ? 0 : errno;
	if (failure == EPERM || failure == ENOSYS || failure == ENOTSUP || failure == EMLINK)
		failure = copy_file(folder, from, from_name, name);
	if (from != folder->root)
		close(from);
	return failure == 0 || durable_failed(error, failure, path);
}

static bool folder_begin(struct writer *writer, const struct member *member, struct error *error)
{
	struct folder_writer *folder = (struct folder_writer *)writer;
	const char *name = enter_parent(folder, member->path, error);

	if (name == NULL)
		return false;
	folder->member = *member;
	folder->member.path = folder->member.same_as = NULL; /* not ours to keep */
	folder->position = 0;
	folder->is_new = false;
	free(folder->name);
	folder->name = strdup(member->path);
	if (folder->name == NULL)
		return error_no_memory(error);
	if (member->kind == MEMBER_FOLDER)
		return begin_folder(folder, member, name, error);
	if (member->kind == MEMBER_SAME)
		return folder->is_new =
			   begin_same(folder, name, member->path, member->same_as, error);
	folder->fd = create_file(folder);
	return folder->fd >= 0 || durable_failed(error, errno, member->path);
}

static bool folder_data(struct writer *writer, const void *data, size_t length, struct error *error)
{
	struct folder_writer *folder = (struct folder_writer *)writer;
	const uint8_t *bytes = data;

	while (length > 0) {
		ssize_t written = pwrite(folder->fd, bytes, length, (off_t)folder->position);

		if (written < 0 && errno == EINTR)
			continue;
		if (written <= 0)
			return durable_failed(error, written < 0 ? errno : ENOSPC, folder->name);
		bytes += written;
		length -= (size_t)written;
		folder->position += (uint64_t)written;
	}
	return true;
}

static bool folder_zeros(struct writer *writer, uint64_t length, struct error *error)
{
	(void)error;
	((struct folder_writer *)writer)->position += length;
	return true;
}

static bool folder_end(struct writer *writer, struct error *error)
{
	struct folder_writer *folder = (struct folder_writer *)writer;
	struct timespec times[2];
	const char *name;
	bool good = true;
	int failure;

	folder->entries++;
	if (folder->fd < 0)
		return true;
	/* Zeros at the end were only counted so far. */
	if (ftruncate(folder->fd, (off_t)folder->position) != 0)
		good = durable_failed(error, errno, folder->name);
	if (folder->member.is_readonly)
		(void)fchmod(folder->fd, 0400);
	times_of(times, folder->member.accessed, folder->member.modified);
	(void)futimens(folder->fd, times);
	if (close(folder->fd) != 0 && good)
		good = durable_failed(error, errno, folder->name);
	folder->fd = -1;
	if (!good)
		return false;
	/* The parent is open since the file was begun. */
	name = enter_parent(folder, folder->name, error);
	if (name == NULL)
		return false;
	failure = settle_file(folder, name);
	return failure == 0 || durable_failed(error, failure, folder->name);
}

/* Removes the last name in the first `length` bytes of the entry's path. */
static bool remove_name(struct folder_writer *folder, size_t length, int flags, struct error *error)
{
	const char *path = folder->name, *slash = memrchr(path, '/', length);
	size_t above = slash == NULL ? 0 : (size_t)(slash - path);
	char *name = strndup(slash == NULL ? path : slash + 1,
	    slash == NULL ? length : length - above - 1);
	int parent = walk(folder->root, path, above, NULL);
	bool good = name != NULL && parent >= 0 && unlinkat(parent, name, flags) == 0;

	if (!good)
		durable_failed(error, name == NULL ? ENOMEM : errno, path);
	if (parent >= 0 && parent != folder->root)
		close(parent);
	free(name);
	return good;
}

/* The entry, and from the inside out the folders that were made for it. */
static bool folder_take_back(struct writer *writer, struct error *error)
{
	struct folder_writer *folder = (struct folder_writer *)writer;
	bool is_folder = folder->member.kind == MEMBER_FOLDER;
	size_t length = strlen(folder->name);
	const char *slash;

	close_parent(folder);
	if (is_folder) /* its times, which came last */
		free(folder->folders[--folder->n_folders].path);
	if (folder->fd >= 0) {
		close(folder->fd);
		folder->fd = -1;
		if (unlinkat(folder->root, IN_WORK, 0) != 0)
			return durable_failed(error, errno, folder->name);
	}
	if (folder->is_new && !remove_name(folder, length, is_folder ? AT_REMOVEDIR : 0, error))
		return false;
	while ((slash = memrchr(folder->name, '/', length)) != NULL &&
	    (length = (size_t)(slash - folder->name)) > folder->there)
		if (!remove_name(folder, length, AT_REMOVEDIR, error))
			return false;
	return true;
}

static uint64_t folder_size(struct writer *writer)
{
	(void)writer;
	return 0;
}

static void free_folder(struct folder_writer *folder)
{
	close_parent(folder);
	if (folder->fd >= 0)
		close(folder->fd);
	if (folder->root >= 0)
		close(folder->root);
	for (size_t i = 0; i < folder->n_folders; i++)
		free(folder->folders[i].path);
	free(folder->folders);
	free(folder->name);
	free(folder->path);
	free(folder->temporary);
	free(folder);
}

/* From the last to the first: what lies deeper comes later, and is done earlier. */
static void set_folder_times(struct folder_writer *folder)
{
	for (size_t i = folder->n_folders; i-- > 0;) {
		struct folder_times *entry = &folder->folders[i];
		struct timespec times[2];
		struct error ignored;
		const char *name = enter_parent(folder, entry->path, &ignored);

		times_of(times, entry->accessed, entry->modified);
		if (name != NULL)
			(void)utimensat(folder->parent_fd, name, times, AT_SYMLINK_NOFOLLOW);
	}
}

/* syncfs() does nothing on a file system in user space, where fsync() means all of it. */
static bool sync_all(struct folder_writer *folder, struct error *error)
{
	if (syncfs(folder->root) == 0 &&
	    (fsync(folder->root) == 0 || errno == EINVAL || errno == ENOTSUP || errno == ENOSYS))
		return true;
	return durable_failed(error, errno, folder->path);
}

static bool folder_checkpoint(struct writer *writer, struct writer_mark *mark, struct error *error)
{
	struct folder_writer *folder = (struct folder_writer *)writer;

	*mark = (struct writer_mark){0, folder->entries};
	return sync_all(folder, error) && durable_sync_folder(folder->path, error);
}

static bool folder_finish(struct writer *writer, struct digest *digest, struct error *error)
{
	struct folder_writer *folder = (struct folder_writer *)writer;
	bool good;

	(void)digest;
	set_folder_times(folder);
	good = sync_all(folder, error);
	if (good && rename(folder->temporary, folder->path) != 0)
		good = durable_failed(error, errno, folder->path);
	if (good)
		good = durable_sync_renamed(folder->path, true, error);
	free_folder(folder);
	return good;
}

/*
 * What arrived stays, under the name that says that it is not complete. Half a file is removed, and
 * where that cannot be done any more it has no name that could be taken for a whole one's.
 */
static void folder_abandon(struct writer *writer)
{
	struct folder_writer *folder = (struct folder_writer *)writer;

	unlinkat(folder->root, IN_WORK, 0);
	free_folder(folder);
}

static const struct writer_ops folder_ops = {folder_begin, folder_data, folder_zeros, folder_end,
    folder_take_back, folder_size, NULL, folder_checkpoint, folder_finish, folder_abandon};

/* Learns which entries there are, and removes what was only written after the mark. */
static bool go_on(struct folder_writer *folder, const struct writer_options *options,
    const struct writer_mark *mark, struct error *error)
{
	struct map stored = {0};
	struct member member = {0};
	uint64_t count = 0;
	bool good = options->next_stored != NULL ||
	    error_set(error, STATUS_OTHER, "what stands in the folder is not known");

	while (good && options->next_stored(options->stored, &member)) {
		count++;
		if (!stored_paths_add(&stored, member.path, strlen(member.path)))
			good = error_no_memory(error);
		else if (member.kind == MEMBER_FOLDER)
			good = keep_times(folder, &member, error);
	}
	folder->entries = mark->entries;
	if (good && count != mark->entries)
		good = error_set(error, STATUS_OTHER,
		    "the journal and the folder '%s' do not fit together", folder->path);
	good = good && folder_keep_only(folder->root, &stored, folder->path, error);
	map_free(&stored);
	return good;
}

/* The folder itself: a new one, or the one that is there. */
static bool open_root(struct folder_writer *folder, bool is_new, struct error *error)
{
	if (!is_new && !durable_unfinish(folder->path, folder->temporary, error))
		return false;
	if (!is_new || mkdir(folder->temporary, 0700) == 0)
		folder->root = open(folder->temporary,
		    O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
	return folder->root >= 0 || durable_failed(error, errno, folder->temporary);
}

struct writer *folder_writer_open(const char *path, const struct writer_options *options,
    const struct writer_mark *mark, struct error *error)
{
	struct folder_writer *folder = calloc(1, sizeof(*folder));

	if (folder == NULL) {
		error_no_memory(error);
		return NULL;
	}
	folder->base.ops = &folder_ops;
	folder->root = folder->parent_fd = folder->fd = -1;
	folder->path = strdup(path);
	if (asprintf(&folder->temporary, "%s%s", path, UNFINISHED) < 0)
		folder->temporary = NULL;
	if (folder->path == NULL || folder->temporary == NULL)
		error_no_memory(error);
	else if (open_root(folder, mark == NULL, error) &&
	    (mark == NULL || go_on(folder, options, mark, error)))
		return &folder->base;
	free_folder(folder);
	return NULL;
}
