/* libarchive onto a durable file: see archive_file.h. */
#include "extract/archive_file.h"

#define BLOCK 65536 /* what libarchive collects before it hands on */

/*
 * Debian's static libarchive would draw libxml2 and ICU into the program through its xar writer,
 * which nothing here uses. This stands in for it at link time.
 */
int archive_write_set_format_xar(struct archive *archive)
{
	(void)archive;
	return ARCHIVE_FATAL;
}

bool archive_file_prepare(struct archive_file *file, struct error *error)
{
	*file = (struct archive_file){.archive = archive_write_new(), .entry = archive_entry_new()};
	if (file->archive == NULL || file->entry == NULL) {
		archive_file_abandon(file);
		return error_no_memory(error);
	}
	return true;
}

/*
 * libarchive is never told of a failure: it would not free what it holds then. Every function here
 * asks the durable file instead, which takes nothing more once a write has failed.
 */
static la_ssize_t take_bytes(struct archive *archive, void *client, const void *data, size_t length)
{
	struct archive_file *file = client;

	(void)archive;
	if (!file->is_given_up)
		durable_write(&file->file, data, length, NULL);
	return (la_ssize_t)length;
}

/* The reason is in the durable file when that failed, otherwise with libarchive. */
static bool failed(const struct archive_file *file, struct error *error)
{
	const char *text = archive_error_string(file->archive);

	if (file->file.error.status != 0) {
		if (error != NULL)
			*error = file->file.error;
		return false;
	}
	return error_set(error, STATUS_OTHER, "writing '%s' failed: %s", file->file.path,
	    text == NULL ? "no reason given" : text);
}

static bool worked(const struct archive_file *file, int result, struct error *error)
{
	return (result == ARCHIVE_OK && file->file.error.status == 0) || failed(file, error);
}

bool archive_file_start(struct archive_file *file, const char *path, struct error *error)
{
	if (!durable_open(&file->file, path, error)) {
		archive_file_abandon(file);
		return false;
	}
	file->is_open = true;
	archive_write_set_bytes_per_block(file->archive, BLOCK);
	archive_write_set_bytes_in_last_block(file->archive, 1); /* no padding at the end */
	if (archive_write_open(file->archive, file, NULL, take_bytes, NULL) != ARCHIVE_OK) {
		failed(file, error);
		archive_file_abandon(file);
		return false;
	}
	return true;
}

bool archive_file_header(struct archive_file *file, struct error *error)
{
	/* A warning means that a name or time could not be written as it is: that must not pass. */
	return worked(file, archive_write_header(file->archive, file->entry), error);
}

bool archive_file_data(struct archive_file *file, const void *data, size_t length,
    struct error *error)
{
	const uint8_t *bytes = data;

	while (length > 0) {
		la_ssize_t written = archive_write_data(file->archive, bytes, length);

		if (!worked(file, written > 0 ? ARCHIVE_OK : ARCHIVE_FATAL, error))
			return false;
		bytes += written;
		length -= (size_t)written;
	}
	return true;
}

bool archive_file_end(struct archive_file *file, struct error *error)
{
	return worked(file, archive_write_finish_entry(file->archive), error);
}

uint64_t archive_file_size(const struct archive_file *file)
{
	return (uint64_t)archive_filter_bytes(file->archive, 0);
}

bool archive_file_finish(struct archive_file *file, struct digest *digest, struct error *error)
{
	if (!worked(file, archive_write_close(file->archive), error)) {
		archive_file_abandon(file);
		return false;
	}
	archive_write_free(file->archive);
	archive_entry_free(file->entry);
	file->archive = NULL;
	file->entry = NULL;
	file->is_open = false;
	return durable_finish(&file->file, digest, error);
}

void archive_file_abandon(struct archive_file *file)
{
	file->is_given_up = true; /* freeing must not write an end */
	if (file->archive != NULL)
		archive_write_free(file->archive);
	if (file->entry != NULL)
		archive_entry_free(file->entry);
	if (file->is_open)
		durable_abandon(&file->file);
	*file = (struct archive_file){0};
}

void archive_file_describe(struct archive_file *file, const struct member *member)
{
	struct archive_entry *entry = archive_entry_clear(file->entry);

	archive_entry_copy_pathname(entry, member->path);
	archive_entry_set_uid(entry, 0);
	archive_entry_set_gid(entry, 0);
	if (member->kind == MEMBER_FOLDER) {
		archive_entry_set_filetype(entry, AE_IFDIR);
		archive_entry_set_perm(entry, 0700); /* read-only means something else on folders */
		archive_entry_set_size(entry, 0);
		return;
	}
	archive_entry_set_filetype(entry, AE_IFREG);
	archive_entry_set_perm(entry, member->is_readonly ? 0400 : 0600);
	archive_entry_set_size(entry, member->kind == MEMBER_SAME ? 0 : (int64_t)member->size);
	if (member->kind == MEMBER_SAME)
		archive_entry_copy_hardlink(entry, member->same_as);
}
