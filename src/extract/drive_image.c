/* Saving a drive as an image: see drive_image.h. */
#include "extract/drive_image.h"

#include "base/buf.h"
#include "base/progress.h"
#include "base/stop.h"
#include "base/text.h"
#include "disk/drives.h"
#include "disk/faults.h"
#include "disk/listed.h"
#include "disk/sealed.h"
#include "disk/source.h"
#include "extract/destination.h"
#include "extract/drive_mark.h"
#include "extract/durable.h"
#include "extract/image_map.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define PIECE ((size_t)SOURCE_PIECE)
#define ZEROS ((size_t)65536)           /* ranges of zeros are left out in units of this */
#define SYNC_STEP (UINT64_C(256) << 20) /* bytes: a destination that fails is noticed early */
#define LIST_ROOM (UINT64_C(1) << 20)   /* bytes: for the list */

#define NOTE_SECONDS 30                 /* how far it is, is noted as often */
#define PORTION (UINT64_C(1) << 20)     /* bytes of a round between two looks at the clock */

struct saving {
	const struct image_order *order;
	struct source *source;
	struct image_map map; /* how far it is now */
	char *list, *unfinished, *map_path;
	uint8_t *bytes;
	int fd; /* -1: not opened */
	bool goes_on, is_begun;
	uint64_t present; /* bytes of the image that take room already */
	uint64_t noted;   /* the first pass, as the map at the destination says */
	time_t noted_at;
	int failure; /* errno value: what a round read could not be written; 0: it could */
	bool weary;
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
	size -= saving->present < size ? saving->present : size;
	if (place.free < size || place.free - size < LIST_ROOM)
		return error_set(error, STATUS_DESTINATION,
		    "there is no room for the image of %s: it needs %s%s, and %s are free at '%s'; "
		    "choose a larger drive, or extract without --image",
		    saving->order->drive, text_size(size).text, saving->present > 0 ? " more" : "",
		    text_size(place.free).text, folder);
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
	       (saving->goes_on ||
		   (is_new(saving->list, error) && is_new(saving->unfinished, error)));
	free(folder);
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
	return saving->source != NULL;
}

/* --- going on --------------------------------------------------------------------------------- */

bool drive_image_is_unfinished(const char *file)
{
	struct stat status;
	char *path;
	bool is;

	if (asprintf(&path, "%s" IMAGE_MAP_ENDING, file) < 0)
		return false;
	is = lstat(path, &status) == 0 && lstat(file, &status) != 0;
	free(path);
	return is;
}

/* What is known of the drive, and what the map says, if there is one. */
static bool find_map(struct saving *saving, struct error *error)
{
	struct drive_mark *mark = drive_mark_read(saving->source);
	struct image_map before;
	struct stat status;
	bool good = mark != NULL || error_no_memory(error);

	if (!good)
		return false;
	saving->map.size = source_size(saving->source);
	saving->map.sector_size = source_sector_size(saving->source);
	snprintf(saving->map.mark, sizeof(saving->map.mark), "%s", mark->text.text);
	drive_mark_free(mark);
	good = image_map_load(&before, saving->map_path, &saving->goes_on, error);
	if (good && saving->goes_on && !image_map_is_of(&before, &saving->map))
		good = error_set(error, STATUS_USAGE,
		    "the image '%s' was begun from another drive than %s; connect that one, or "
		    "choose another name for the image",
		    saving->order->file, saving->order->drive);
	/* Without its image a map says nothing. */
	if (good && saving->goes_on && lstat(saving->unfinished, &status) == 0) {
		saving->present = (uint64_t)status.st_blocks * 512;
		saving->map.passed = saving->noted = before.passed;
		saving->map.rounds = before.rounds;
		holes_add_all(&saving->map.missing, &before.missing);
	}
	holes_free(&before.missing);
	return good;
}

/* A drive that refuses everything is not asked for each of its sectors. */
static bool is_open(const struct saving *saving, struct error *error)
{
	if (saving->map.mark[0] != '\0' || sealed_look(saving->source) != SEALED_REFUSES)
		return true;
	return error_set(error, STATUS_NO_VOLUME,
	    "%s refuses every read at once: it looks locked or encrypted as a whole, so there is "
	    "nothing to save",
	    saving->order->drive);
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
	return true;
}

/* What a round read well. The last sector of an image can reach over its end. */
static void take(void *context, uint64_t offset, const uint8_t *data, size_t length)
{
	struct saving *saving = context;
	uint64_t size = saving->map.size;
	struct error error = {0};

	if (offset >= size || saving->failure != 0)
		return;
	if (length > size - offset)
		length = (size_t)(size - offset);
	errno = 0;
	if (!write_all(saving, offset, data, length, &error))
		saving->failure = errno != 0 ? errno : EIO;
}

/* Notes how far it is; the bytes before the map that speaks of them. */
static bool note(struct saving *saving, struct error *error)
{
	saving->noted_at = time(NULL);
	if (fdatasync(saving->fd) != 0)
		return durable_failed(error, errno, saving->unfinished);
	holes_clear(&saving->map.missing);
	source_put_off(saving->source, &saving->map.missing);
	/* What is skipped ahead is not passed yet. */
	holes_remove(&saving->map.missing, saving->map.passed, UINT64_MAX - saving->map.passed);
	if (!image_map_save(&saving->map, saving->map_path, error))
		return false;
	saving->noted = saving->map.passed;
	return true;
}

static bool is_time_to_note(const struct saving *saving)
{
	uint64_t step = saving->order->checkpoint != 0 ? saving->order->checkpoint : SYNC_STEP;
	time_t now = time(NULL);

	return saving->map.passed - saving->noted >= step || now < saving->noted_at ||
	       now - saving->noted_at >= NOTE_SECONDS;
}

/* Was it stopped, or is the drive gone? Then false with *error. */
static bool can_go_on(const struct saving *saving, struct error *error)
{
	if (saving->failure != 0)
		return durable_failed(error, saving->failure, saving->unfinished);
	if (stop_is_asked())
		return error_set(error, STATUS_OTHER,
		    "stopped; what was saved is in '%s': the same command given again goes on",
		    saving->unfinished);
	if (source_is_lost(saving->source))
		return error_set(error, STATUS_NO_VOLUME,
		    "%s stopped answering; what was saved before is in '%s': the same command given "
		    "again goes on",
		    saving->order->drive, saving->unfinished);
	return true;
}

static bool first_pass(struct saving *saving, struct progress *progress, struct error *error)
{
	uint64_t size = saving->map.size;
	bool good = true;

	while (good && saving->map.passed < size) {
		uint64_t offset = saving->map.passed;
		size_t length = size - offset < PIECE ? (size_t)(size - offset) : PIECE;

		source_read(saving->source, offset, saving->bytes, length, NULL);
		good = can_go_on(saving, error) && write_piece(saving, offset, length, error);
		if (!good)
			break;
		saving->map.passed += length;
		progress_at(progress, saving->map.passed, saving->order->drive);
		good = !is_time_to_note(saving) || note(saving, error);
	}
	return good;
}

/* One round over one range, in portions. */
static bool go_over(struct saving *saving, const struct hole *range, struct error *error)
{
	uint64_t end = range->offset + range->length;
	bool good = true;

	for (uint64_t at = range->offset, step; good && at < end; at += step) {
		struct holes portion = {0};

		step = end - at < PORTION ? end - at : PORTION;
		holes_add(&portion, at, step);
		source_round(saving->source, &portion, saving->map.rounds, stop_is_asked);
		good = portion.failed ? error_no_memory(error) : can_go_on(saving, error);
		good = good && (!is_time_to_note(saving) || note(saving, error));
		holes_free(&portion);
	}
	return good;
}

static bool rounds(struct saving *saving, struct progress *progress, struct error *error)
{
	bool good = true;

	while (good && saving->map.rounds < SOURCE_ROUNDS) {
		struct holes left = {0};

		source_put_off(saving->source, &left);
		good = !left.failed || error_no_memory(error);
		progress_at(progress, saving->map.size, "what did not read at first");
		for (size_t i = 0; good && i < left.count; i++)
			good = go_over(saving, &left.items[i], error);
		saving->map.rounds += good;
		good = good && (left.count == 0 || note(saving, error));
		saving->weary = left.count > 0 && source_is_weary(saving->source);
		holes_free(&left);
	}
	return good;
}

static bool copy(struct saving *saving, struct error *error)
{
	const struct source_taker taker = {take, saving};
	struct error trouble = {0};
	struct progress progress;
	bool good;

	if (saving->order->patience != 0)
		source_set_effort(saving->source, saving->order->patience);
	source_set_manner(saving->source, SOURCE_FIRST_TRY);
	source_put_off_before(saving->source, &saving->map.missing);
	source_set_taker(saving->source, &taker);
	saving->noted_at = time(NULL);
	progress_start(&progress, "Saving the drive", saving->map.size, saving->order->quiet);
	good = first_pass(saving, &progress, error);
	/* Also when it was stopped, or the destination is full. */
	good = note(saving, good ? error : &trouble) && good;
	good = good && rounds(saving, &progress, error);
	if (!good && saving->failure == 0 && saving->map.passed == saving->map.size)
		note(saving, &trouble);
	progress_end(&progress);
	if (good && ftruncate(saving->fd, (off_t)saving->map.size) != 0)
		good = durable_failed(error, errno, saving->unfinished);
	return good;
}

/* --- the list, and the good names ------------------------------------------------------------- */

static bool write_list(
    const struct saving *saving, const struct holes *holes, struct error *error)
{
	uint64_t size = saving->map.size;
	struct buf text = {0};
	bool good;

	buf_printf(
	    &text, "# What could not be read when the image was made: offset and length, bytes.\n");
	for (size_t i = 0; i < holes->count; i++) {
		const struct hole *hole = &holes->items[i];

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

/* Of a run that was cut off at the very end. */
static bool remove_old_list(const struct saving *saving, struct error *error)
{
	if (!saving->goes_on || unlink(saving->list) == 0 || errno == ENOENT)
		return true;
	return durable_failed(error, errno, saving->list);
}

/* Images of more ranges than a list may have are not made: such a drive gives nothing anyhow. */
static bool finish(struct saving *saving, struct error *error)
{
	const char *file = saving->order->file;
	struct holes holes = {0};
	bool good = true;

	source_holes(saving->source, &holes);
	if (holes.failed)
		good = error_no_memory(error);
	if (good && holes.count > LISTED_RANGES_MAX)
		good = error_set(error, STATUS_NO_VOLUME,
		    "%s has too many unreadable places for a list", saving->order->drive);
	if (good && fsync(saving->fd) != 0)
		good = durable_failed(error, errno, saving->unfinished);
	good = good && remove_old_list(saving, error) && write_list(saving, &holes, error);
	holes_free(&holes);
	if (!good)
		return false;
	if (rename(saving->unfinished, file) != 0) {
		durable_failed(error, errno, file);
		unlink(saving->list);
		return false;
	}
	if (!durable_sync_renamed(file, false, error))
		return false;
	unlink(saving->map_path);
	return true;
}

static void say_made(const struct saving *saving, struct findings *findings)
{
	findings_add(findings, WEIGHT_NOTE, "drive-saved", saving->order->drive,
	    "Keep the image, with the list beside it, until the owner has looked at everything.",
	    "The drive was saved as '%s' (%s), and this job was made from there.",
	    saving->order->file, text_size(source_size(saving->source)).text);
	if (saving->weary)
		findings_add(findings, WEIGHT_LOSS, "patience-ended", saving->order->drive,
		    "To try longer, save it once more with a longer --patience, or without it.",
		    "The time that was given to what does not read at once (--patience) was used up; "
		    "the rest was not tried any further, and is in the image's list.");
}

/*
 * The map comes first: an image without one is somebody else's. What stands behind the first pass was
 * not noted, so it is nothing.
 */
static bool open_image(struct saving *saving, struct error *error)
{
	saving->fd = open(saving->unfinished,
	    O_WRONLY | O_CREAT | O_CLOEXEC | O_NOFOLLOW | (saving->goes_on ? 0 : O_EXCL), 0600);
	if (saving->fd < 0)
		return durable_failed(error, errno, saving->unfinished);
	if (flock(saving->fd, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK)
		return error_set(error, STATUS_DESTINATION,
		    "somebody else is saving a drive as '%s' right now", saving->order->file);
	return ftruncate(saving->fd, (off_t)saving->map.passed) == 0 ||
	    durable_failed(error, errno, saving->unfinished);
}

static bool begin(struct saving *saving, struct error *error)
{
	if (!saving->goes_on && !image_map_save(&saving->map, saving->map_path, error))
		return false;
	saving->is_begun = open_image(saving, error);
	if (saving->is_begun || saving->goes_on)
		return saving->is_begun;
	unlink(saving->map_path);
	if (saving->fd >= 0)
		unlink(saving->unfinished);
	return false;
}

/* Where nothing was saved there is nothing to go on with. */
static void clean_up(struct saving *saving, bool good)
{
	if (!good && saving->is_begun && saving->noted == 0) {
		unlink(saving->unfinished);
		unlink(saving->map_path);
	}
	source_close(saving->source);
	if (saving->fd >= 0)
		close(saving->fd);
	holes_free(&saving->map.missing);
	free(saving->bytes);
	free(saving->list);
	free(saving->unfinished);
	free(saving->map_path);
}

static bool name_files(struct saving *saving, struct error *error)
{
	const char *file = saving->order->file;

	if (asprintf(&saving->list, "%s" LISTED_ENDING, file) < 0)
		saving->list = NULL;
	if (asprintf(&saving->unfinished, "%s" UNFINISHED, file) < 0)
		saving->unfinished = NULL;
	if (asprintf(&saving->map_path, "%s" IMAGE_MAP_ENDING, file) < 0)
		saving->map_path = NULL;
	saving->bytes = malloc(PIECE);
	return (saving->list != NULL && saving->unfinished != NULL && saving->map_path != NULL &&
		   saving->bytes != NULL) ||
	    error_no_memory(error);
}

bool drive_image_save(
    const struct image_order *order, struct findings *findings, struct error *error)
{
	struct saving saving = {.order = order, .fd = -1};
	bool good = name_files(&saving, error) && open_drive(&saving, findings, error) &&
		    find_map(&saving, error) && (saving.goes_on || is_open(&saving, error)) &&
		    check_places(&saving, findings, error);

	good = good && begin(&saving, error) && copy(&saving, error) && finish(&saving, error);
	if (good)
		say_made(&saving, findings);
	clean_up(&saving, good);
	return good;
}
