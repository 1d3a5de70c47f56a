/*
 * Reading a zip or tar file through libarchive, hashing the file itself on the way.
 *
 * libarchive asks for pieces of the file in nearly ascending order (of a zip file first the end).
 * Each byte that continues what was hashed so far is hashed as it passes, and the rest at the end:
 * so most files are read from the disk once.
 */
#include "extract/verify_internal.h"

#include <archive.h>
#include <archive_entry.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct file_reader {
	struct verify *verify;
	const char *name;
	int fd;
	uint64_t position, hashed;
	struct sha256_ctx hash;
	struct error error; /* status 0: none */
	uint8_t *buffer;
	struct raw_names names;
	size_t n_entries;
};

static bool read_piece(struct file_reader *reader, size_t *got)
{
	if (!job_read(reader->fd, reader->name, reader->buffer, VERIFY_BUFFER, got, &reader->error))
		return false;
	if (reader->position <= reader->hashed && reader->position + *got > reader->hashed) {
		size_t known = (size_t)(reader->hashed - reader->position);

		sha256_update(&reader->hash, *got - known, reader->buffer + known);
		reader->hashed = reader->position + *got;
	}
	reader->position += *got;
	progress_at(&reader->verify->progress, reader->verify->bytes_done, reader->name);
	return true;
}

static la_ssize_t on_read(struct archive *archive, void *client, const void **data)
{
	struct file_reader *reader = client;
	size_t got;

	if (!read_piece(reader, &got)) {
		archive_set_error(archive, EIO, "the file cannot be read");
		return -1;
	}
	*data = reader->buffer;
	return (la_ssize_t)got;
}

static la_int64_t on_seek(struct archive *archive, void *client, la_int64_t offset, int whence)
{
	struct file_reader *reader = client;
	off_t at = lseek(reader->fd, offset, whence);

	if (at < 0) {
		archive_set_error(archive, errno, "it points outside of itself");
		return ARCHIVE_FATAL;
	}
	reader->position = (uint64_t)at;
	return at;
}

static void say_why(struct archive *archive, char *reason)
{
	const char *text = archive_error_string(archive);

	snprintf(reason, 300, "%s", text == NULL ? "it is damaged" : text);
}

/* Hashes what libarchive had no use for. */
static bool hash_rest(struct file_reader *reader)
{
	size_t got = 1;

	if (lseek(reader->fd, (off_t)reader->hashed, SEEK_SET) < 0)
		return error_set_errno(&reader->error, STATUS_DESTINATION, errno,
		    "reading '%s' in the job failed", reader->name);
	reader->position = reader->hashed;
	while (got > 0)
		if (!read_piece(reader, &got))
			return false;
	return true;
}

/* The names of the entry in work as they stand in the file. */
static struct raw_name entry_names(const struct file_reader *reader, struct archive_entry *entry)
{
	struct raw_name raw = {0};

	if (reader->n_entries < reader->names.count)
		raw = reader->names.items[reader->n_entries];
	if (raw.name == NULL)
		raw.name = archive_entry_pathname(entry);
	if (raw.name == NULL)
		raw.name = "";
	if (archive_entry_hardlink(entry) == NULL)
		raw.link = NULL;
	else if (raw.link == NULL)
		raw.link = archive_entry_hardlink(entry);
	return raw;
}

static bool visit_entries(struct file_reader *reader, struct archive *archive,
    const struct archive_visitor *visitor, char *broken, struct error *error)
{
	struct archive_entry *entry;
	struct raw_name raw;

	for (;; reader->n_entries++) {
		int result = archive_read_next_header(archive, &entry);

		while (result == ARCHIVE_RETRY)
			result = archive_read_next_header(archive, &entry);
		if (result == ARCHIVE_EOF)
			return true;
		if (result != ARCHIVE_OK && result != ARCHIVE_WARN) {
			say_why(archive, broken);
			return true;
		}
		raw = entry_names(reader, entry);
		if (!visitor->entry(visitor->context, archive, entry, raw.name, raw.link, error))
			return false;
		if (reader->error.status != 0)
			return true;
	}
}

/* By its name: zeros, say, would be an empty tar file, but are no zip file. */
static bool choose_format(struct file_reader *reader, struct archive *archive, struct error *error)
{
	size_t length = strlen(reader->name);
	bool is_tar = length > 4 && strcmp(reader->name + length - 4, ".tar") == 0;
	off_t size = lseek(reader->fd, 0, SEEK_END);

	if (size < 0 || lseek(reader->fd, 0, SEEK_SET) < 0)
		return error_set_errno(error, STATUS_DESTINATION, errno,
		    "reading '%s' in the job failed", reader->name);
	if (is_tar)
		archive_read_support_format_tar(archive);
	else
		archive_read_support_format_zip_seekable(archive);
	return (is_tar ? tar_names_read : zip_names_read)(
	    &reader->names, reader->fd, (uint64_t)size, error);
}

static bool open_and_visit(struct file_reader *reader, struct archive *archive,
    const struct archive_visitor *visitor, char *broken, struct error *error)
{
	if (!choose_format(reader, archive, error))
		return false;
	archive_read_set_read_callback(archive, on_read);
	archive_read_set_seek_callback(archive, on_seek);
	archive_read_set_callback_data(archive, reader);
	if (archive_read_open1(archive) != ARCHIVE_OK) {
		say_why(archive, broken);
		return true;
	}
	if (!visit_entries(reader, archive, visitor, broken, error))
		return false;
	if (broken[0] == '\0' &&
	    (!reader->names.is_whole || reader->names.count != reader->n_entries))
		snprintf(broken, 300, "its list of names is damaged");
	return true;
}

bool archive_visit(struct verify *verify, int fd, const char *name,
    const struct archive_visitor *visitor, struct digest *digest, char *broken, struct error *error)
{
	struct file_reader reader = {
	    .verify = verify, .name = name, .fd = fd, .buffer = malloc(VERIFY_BUFFER)};
	struct archive *archive = archive_read_new();
	bool good = true;

	broken[0] = '\0';
	sha256_init(&reader.hash);
	if (archive == NULL || reader.buffer == NULL)
		good = error_no_memory(error);
	else
		good = open_and_visit(&reader, archive, visitor, broken, error);
	if (good && reader.error.status == 0)
		hash_rest(&reader);
	if (good && reader.error.status != 0) {
		good = false;
		if (error != NULL)
			*error = reader.error;
	}
	*digest = digest_take(&reader.hash);
	raw_names_free(&reader.names);
	if (archive != NULL)
		archive_read_free(archive);
	free(reader.buffer);
	close(fd);
	return good;
}

void archive_content(
    struct archive *archive, struct archive_entry *entry, struct member_check *check, char *reason)
{
	const void *data;
	size_t length;
	la_int64_t offset, size = archive_entry_size(entry);
	uint64_t expected = 0;
	int result;

	reason[0] = '\0';
	while ((result = archive_read_data_block(archive, &data, &length, &offset)) == ARCHIVE_OK) {
		if (offset < 0 || (uint64_t)offset < expected) {
			snprintf(reason, 300, "its pieces overlap");
			return;
		}
		member_zeros(check, (uint64_t)offset - expected);
		member_data(check, data, length);
		expected = (uint64_t)offset + length;
		if (check->is_too_long)
			return;
	}
	if (result != ARCHIVE_EOF)
		say_why(archive, reason);
	/* A sparse file of a tar file may end in a hole, for which no block comes. */
	else if (archive_format(archive) != ARCHIVE_FORMAT_ZIP && size > 0 &&
		 (uint64_t)size > expected)
		member_zeros(check, (uint64_t)size - expected);
}
