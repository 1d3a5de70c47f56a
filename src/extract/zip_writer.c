/*
 * Parts as zip files, through libarchive.
 *
 * Sources: PKWARE APPNOTE 6.3.9 (4.4.6 DOS date and time, 4.3.14 Zip64, appendix D: UTF-8 names);
 * Info-ZIP's "extended timestamp" extra field 0x5455 (its third time is the time of creation).
 */
#include "base/filetime.h"
#include "extract/archive_file.h"
#include "extract/writer_ops.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

#define DEFLATE_LEVEL "4" /* reading a drive should stay the slower side */

/* Times that the DOS field and the 32-bit field of the extended timestamp can both hold. */
#define FIRST_SECOND INT64_C(315619200)  /* 1980-01-02, so that every zone is in 1980 */
#define LAST_SECOND INT64_C(2147385600)  /* 2038-01-18 */

struct zip_writer {
	struct writer base;
	struct archive_file file;
	uint64_t directory; /* bytes that the central directory will take at most */
	char *zone;
};

/*
 * libarchive writes the DOS field in the local time of the process, so that is changed for as long
 * as a header is written. Parts of several systems can be open at a time, each with its own zone.
 */
static bool header_in_zone(struct zip_writer *zip, struct error *error)
{
	const char *now = getenv("TZ");
	char *before = now == NULL ? NULL : strdup(now);
	bool good = (now == NULL || before != NULL) && setenv("TZ", zip->zone, 1) == 0;

	if (!good) {
		free(before);
		return error_no_memory(error);
	}
	tzset();
	good = archive_file_header(&zip->file, error);
	if (before != NULL)
		setenv("TZ", before, 1);
	else
		unsetenv("TZ");
	tzset();
	free(before);
	return good;
}

static int64_t zip_seconds(int64_t filetime)
{
	int64_t seconds;
	uint32_t nanoseconds;

	filetime_to_unix(filetime, &seconds, &nanoseconds);
	if (seconds < FIRST_SECOND)
		return FIRST_SECOND;
	return seconds > LAST_SECOND ? LAST_SECOND : seconds;
}

static bool zip_begin(struct writer *writer, const struct member *member, struct error *error)
{
	struct zip_writer *zip = (struct zip_writer *)writer;
	struct archive_entry *entry = zip->file.entry;

	if (member->kind == MEMBER_SAME)
		return error_set(error, STATUS_OTHER, "a zip file cannot hold a hard link");
	if (strlen(member->path) > 60000)
		return error_set(error, STATUS_OTHER, "a path is too long for a zip file");
	archive_file_describe(&zip->file, member);
	/* Without a time libarchive would write none, and the DOS field would say 1979. */
	archive_entry_set_mtime(entry, zip_seconds(member->modified), 0);
	if (member->accessed != 0)
		archive_entry_set_atime(entry, zip_seconds(member->accessed), 0);
	if (member->created != 0)
		archive_entry_set_ctime(entry, zip_seconds(member->created), 0);
	if (member->is_compact || member->size == 0 || member->kind == MEMBER_FOLDER)
		archive_write_zip_set_compression_store(zip->file.archive);
	else
		archive_write_zip_set_compression_deflate(zip->file.archive);
	zip->directory += strlen(member->path) + 160;
	return header_in_zone(zip, error);
}

static bool zip_data(struct writer *writer, const void *data, size_t length, struct error *error)
{
	return archive_file_data(&((struct zip_writer *)writer)->file, data, length, error);
}

static bool zip_end(struct writer *writer, struct error *error)
{
	return archive_file_end(&((struct zip_writer *)writer)->file, error);
}

static uint64_t zip_size(const struct writer *writer)
{
	const struct zip_writer *zip = (const struct zip_writer *)writer;

	return archive_file_size(&zip->file) + zip->directory + 128;
}

static bool zip_finish(struct writer *writer, struct digest *digest, struct error *error)
{
	struct zip_writer *zip = (struct zip_writer *)writer;
	bool good = archive_file_finish(&zip->file, digest, error);

	free(zip->zone);
	free(zip);
	return good;
}

static void zip_abandon(struct writer *writer)
{
	struct zip_writer *zip = (struct zip_writer *)writer;

	archive_file_abandon(&zip->file);
	free(zip->zone);
	free(zip);
}

static const struct writer_ops zip_ops = {
    zip_begin, zip_data, writer_plain_zeros, zip_end, zip_size, zip_finish, zip_abandon};

struct writer *zip_writer_open(const char *path, const struct writer_options *options,
    struct error *error)
{
	struct zip_writer *zip = calloc(1, sizeof(*zip));

	if (zip == NULL || !archive_file_prepare(&zip->file, error)) {
		free(zip);
		error_no_memory(error);
		return NULL;
	}
	zip->base.ops = &zip_ops;
	zip->zone = strdup(options == NULL || options->zone == NULL ? "UTC0" : options->zone);
	if (zip->zone == NULL) {
		error_no_memory(error);
		zip_abandon(&zip->base);
		return NULL;
	}
	if (archive_write_set_format_zip(zip->file.archive) != ARCHIVE_OK ||
	    archive_write_set_format_option(zip->file.archive, "zip", "compression-level",
		DEFLATE_LEVEL) != ARCHIVE_OK) {
		error_set(error, STATUS_OTHER, "zip files cannot be written by this build");
		zip_abandon(&zip->base);
		return NULL;
	}
	if (!archive_file_start(&zip->file, path, error)) {
		zip_abandon(&zip->base);
		return NULL;
	}
	return &zip->base;
}
