/*
 * The parts of a job in the format "folder": one folder with plain files.
 *
 * Folders wait in a list rather than on the call stack, and each is opened from the top without
 * following links: so neither depth nor links can do harm.
 */
#include "extract/verify_internal.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct folder_walk {
	struct verify *verify;
	uint32_t part;
	int root;
	char **waiting; /* paths below the root */
	size_t n_waiting, capacity;
};

static bool wait_for(struct folder_walk *walk, const char *path, struct error *error)
{
	if (!array_reserve(
		&walk->waiting, &walk->capacity, walk->n_waiting + 1, sizeof(*walk->waiting)) ||
	    (walk->waiting[walk->n_waiting] = strdup(path)) == NULL)
		return error_no_memory(error);
	walk->n_waiting++;
	return true;
}

/* Feeds [from, to) of the file; ranges that hold no data are not read. */
static bool feed(struct member_check *check, int fd, uint64_t *at, uint64_t to, struct error *error)
{
	struct verify *verify = check->verify;

	if (lseek(fd, (off_t)*at, SEEK_SET) < 0)
		return error_set_errno(
		    error, STATUS_DESTINATION, errno, "reading '%s' failed", check->path);
	while (*at < to && !check->is_too_long) {
		uint64_t want = to - *at < VERIFY_BUFFER ? to - *at : VERIFY_BUFFER;
		size_t got;

		if (!job_read(fd, check->path, verify->buffer, (size_t)want, &got, error))
			return false;
		if (got == 0)
			break; /* it became shorter meanwhile: its size will differ */
		member_data(check, verify->buffer, got);
		*at += got;
	}
	return true;
}

static bool feed_file(struct member_check *check, int fd, uint64_t size, struct error *error)
{
	uint64_t at = 0;

	while (at < size && !check->is_too_long) {
		off_t data = lseek(fd, (off_t)at, SEEK_DATA), hole;
		uint64_t start = data >= 0 ? (uint64_t)data : errno == ENXIO ? size : at;
		uint64_t before;

		start = start > size ? size : start;
		member_zeros(check, start - at);
		at = start;
		if (at >= size)
			break;
		hole = data < 0 ? -1 : lseek(fd, (off_t)at, SEEK_HOLE);
		before = at;
		if (!feed(check, fd, &at, hole < 0 || (uint64_t)hole > size ? size : (uint64_t)hole,
			error))
			return false;
		if (at == before)
			break;
	}
	return true;
}

static bool take_file(
    struct folder_walk *walk, int folder, const char *name, const char *path, struct error *error)
{
	struct verify_result *result = walk->verify->result;
	int fd = openat(folder, name, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
	struct member_check check;
	struct stat info;
	bool good;

	if (fd < 0 || fstat(fd, &info) != 0) {
		int number = errno;

		if (fd >= 0)
			close(fd);
		return error_set_errno(
		    error, STATUS_DESTINATION, number, "'%s' in the job cannot be read", path);
	}
	if (!S_ISREG(info.st_mode)) { /* it was one a moment ago */
		close(fd);
		return differ(
		    walk->verify, error, DIFFERS_STRANGE_FILE, path, "It is no plain file.");
	}
	read_from_disk(fd);
	result->part_bytes += (uint64_t)info.st_size;
	good = member_begin(&check, walk->verify, walk->part, path, error) &&
	       feed_file(&check, fd, (uint64_t)info.st_size, error) &&
	       member_end(&check, NULL, error);
	close(fd);
	return good;
}

static bool take_entry(
    struct folder_walk *walk, int folder, const char *name, const char *path, struct error *error)
{
	struct stat info;

	if (!path_is_safe(path) || (strncmp(path, "data/", 5) != 0 && strcmp(path, "data") != 0))
		return differ(walk->verify, error, DIFFERS_UNSAFE_NAME, path,
		    "%s holds this name, which does not lie below data/ or is not UTF-8.",
		    walk->verify->parts[walk->part].name);
	if (fstatat(folder, name, &info, AT_SYMLINK_NOFOLLOW) != 0)
		return error_set_errno(
		    error, STATUS_DESTINATION, errno, "'%s' in the job cannot be read", path);
	if (S_ISDIR(info.st_mode))
		return (strcmp(path, "data") == 0 || member_folder(walk->verify, path, error)) &&
		       wait_for(walk, path, error);
	if (S_ISREG(info.st_mode) && strcmp(path, "data") != 0)
		return take_file(walk, folder, name, path, error);
	return differ(walk->verify, error, DIFFERS_STRANGE_FILE, path,
	    "It is a link or a device; it was not opened.");
}

static bool take_folder(struct folder_walk *walk, const char *path, struct error *error)
{
	int fd = open_folder(walk->root, path, strlen(path));
	DIR *folder = fd < 0 ? NULL : fdopendir(fd);
	struct buf below = {0};
	struct dirent *entry;
	bool good = true;

	if (folder == NULL) {
		if (fd >= 0)
			close(fd);
		return error_set_errno(error, STATUS_DESTINATION, errno,
		    "the folder '%s' in the job cannot be read", path);
	}
	while (good && (errno = 0, entry = readdir(folder)) != NULL) {
		if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0)
			continue;
		buf_clear(&below);
		buf_printf(&below, "%s%s%s", path, path[0] == '\0' ? "" : "/", entry->d_name);
		good = below.failed ? error_no_memory(error)
				    : take_entry(walk, fd, entry->d_name, buf_text(&below), error);
	}
	if (good && errno != 0)
		good = error_set_errno(error, STATUS_DESTINATION, errno,
		    "the folder '%s' in the job cannot be read", path);
	closedir(folder);
	buf_free(&below);
	return good;
}

/* Pieces lie in any order in a folder: they are read once more, one after the other. */
static bool join_pieces(struct folder_walk *walk, struct whole *whole, struct error *error)
{
	struct verify *verify = walk->verify;
	bool good = true;

	while (good && whole->next <= whole->n_pieces &&
	       whole->claims[whole->next - 1] != VERIFY_NONE) {
		const struct claim *claim = &verify->table.items[whole->claims[whole->next - 1]];
		const char *slash = strrchr(claim->path, '/');
		struct member_check check = {
		    .verify = verify, .claim = NULL, .whole = whole, .path = claim->path};
		int folder, fd;

		if ((claim->flags & CLAIM_GOOD) == 0 || claim->part != walk->part)
			return true;
		folder = open_folder(walk->root, claim->path, (size_t)(slash - claim->path));
		fd = folder < 0 ? -1 : openat(folder, slash + 1, O_RDONLY | O_NOFOLLOW | O_CLOEXEC);
		if (folder >= 0)
			close(folder);
		if (fd < 0)
			return error_set_errno(error, STATUS_DESTINATION, errno,
			    "'%s' in the job cannot be read", claim->path);
		sha256_init(&check.hash);
		good = feed_file(&check, fd, claim->size, error);
		close(fd);
		whole->next++;
	}
	return good;
}

bool verify_folder_part(struct verify *verify, uint32_t part, struct error *error)
{
	const char *name = verify->parts[part].name;
	struct folder_walk walk = {.verify = verify,
	    .part = part,
	    .root = open_folder(verify->parts[part].folder, name, strlen(name))};
	bool good = walk.root >= 0;

	if (!good && (errno == ENOENT || errno == ENOTDIR || errno == ELOOP))
		return differ(verify, error, DIFFERS_PART_MISSING, name,
		    "It belongs to the job, and there is no such folder.");
	if (!good)
		return error_set_errno(error, STATUS_DESTINATION, errno,
		    "the folder '%s' in the job cannot be read", name);
	verify->result->n_parts++;
	good = wait_for(&walk, "", error);
	while (good && walk.n_waiting > 0) {
		char *path = walk.waiting[--walk.n_waiting];

		good = take_folder(&walk, path, error);
		free(path);
	}
	while (walk.n_waiting > 0)
		free(walk.waiting[--walk.n_waiting]);
	free(walk.waiting);
	for (size_t i = 0; good && i < verify->n_wholes; i++)
		good = join_pieces(&walk, &verify->wholes[i], error);
	close(walk.root);
	verify->parts[part].is_whole = good;
	return good;
}
