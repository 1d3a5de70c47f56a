/* The sector store: see salvage.h. Taking one up again is in salvage_load.c. */
#include "disk/salvage_inner.h"

#include "base/buf.h"
#include "base/bytes.h"

#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zlib.h>

static const char magic[8] = "sectors1";
const uint8_t salvage_note_kinds[SALVAGE_NOTES] = {
    [SALVAGE_MISSED] = 'M', [SALVAGE_GIVEN_UP] = 'G'};

static uint32_t check_of(const void *data, size_t length)
{
	return (uint32_t)crc32(crc32(0, NULL, 0), data, (uInt)length);
}

static void seal(uint8_t *record)
{
	put_u32(record + RECORD_OWN_CHECK, check_of(record, RECORD_OWN_CHECK));
}

bool salvage_is_sealed(const uint8_t *record)
{
	return get_u32(record + RECORD_OWN_CHECK) == check_of(record, RECORD_OWN_CHECK);
}

/* --- making and closing ----------------------------------------------------------------------- */

struct salvage *salvage_new(
    const char *folder, const char *name, const struct salvage_drive *drive)
{
	struct salvage *salvage = calloc(1, sizeof(*salvage));

	if (salvage == NULL)
		return NULL;
	pthread_mutex_init(&salvage->lock, NULL);
	salvage->folder = salvage->index = -1;
	salvage->folder_path = strdup(folder);
	salvage->name = strdup(name);
	if (asprintf(&salvage->index_name, "%s.index", name) < 0)
		salvage->index_name = NULL;
	salvage->scratch = malloc(ENTRY_MAX);
	space_start(&salvage->space, salvage->name);
	salvage->sector = drive->sector_size;
	salvage->size = drive->size;
	memcpy(salvage->header, magic, sizeof(magic));
	put_u64(salvage->header + HEADER_SIZE, drive->size);
	put_u32(salvage->header + HEADER_SECTOR, drive->sector_size);
	put_u32(salvage->header + HEADER_IDENTITY,
	    check_of(drive->identity, strlen(drive->identity)));
	seal(salvage->header);
	if (salvage->folder_path == NULL || salvage->name == NULL ||
	    salvage->index_name == NULL || salvage->scratch == NULL) {
		salvage_free(salvage);
		return NULL;
	}
	return salvage;
}

void salvage_close_files(struct salvage *salvage)
{
	if (salvage->index >= 0)
		close(salvage->index);
	if (salvage->folder >= 0)
		close(salvage->folder);
	salvage->folder = salvage->index = salvage->space.folder = -1;
	salvage->index_end = 0;
	salvage->count = 0;
	salvage->bytes = 0;
	for (unsigned i = 0; i < SALVAGE_NOTES; i++)
		holes_clear(&salvage->notes[i]);
}

void salvage_free(struct salvage *salvage)
{
	if (salvage == NULL)
		return;
	space_free(&salvage->space);
	salvage_close_files(salvage);
	pthread_mutex_destroy(&salvage->lock);
	for (unsigned i = 0; i < SALVAGE_NOTES; i++)
		holes_free(&salvage->notes[i]);
	free(salvage->items);
	free(salvage->scratch);
	free(salvage->folder_path);
	free(salvage->index_name);
	free(salvage->name);
	free(salvage);
}

void salvage_remove(struct salvage *salvage)
{
	pthread_mutex_lock(&salvage->lock);
	if (salvage->folder >= 0) {
		space_remove(&salvage->space);
		unlinkat(salvage->folder, salvage->index_name, 0);
		rmdir(salvage->folder_path);
	}
	salvage_close_files(salvage);
	pthread_mutex_unlock(&salvage->lock);
}

bool salvage_open_folder(struct salvage *salvage)
{
	if (salvage->folder < 0)
		salvage->folder = open(
		    salvage->folder_path, O_RDONLY | O_DIRECTORY | O_CLOEXEC | O_NOFOLLOW);
	salvage->space.folder = salvage->folder;
	return salvage->folder >= 0;
}

bool salvage_open_index(struct salvage *salvage, int flags)
{
	salvage->index = openat(salvage->folder, salvage->index_name,
	    O_RDWR | O_CLOEXEC | O_NOFOLLOW | flags, 0600);
	if (salvage->index < 0)
		return false;
	if (flock(salvage->index, LOCK_EX | LOCK_NB) == 0 || errno != EWOULDBLOCK)
		return true;
	close(salvage->index);
	salvage->index = -1;
	errno = EBUSY;
	return false;
}

/* Folder and index, made when they are needed for the first time. */
static bool make_files(struct salvage *salvage)
{
	if (salvage->index >= 0)
		return true;
	if ((mkdir(salvage->folder_path, 0700) != 0 && errno != EEXIST) || !salvage_open_folder(salvage) ||
	    !salvage_open_index(salvage, O_CREAT))
		return false;
	salvage->index_end = RECORD_SIZE;
	return ftruncate(salvage->index, 0) == 0 &&
	       pwrite(salvage->index, salvage->header, RECORD_SIZE, 0) == RECORD_SIZE;
}

static bool move_files(struct salvage *salvage, int folder)
{
	if (salvage->index >= 0 && renameat(salvage->folder, salvage->index_name, folder,
				       salvage->index_name) != 0)
		return false;
	if (space_move(&salvage->space, folder))
		return true;
	if (salvage->index >= 0)
		renameat(folder, salvage->index_name, salvage->folder, salvage->index_name);
	errno = salvage->space.failure;
	return false;
}

bool salvage_move(struct salvage *salvage, const char *folder, struct error *error)
{
	char *path = strdup(folder);
	int fd = -1, failure = 0;

	if (path == NULL)
		return error_no_memory(error);
	pthread_mutex_lock(&salvage->lock);
	if (salvage->folder >= 0) {
		if (mkdir(path, 0700) == 0 || errno == EEXIST)
			fd = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC | O_NOFOLLOW);
		if (fd < 0 || !move_files(salvage, fd))
			failure = errno;
	}
	if (failure == 0) {
		if (fd >= 0) {
			close(salvage->folder);
			rmdir(salvage->folder_path);
			salvage->folder = fd;
		}
		free(salvage->folder_path);
		salvage->folder_path = path;
	}
	pthread_mutex_unlock(&salvage->lock);
	if (failure == 0)
		return true;
	if (fd >= 0)
		close(fd);
	free(path);
	return error_set_errno(error, STATUS_DESTINATION, failure,
	    "what was kept of a faulty drive cannot be put into '%s'", folder);
}

/* Index and space of the copy, in place of those that are open. False with errno. */
static bool follow_files(struct salvage *salvage)
{
	int folder = salvage->folder, index = salvage->index;
	bool good;

	if (folder < 0)
		return true;
	salvage->folder = salvage->index = -1;
	good = salvage_open_folder(salvage) && (index < 0 || salvage_open_index(salvage, 0)) &&
	       space_follow(&salvage->space);
	if (index >= 0)
		close(index);
	close(folder);
	return good;
}

bool salvage_follow(struct salvage *salvage, const char *folder, struct error *error)
{
	char *path = strdup(folder);
	bool good;

	if (path == NULL)
		return error_no_memory(error);
	pthread_mutex_lock(&salvage->lock);
	free(salvage->folder_path);
	salvage->folder_path = path;
	good = follow_files(salvage);
	if (!good)
		error_set_errno(error, STATUS_DESTINATION, errno,
		    "what was kept of a faulty drive cannot be read in '%s'", folder);
	salvage->broken = !good; /* another destination may take more */
	pthread_mutex_unlock(&salvage->lock);
	return good;
}

/* --- entries ---------------------------------------------------------------------------------- */

size_t salvage_first_behind(const struct salvage *salvage, uint64_t offset)
{
	size_t low = 0, high = salvage->count;

	while (low < high) {
		size_t middle = low + (high - low) / 2;

		if (salvage->items[middle].offset + salvage->items[middle].length <= offset)
			low = middle + 1;
		else
			high = middle;
	}
	return low;
}

bool salvage_insert(struct salvage *salvage, const struct kept *kept)
{
	size_t at = salvage_first_behind(salvage, kept->offset);

	if (salvage->count >= MOST_ENTRIES ||
	    !array_reserve(&salvage->items, &salvage->capacity, salvage->count + 1, sizeof(*kept)))
		return false;
	memmove(&salvage->items[at + 1], &salvage->items[at],
	    (salvage->count - at) * sizeof(*kept));
	salvage->items[at] = *kept;
	salvage->count++;
	salvage->bytes += kept->length;
	return true;
}

void salvage_take_out(struct salvage *salvage, size_t at)
{
	salvage->bytes -= salvage->items[at].length;
	memmove(&salvage->items[at], &salvage->items[at + 1],
	    (--salvage->count - at) * sizeof(*salvage->items));
}

/* Of a note `kept` says the range: its position is the length. */
static bool write_record(struct salvage *salvage, uint8_t kind, const struct kept *kept)
{
	uint8_t record[RECORD_SIZE] = {kind};

	put_u32(record + RECORD_LENGTH, kept->length);
	put_u64(record + RECORD_OFFSET, kept->offset);
	put_u64(record + RECORD_POSITION, kept->position);
	put_u32(record + RECORD_CHECK, kept->check);
	seal(record);
	/* Half a record is written over by the next one. */
	if (pwrite(salvage->index, record, RECORD_SIZE, (off_t)salvage->index_end) != RECORD_SIZE)
		return false;
	salvage->index_end += RECORD_SIZE;
	return true;
}

/* An entry that is not needed, or whose bytes are not what they were. */
static void forget(struct salvage *salvage, size_t at)
{
	struct kept kept = salvage->items[at];

	salvage_take_out(salvage, at);
	/* A segment is filled again only behind the record that says so. */
	if (salvage->index >= 0 && write_record(salvage, KIND_DROPPED, &kept))
		space_release(&salvage->space, kept.position, kept.length);
}

static bool put_entry(struct salvage *salvage, uint64_t offset, const void *data, uint32_t length)
{
	struct kept kept = {.offset = offset, .length = length, .check = check_of(data, length)};

	if (salvage->broken || !make_files(salvage)) {
		salvage->broken = true;
		return false;
	}
	if (!space_put(&salvage->space, data, length, &kept.position)) {
		/* Room may come back; a destination that fails is not tried again and again. */
		salvage->broken = salvage->space.failure != ENOSPC;
		return false;
	}
	if (!salvage_insert(salvage, &kept)) {
		space_release(&salvage->space, kept.position, length);
		return false;
	}
	if (write_record(salvage, KIND_KEPT, &kept))
		return true;
	salvage_take_out(salvage, salvage_first_behind(salvage, offset));
	space_release(&salvage->space, kept.position, length);
	return false;
}

static void find_missing(
    const struct salvage *salvage, uint64_t offset, uint64_t end, struct holes *missing)
{
	for (size_t i = salvage_first_behind(salvage, offset); offset < end; i++) {
		const struct kept *kept = i < salvage->count ? &salvage->items[i] : NULL;
		uint64_t stop = kept != NULL && kept->offset < end ? kept->offset : end;

		if (stop > offset)
			holes_add(missing, offset, stop - offset);
		if (kept == NULL)
			return;
		offset = kept->offset + kept->length;
	}
}

bool salvage_put(struct salvage *salvage, uint64_t offset, const void *data, size_t length)
{
	struct holes missing = {0};
	const uint8_t *bytes = data;
	bool good = offset % salvage->sector == 0 && length % salvage->sector == 0;

	pthread_mutex_lock(&salvage->lock);
	if (good)
		find_missing(salvage, offset, offset + length, &missing);
	good = good && !missing.failed;
	for (size_t i = 0; good && i < missing.count; i++) {
		uint64_t at = missing.items[i].offset, end = at + missing.items[i].length;

		for (uint64_t step; good && at < end; at += step) {
			step = end - at < ENTRY_MAX ? end - at : ENTRY_MAX;
			good = put_entry(salvage, at, bytes + (at - offset), (uint32_t)step);
		}
	}
	salvage->failed = salvage->failed || !good;
	pthread_mutex_unlock(&salvage->lock);
	holes_free(&missing);
	return good;
}

bool salvage_read_entry(struct salvage *salvage, const struct kept *kept)
{
	return space_read(&salvage->space, kept->position, salvage->scratch, kept->length) &&
	       check_of(salvage->scratch, kept->length) == kept->check;
}

void salvage_get(struct salvage *salvage, uint64_t offset, void *buffer, size_t length,
    struct holes *missing)
{
	uint64_t end = offset + length;
	uint8_t *to = buffer;
	size_t i;

	pthread_mutex_lock(&salvage->lock);
	i = salvage_first_behind(salvage, offset);
	while (i < salvage->count && salvage->items[i].offset < end) {
		const struct kept *kept = &salvage->items[i];
		uint64_t from = kept->offset > offset ? kept->offset : offset;
		uint64_t stop = kept->offset + kept->length;

		stop = stop < end ? stop : end;
		if (!salvage_read_entry(salvage, kept)) {
			forget(salvage, i);
			continue;
		}
		memcpy(to + (from - offset), salvage->scratch + (from - kept->offset),
		    (size_t)(stop - from));
		i++;
	}
	find_missing(salvage, offset, end, missing);
	pthread_mutex_unlock(&salvage->lock);
}

void salvage_missing(
    struct salvage *salvage, uint64_t offset, uint64_t length, struct holes *missing)
{
	pthread_mutex_lock(&salvage->lock);
	find_missing(salvage, offset, offset + length, missing);
	pthread_mutex_unlock(&salvage->lock);
}

void salvage_drop(struct salvage *salvage, uint64_t offset, uint64_t length)
{
	uint64_t end = offset + length;
	size_t i;

	pthread_mutex_lock(&salvage->lock);
	i = salvage_first_behind(salvage, offset);
	while (i < salvage->count && salvage->items[i].offset < end) {
		const struct kept *kept = &salvage->items[i];

		if (kept->offset >= offset && kept->offset + kept->length <= end)
			forget(salvage, i);
		else
			i++;
	}
	pthread_mutex_unlock(&salvage->lock);
}

bool salvage_add_note(
    struct salvage *salvage, enum salvage_note note, uint64_t offset, uint64_t length)
{
	struct holes *list = &salvage->notes[note], news = {0};
	bool good;

	pthread_mutex_lock(&salvage->lock);
	holes_add(&news, offset, length);
	for (const struct hole *old = holes_next(list, offset);
	     old != NULL && old->offset < offset + length;
	     old = holes_next(list, old->offset + old->length))
		holes_remove(&news, old->offset, old->length);
	good = !news.failed && !salvage->broken && (news.count == 0 || make_files(salvage));
	for (size_t i = 0; good && i < news.count; i++) {
		const struct kept range = {
		    .offset = news.items[i].offset, .position = news.items[i].length};

		good = write_record(salvage, salvage_note_kinds[note], &range);
		if (good)
			holes_add(list, range.offset, range.position);
	}
	pthread_mutex_unlock(&salvage->lock);
	holes_free(&news);
	return good;
}

void salvage_notes(struct salvage *salvage, enum salvage_note note, struct holes *ranges)
{
	pthread_mutex_lock(&salvage->lock);
	holes_add_all(ranges, &salvage->notes[note]);
	pthread_mutex_unlock(&salvage->lock);
}

uint64_t salvage_bytes(struct salvage *salvage)
{
	uint64_t bytes;

	pthread_mutex_lock(&salvage->lock);
	bytes = salvage->bytes;
	pthread_mutex_unlock(&salvage->lock);
	return bytes;
}

void salvage_set_reserve(struct salvage *salvage, uint64_t bytes)
{
	pthread_mutex_lock(&salvage->lock);
	salvage->space.reserve = bytes;
	pthread_mutex_unlock(&salvage->lock);
}

bool salvage_failed(struct salvage *salvage)
{
	bool failed;

	pthread_mutex_lock(&salvage->lock);
	failed = salvage->failed;
	pthread_mutex_unlock(&salvage->lock);
	return failed;
}

bool salvage_sync(struct salvage *salvage, struct error *error)
{
	bool good;

	pthread_mutex_lock(&salvage->lock);
	/* The bytes before the index that speaks of them. */
	good = salvage->index < 0 ||
	       (space_sync(&salvage->space) && fdatasync(salvage->index) == 0 &&
		   fsync(salvage->folder) == 0);
	pthread_mutex_unlock(&salvage->lock);
	return good || error_set_errno(error, STATUS_DESTINATION, errno,
			   "what was kept of a faulty drive cannot be made to last");
}
