/*
 * Parts as tar files in the pax format, through libarchive: times to the nanosecond, hard links,
 * sparse files.
 *
 * Source: POSIX.1-2017, pax, "pax Interchange Format"; sparse files in GNU's form 1.0 (GNU tar
 * manual, "Storing Sparse Files").
 */
#include "base/filetime.h"
#include "extract/archive_file.h"
#include "extract/writer_ops.h"

#include <stdlib.h>

struct tar_writer {
	struct writer base;
	struct archive_file file;
};

/*
 * Not the time of creation: pax has no keyword for it, and other programs print a warning for every
 * file when they meet libarchive's own. The record has it.
 */
static void set_times(struct archive_entry *entry, const struct member *member)
{
	int64_t seconds;
	uint32_t nanoseconds;

	filetime_to_unix(member->modified, &seconds, &nanoseconds);
	if (member->modified > 0)
		archive_entry_set_mtime(entry, seconds, nanoseconds);
	else
		archive_entry_set_mtime(entry, 0, 0);
	if (member->accessed > 0) {
		filetime_to_unix(member->accessed, &seconds, &nanoseconds);
		archive_entry_set_atime(entry, seconds, nanoseconds);
	}
}

static bool tar_begin(struct writer *writer, const struct member *member, struct error *error)
{
	struct tar_writer *tar = (struct tar_writer *)writer;
	struct archive_entry *entry = tar->file.entry;

	archive_file_describe(&tar->file, member);
	set_times(entry, member);
	if (member->kind == MEMBER_FILE && member->data != NULL) {
		for (size_t i = 0; i < member->n_data; i++)
			archive_entry_sparse_add_entry(entry, (int64_t)member->data[i].offset,
			    (int64_t)member->data[i].length);
		if (member->n_data == 0) /* nothing but zeros: an empty range at the end */
			archive_entry_sparse_add_entry(entry, (int64_t)member->size, 0);
	}
	return archive_file_header(&tar->file, error);
}

static bool tar_data(struct writer *writer, const void *data, size_t length, struct error *error)
{
	return archive_file_data(&((struct tar_writer *)writer)->file, data, length, error);
}

static bool tar_end(struct writer *writer, struct error *error)
{
	return archive_file_end(&((struct tar_writer *)writer)->file, error);
}

static uint64_t tar_size(const struct writer *writer)
{
	return archive_file_size(&((const struct tar_writer *)writer)->file) + 1024;
}

static bool tar_finish(struct writer *writer, struct digest *digest, struct error *error)
{
	struct tar_writer *tar = (struct tar_writer *)writer;
	bool good = archive_file_finish(&tar->file, digest, error);

	free(tar);
	return good;
}

static void tar_abandon(struct writer *writer)
{
	archive_file_abandon(&((struct tar_writer *)writer)->file);
	free(writer);
}

static const struct writer_ops tar_ops = {
    tar_begin, tar_data, writer_plain_zeros, tar_end, tar_size, tar_finish, tar_abandon};

struct writer *tar_writer_open(const char *path, struct error *error)
{
	struct tar_writer *tar = calloc(1, sizeof(*tar));

	if (tar == NULL || !archive_file_prepare(&tar->file, error)) {
		free(tar);
		error_no_memory(error);
		return NULL;
	}
	tar->base.ops = &tar_ops;
	if (archive_write_set_format_pax(tar->file.archive) != ARCHIVE_OK) {
		error_set(error, STATUS_OTHER, "tar files cannot be written by this build");
		tar_abandon(&tar->base);
		return NULL;
	}
	if (!archive_file_start(&tar->file, path, error)) {
		tar_abandon(&tar->base);
		return NULL;
	}
	return &tar->base;
}
