/* Saving a drive as an image: see drive_image.h. */
#include "extract/drive_image.h"

#include "base/buf.h"
#include "base/progress.h"
#include "base/stop.h"
#include "base/text.h"
#include "disk/drives.h"
#include "disk/faults.h"
#include "disk/listed.h"
#include "disk/partition.h"
#include "disk/source.h"
#include "extract/destination.h"
#include "extract/durable.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define PIECE ((size_t)SOURCE_PIECE)
#define ZEROS ((size_t)65536)           /* ranges of zeros are left out in units of this */
#define SYNC_STEP (UINT64_C(256) << 20) /* bytes: a destination that fails is noticed early */
#define LIST_ROOM (UINT64_C(1) << 20)   /* bytes: for the list */

struct saving {
	const struct image_order *order;
	struct source *source;
	struct holes holes; /* in whole sectors, cut to the drive's size */
	char *list, *unfinished;
	uint8_t *bytes;
	int fd;
	uint64_t synced;
};

/* --- what has to hold before anything is read ------------------------------------------------- */

static char *folder_of(const char *path)
{
	const char *slash = strrchr(path, '/');

	if (slash == NULL)
		return strdup(".");
	return slash == path ? strdup("/") : strndup(path, (size_t)(slash - path));
}

static bool is_new(const char *path, struct error *error)
{
	struct stat status;

	if (lstat(path, &status) != 0 && errno == ENOENT)
		return true;
	return error_set(error, STATUS_DESTINATION,
	    "'%s' is there already, and nothing is written over; choose another name for the image",
	    path);
}

static bool is_apart(const struct saving *saving, const char *folder, struct error *error)
{
	const struct device *device = source_device(saving->source);

	if (!device_holds_folder("", device, folder))
		return true;
	return error_set(error, STATUS_DESTINATION,
	    "the destination '%s' lies on '%s', which is to be read and never written to; choose a "
	    "folder on another drive",
	    folder, device->path);
}

static bool has_room(
    const struct saving *saving, const char *folder, struct findings *findings, struct error *error)
{
	uint64_t size = source_size(saving->source);
	struct destination place;

	if (!destination_check(&place, folder, error))
		return false;
	if (place.file_limit != 0 && size > place.file_limit)
		return error_set(error, STATUS_DESTINATION,
		    "the image of %s would be %s long, and the file system at '%s' (FAT32) holds "
		    "no "
		    "file of 4 GiB or more; choose a drive formatted as exFAT, NTFS or ext4",
		    saving->order->drive, text_size(size).text, folder);
	if (place.free < size || place.free - size < LIST_ROOM)
		return error_set(error, STATUS_DESTINATION,
		    "there is no room for the image: %s is %s long, and %s are free at '%s'; "
		    "choose a "
		    "larger drive, or extract without --image",
		    saving->order->drive, text_size(size).text, text_size(place.free).text, folder);
	if (place.in_memory)
		findings_add(findings, WEIGHT_CAUTION, "destination-in-memory", folder,
		    "Copy the image to a drive before that.",
		    "The image lies in this computer's memory: it is gone when it is switched "
		    "off.");
	return true;
}

static bool check_places(
    const struct saving *saving, struct findings *findings, struct error *error)
{
	char *folder = folder_of(saving->order->file);
	bool good;

	if (folder == NULL)
		return error_no_memory(error);
	good = has_room(saving, folder, findings, error) && is_apart(saving, folder, error) &&
	       is_apart(saving, saving->order->to, error) && is_new(saving->order->file, error) &&
	       is_new(saving->list, error) && is_new(saving->unfinished, error);
	free(folder);
	return good;
}

/* A drive that refuses everything is not asked for each of its sectors. */
static bool is_open(struct saving *saving, struct error *error)
{
	struct arena arena = {0};
	struct table table;
	bool good = table_read(saving->source, &arena, NULL, &table, error);

	if (good && table.sealed == SEALED_REFUSES)
		good = error_set(error, STATUS_NO_VOLUME,
		    "%s refuses every read at once: it looks locked or encrypted as a whole, so "
		    "there is nothing to save",
		    saving->order->drive);
	arena_free(&arena);
	return good;
}

static bool open_drive(struct saving *saving, struct findings *findings, struct error *error)
{
	struct faults_question question = {0};
	struct device *device;
	struct arena arena = {0};
	struct drive drive;
	bool good = drive_describe(&arena, "", saving->order->drive, &drive, error) &&
		    (faults_question_make(&arena, "", &drive, &question) || error_no_memory(error));

	if (good) {
		faults_ask(FAULTS_PROGRAM, &question, 1);
		faults_find(&question.answer, saving->order->drive, findings);
		device = faults_open_device(&question.answer, saving->order->drive, error);
		saving->source = device == NULL ? NULL : source_open(device, error);
	}
	arena_free(&arena);
	return saving->source != NULL && is_open(saving, error);
}

/* --- writing ---------------------------------------------------------------------------------- */

static bool write_all(struct saving *saving, uint64_t offset, const uint8_t *bytes, size_t length,
    struct error *error)
{
	while (length > 0) {
		ssize_t written = pwrite(saving->fd, bytes, length, (off_t)offset);

		if (written < 0 && errno == EINTR)
			continue;
		if (written <= 0)
			return durable_failed(
			    error, written < 0 ? errno : ENOSPC, saving->unfinished);
		bytes += written;
		length -= (size_t)written;
		offset += (uint64_t)written;
	}
	return true;
}

static bool is_zero(const uint8_t *bytes, size_t length)
{
	return length == 0 || (bytes[0] == 0 && memcmp(bytes, bytes + 1, length - 1) == 0);
}

/* What is zero becomes a hole of the file. */
static bool write_piece(struct saving *saving, uint64_t offset, size_t length, struct error *error)
{
	for (size_t at = 0; at < length; at += ZEROS) {
		size_t step = length - at < ZEROS ? length - at : ZEROS;

		if (!is_zero(saving->bytes + at, step) &&
		    !write_all(saving, offset + at, saving->bytes + at, step, error))
			return false;
	}
	if (offset + length - saving->synced < SYNC_STEP)
		return true;
	saving->synced = offset + length;
	return fdatasync(saving->fd) == 0 || durable_failed(error, errno, saving->unfinished);
}

static bool copy(struct saving *saving, struct error *error)
{
	uint64_t size = source_size(saving->source), offset = 0;
	struct progress progress;
	bool good = true;

	progress_start(&progress, "Saving the drive", size, saving->order->quiet);
	while (good && offset < size) {
		size_t length = size - offset < PIECE ? (size_t)(size - offset) : PIECE;

		source_read(saving->source, offset, saving->bytes, length, &saving->holes);
		if (stop_is_asked())
			good = error_set(
			    error, STATUS_OTHER, "stopped; the image was not complete and is gone");
		else if (source_is_lost(saving->source))
			good = error_set(error, STATUS_NO_VOLUME,
			    "%s stopped answering after %s; the image was not complete and is gone",
			    saving->order->drive, text_size(offset).text);
		good = good && write_piece(saving, offset, length, error);
		offset += length;
		progress_at(&progress, offset, saving->order->drive);
	}
	progress_end(&progress);
	if (good && ftruncate(saving->fd, (off_t)size) != 0)
		good = durable_failed(error, errno, saving->unfinished);
	if (good && saving->holes.failed)
		good = error_no_memory(error);
	return good;
}

/* --- the list, and the good names ------------------------------------------------------------- */

static bool write_list(const struct saving *saving, struct error *error)
{
	uint64_t size = source_size(saving->source);
	struct buf text = {0};
	bool good;

	buf_printf(
	    &text, "# What could not be read when the image was made: offset and length, bytes.\n");
	for (size_t i = 0; i < saving->holes.count; i++) {
		const struct hole *hole = &saving->holes.items[i];

		/* The last sector can reach over the end. */
		if (hole->offset < size)
			buf_printf(&text, "%" PRIu64 " %" PRIu64 "\n", hole->offset,
			    hole->length < size - hole->offset ? hole->length
							       : size - hole->offset);
	}
	good = durable_save(saving->list, &text, NULL, error);
	buf_free(&text);
	return good;
}

/* Files of more ranges than a list may have are not made: such a drive gives nothing anyhow. */
static bool finish(struct saving *saving, struct error *error)
{
	const char *file = saving->order->file;
	bool good = true;

	if (saving->holes.count > LISTED_RANGES_MAX)
		good = error_set(error, STATUS_NO_VOLUME,
		    "%s has too many unreadable places for a list", saving->order->drive);
	if (good && fsync(saving->fd) != 0)
		good = durable_failed(error, errno, saving->unfinished);
	if (close(saving->fd) != 0 && good)
		good = durable_failed(error, errno, saving->unfinished);
	saving->fd = -1;
	if (!good || !write_list(saving, error))
		return false;
	if (rename(saving->unfinished, file) != 0)
		good = durable_failed(error, errno, file);
	if (good)
		return durable_sync_renamed(file, false, error);
	unlink(saving->list);
	return false;
}

static void say_made(const struct saving *saving, struct findings *findings)
{
	findings_add(findings, WEIGHT_NOTE, "drive-saved", saving->order->drive,
	    "Keep the image, with the list beside it, until the owner has looked at everything.",
	    "The drive was saved as '%s' (%s), and this job was made from there.",
	    saving->order->file, text_size(source_size(saving->source)).text);
}

static bool begin(struct saving *saving, struct error *error)
{
	saving->fd =
	    open(saving->unfinished, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0600);
	return saving->fd >= 0 || durable_failed(error, errno, saving->unfinished);
}

static void clean_up(struct saving *saving, bool good)
{
	if (saving->fd >= 0)
		close(saving->fd);
	if (!good && saving->fd != -2)
		unlink(saving->unfinished);
	source_close(saving->source);
	holes_free(&saving->holes);
	free(saving->bytes);
	free(saving->list);
	free(saving->unfinished);
}

bool drive_image_save(
    const struct image_order *order, struct findings *findings, struct error *error)
{
	struct saving saving = {.order = order, .fd = -2}; /* -2: nothing was created yet */
	struct buf list = {0}, unfinished = {0};
	bool good;

	buf_printf(&list, "%s%s", order->file, LISTED_ENDING);
	buf_printf(&unfinished, "%s%s", order->file, UNFINISHED);
	saving.list = strdup(buf_text(&list));
	saving.unfinished = strdup(buf_text(&unfinished));
	saving.bytes = malloc(PIECE);
	good = !list.failed && !unfinished.failed && saving.list != NULL &&
	       saving.unfinished != NULL && saving.bytes != NULL;
	buf_free(&list);
	buf_free(&unfinished);
	if (!good)
		error_no_memory(error);
	good =
	    good && open_drive(&saving, findings, error) && check_places(&saving, findings, error);
	if (good && !begin(&saving, error)) {
		saving.fd = -2; /* somebody else's */
		good = false;
	}
	good = good && copy(&saving, error) && finish(&saving, error);
	if (good)
		say_made(&saving, findings);
	clean_up(&saving, good);
	return good;
}
