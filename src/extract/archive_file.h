/*
 * An archive written by libarchive into a durable file: what zip and tar have in common.
 */
#ifndef EXTRACT_ARCHIVE_FILE_H
#define EXTRACT_ARCHIVE_FILE_H

#include "extract/durable.h"
#include "extract/writer.h"

#include <archive.h>
#include <archive_entry.h>

struct archive_file {
	struct archive *archive;
	struct archive_entry *entry; /* used again for every member */
	struct durable file;
	bool is_open; /* the durable file is */
	bool is_given_up;
};

/*
 * Begins: makes the archive object; the caller chooses the format and then calls
 * archive_file_start(). On failure nothing is left to free.
 */
bool archive_file_prepare(struct archive_file *file, struct error *error);
bool archive_file_start(struct archive_file *file, const char *path, struct error *error);

/* Writes file->entry as a header, and bytes of its content. */
bool archive_file_header(struct archive_file *file, struct error *error);
bool archive_file_data(struct archive_file *file, const void *data, size_t length,
    struct error *error);
bool archive_file_end(struct archive_file *file, struct error *error);

/* Bytes in the file, with those that libarchive still holds back. */
uint64_t archive_file_size(const struct archive_file *file);

bool archive_file_finish(struct archive_file *file, struct digest *digest, struct error *error);
void archive_file_abandon(struct archive_file *file);

/* What entries of every format share: kind, path, size, mode; the entry is cleared first. */
void archive_file_describe(struct archive_file *file, const struct member *member);

#endif
