/*
 * Parts as tar files in the pax format, through libarchive: times to the nanosecond, hard links,
 * sparse files.
 *
 * libarchive makes the bytes in the thread that fills the part; the crew's writing thread (crew.h)
 * hashes and writes them.
 *
 * Source: POSIX.1-2017, pax, "pax Interchange Format"; sparse files in GNU's form 1.0 (GNU tar
 * manual, "Storing Sparse Files").
 */
#include "base/filetime.h"
#include "extract/crew.h"
#include "extract/part_file.h"
#include "extract/writer_ops.h"

#include <archive.h>
#include <archive_entry.h>
#include <stdlib.h>

/*
 * libarchive has a table of all its writers, so all of them would come into the program. Its xar
 * writer would draw libxml2 and ICU with it, and its zip writer is not wanted where zip files are
 * written by code that libarchive is the check of. These stand in for them at link time.
 */
int archive_write_set_format_xar(struct archive *archive)
{
	(void)archive;
	return ARCHIVE_FATAL;
}

int archive_write_set_format_zip(struct archive *archive)
{
	return archive_write_set_format_xar(archive);
}

/* Kinds of parcels. */
enum { TAR_BYTES, TAR_MARK, TAR_TAKE_BACK, TAR_CHECKPOINT, TAR_FINISH, TAR_ABANDON };

struct tar_writer {
	struct writer base;
	struct archive *archive;
	struct archive_entry *entry; /* used again for every member */
	struct crew *crew;
	bool owns_crew;
	uint64_t size;   /* bytes made so far */
	uint64_t before; /* of them, before the member in work */
	uint64_t entries;
	bool is_deaf;    /* what libarchive makes is for nobody */
	bool no_memory;

	/* The writing thread's. */
	struct lane lane;
	struct part_file file;
	struct digest digest;
};

/* --- the writing thread --- */

static bool put(struct lane *lane, struct parcel *parcel)
{
	struct tar_writer *tar =
	    (struct tar_writer *)((char *)lane - offsetof(struct tar_writer, lane));
	struct durable *file = &tar->file.file;
	struct error error;

	switch (parcel->kind) {
	case TAR_BYTES:
		part_file_add(&tar->file, parcel->data, parcel->length);
		break;
	case TAR_MARK:
		part_file_mark(&tar->file);
		break;
	case TAR_TAKE_BACK:
		part_file_go_back(&tar->file);
		break;
	case TAR_CHECKPOINT:
		part_file_flush(&tar->file);
		durable_checkpoint(file, NULL);
		break;
	case TAR_FINISH:
		part_file_flush(&tar->file);
		if (!durable_finish(file, &tar->digest, &error))
			lane_fail(lane, &error);
		return false;
	case TAR_ABANDON:
		durable_abandon(file);
		return false;
	}
	if (file->error.status != 0)
		lane_fail(lane, &file->error);
	return false;
}

static const struct lane_ops tar_lane = {.put = put};

static void tell(struct tar_writer *tar, int kind)
{
	crew_add(tar->crew, &tar->lane, kind, NULL, 0);
}

/* --- libarchive --- */

/*
 * libarchive is never told of a failure: it would not free what it holds then. What failed is
 * remembered and asked for behind every call.
 */
static la_ssize_t take_bytes(struct archive *archive, void *client, const void *data, size_t length)
{
	struct tar_writer *tar = client;

	(void)archive;
	if (tar->is_deaf)
		return (la_ssize_t)length;
	if (!crew_add_bytes(tar->crew, &tar->lane, TAR_BYTES, data, length))
		tar->no_memory = true;
	tar->size += length;
	return (la_ssize_t)length;
}

static bool worked(struct tar_writer *tar, int result, struct error *error)
{
	const char *text;

	if (!lane_check(&tar->lane, error))
		return false;
	if (tar->no_memory)
		return error_no_memory(error);
	if (result == ARCHIVE_OK)
		return true;
	text = archive_error_string(tar->archive);
	return error_set(error, STATUS_OTHER, "writing a tar file failed: %s",
	    text == NULL ? "no reason given" : text);
}

/* What libarchive still has to say is not wanted: it would fill up an entry in work with zeros. */
static void stop_archive(struct tar_writer *tar)
{
	tar->is_deaf = true;
	if (tar->archive != NULL)
		archive_write_free(tar->archive);
	tar->archive = NULL;
}

/* A tar file has no beginning of its own, so this works in the middle of one, too. */
static bool start_archive(struct tar_writer *tar, struct error *error)
{
	struct archive *archive = tar->archive = archive_write_new();

	tar->is_deaf = false;
	if (archive == NULL)
		return error_no_memory(error);
	if (archive_write_set_format_pax(archive) != ARCHIVE_OK)
		return error_set(error, STATUS_OTHER, "tar files cannot be written by this build");
	archive_write_set_bytes_per_block(archive, 0);     /* nothing is held back */
	archive_write_set_bytes_in_last_block(archive, 1); /* no padding at the end */
	return worked(tar, archive_write_open(archive, tar, NULL, take_bytes, NULL), error);
}

/* --- entries --- */

static void describe(struct archive_entry *entry, const struct member *member)
{
	archive_entry_clear(entry);
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
	struct archive_entry *entry = tar->entry;

	describe(entry, member);
	set_times(entry, member);
	if (member->kind == MEMBER_FILE && member->data != NULL) {
		for (size_t i = 0; i < member->n_data; i++)
			archive_entry_sparse_add_entry(entry, (int64_t)member->data[i].offset,
			    (int64_t)member->data[i].length);
		if (member->n_data == 0) /* nothing but zeros: an empty range at the end */
			archive_entry_sparse_add_entry(entry, (int64_t)member->size, 0);
	}
	tar->before = tar->size;
	tell(tar, TAR_MARK);
	/* A warning means that a name or time could not be written as it is: that must not pass. */
	return worked(tar, archive_write_header(tar->archive, entry), error);
}

static bool tar_data(struct writer *writer, const void *data, size_t length, struct error *error)
{
	struct tar_writer *tar = (struct tar_writer *)writer;
	const uint8_t *bytes = data;

	while (length > 0) {
		la_ssize_t written = archive_write_data(tar->archive, bytes, length);

		if (!worked(tar, written > 0 ? ARCHIVE_OK : ARCHIVE_FATAL, error))
			return false;
		bytes += written;
		length -= (size_t)written;
	}
	return true;
}

static bool tar_end(struct writer *writer, struct error *error)
{
	struct tar_writer *tar = (struct tar_writer *)writer;

	tar->entries++;
	return worked(tar, archive_write_finish_entry(tar->archive), error);
}

static bool tar_take_back(struct writer *writer, struct error *error)
{
	struct tar_writer *tar = (struct tar_writer *)writer;

	stop_archive(tar);
	tell(tar, TAR_TAKE_BACK);
	tar->size = tar->before;
	return start_archive(tar, error);
}

static uint64_t tar_size(struct writer *writer)
{
	return ((const struct tar_writer *)writer)->size + 1024; /* the two blocks at the end */
}

static bool tar_checkpoint(struct writer *writer, struct writer_mark *mark, struct error *error)
{
	struct tar_writer *tar = (struct tar_writer *)writer;

	tell(tar, TAR_CHECKPOINT);
	crew_wait(tar->crew);
	*mark = (struct writer_mark){tar->size, tar->entries};
	return worked(tar, ARCHIVE_OK, error);
}

/* --- beginning and end --- */

static void free_tar(struct tar_writer *tar)
{
	stop_archive(tar);
	if (tar->entry != NULL)
		archive_entry_free(tar->entry);
	part_file_free(&tar->file);
	if (tar->owns_crew)
		crew_close(tar->crew);
	free(tar);
}

static void tar_abandon(struct writer *writer)
{
	struct tar_writer *tar = (struct tar_writer *)writer;

	tell(tar, TAR_ABANDON);
	crew_wait(tar->crew);
	free_tar(tar);
}

static bool tar_finish(struct writer *writer, struct digest *digest, struct error *error)
{
	struct tar_writer *tar = (struct tar_writer *)writer;
	bool good = worked(tar, archive_write_close(tar->archive), error);

	if (!good) {
		tar_abandon(writer);
		return false;
	}
	tell(tar, TAR_FINISH);
	crew_wait(tar->crew);
	good = lane_check(&tar->lane, error);
	if (good && digest != NULL)
		*digest = tar->digest;
	free_tar(tar);
	return good;
}

static const struct writer_ops tar_ops = {tar_begin, tar_data, writer_plain_zeros, tar_end,
    tar_take_back, tar_size, NULL, tar_checkpoint, tar_finish, tar_abandon};

static bool open_file(struct tar_writer *tar, const char *path, const struct writer_mark *mark,
    struct error *error)
{
	if (mark == NULL)
		return part_file_open(&tar->file, path, error);
	tar->size = mark->length;
	tar->entries = mark->entries;
	return part_file_reopen(&tar->file, path, mark->length, error);
}

struct writer *tar_writer_open(const char *path, const struct writer_options *options,
    const struct writer_mark *mark, struct error *error)
{
	struct tar_writer *tar = calloc(1, sizeof(*tar));

	if (tar == NULL) {
		error_no_memory(error);
		return NULL;
	}
	tar->base.ops = &tar_ops;
	tar->entry = archive_entry_new();
	tar->owns_crew = options->crew == NULL;
	tar->crew = tar->owns_crew ? crew_open(1) : options->crew; /* nothing to prepare */
	if (tar->entry == NULL || tar->crew == NULL) {
		error_no_memory(error);
		free_tar(tar);
		return NULL;
	}
	lane_start(&tar->lane, &tar_lane, tar->crew);
	if (!open_file(tar, path, mark, error)) {
		free_tar(tar);
		return NULL;
	}
	if (start_archive(tar, error))
		return &tar->base;
	tar_abandon(&tar->base);
	return NULL;
}
