/* The sector store: see salvage.h. */
#include "disk/salvage.h"

#include "base/buf.h"
#include "base/bytes.h"
#include "disk/salvage_space.h"

#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zlib.h>

#define ENTRY_MAX (256u << 10) /* bytes: an entry is checked as a whole when a part is wanted */
#define RECORD_SIZE 32u        /* bytes, of the header and of every line of the index */
#define MOST_ENTRIES (1u << 24)

/* Little-endian; the checksum covers what stands before it. */
enum record_field {
	RECORD_KIND = 0, /* one byte, three zeros */
	RECORD_LENGTH = 4,
	RECORD_OFFSET = 8, /* on the drive */
	RECORD_POSITION = 16,
	RECORD_CHECK = 24, /* of the entry's bytes */
	RECORD_OWN_CHECK = 28,
};
enum { KIND_KEPT = 'K', KIND_DROPPED = 'D' };
static const char magic[8] = "sectors1";
enum header_field { HEADER_SIZE = 8, HEADER_SECTOR = 16, HEADER_IDENTITY = 20 };

struct kept {
	uint64_t offset, position;
	uint32_t length, check;
};

struct salvage {
	pthread_mutex_t lock;
	char *folder_path, *name, *index_name;
	int folder, index; /* descriptors; -1: not made yet */
	uint64_t index_end;
	uint8_t header[RECORD_SIZE];
	uint32_t sector;
	uint64_t size;
	struct space space;
	struct kept *items; /* ascending, without overlaps */
	size_t count, capacity;
	uint64_t bytes;
	uint8_t *scratch; /* of ENTRY_MAX bytes */
	bool failed, broken;
};

static uint32_t check_of(const void *data, size_t length)
{
	return (uint32_t)crc32(crc32(0, NULL, 0), data, (uInt)length);
}

static void seal(uint8_t *record)
{
	put_u32(record + RECORD_OWN_CHECK, check_of(record, RECORD_OWN_CHECK));
}

static bool is_sealed(const uint8_t *record)
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

static void close_files(struct salvage *salvage)
{
	if (salvage->index >= 0)
		close(salvage->index);
	if (salvage->folder >= 0)
		close(salvage->folder);
	salvage->folder = salvage->index = salvage->space.folder = -1;
	salvage->index_end = 0;
	salvage->count = 0;
	salvage->bytes = 0;
}

void salvage_free(struct salvage *salvage)
{
	if (salvage == NULL)
		return;
	space_free(&salvage->space);
	close_files(salvage);
	pthread_mutex_destroy(&salvage->lock);
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
	close_files(salvage);
	pthread_mutex_unlock(&salvage->lock);
}

static bool open_folder(struct salvage *salvage)
{
	if (salvage->folder < 0)
		salvage->folder = open(
		    salvage->folder_path, O_RDONLY | O_DIRECTORY | O_CLOEXEC | O_NOFOLLOW);
	salvage->space.folder = salvage->folder;
	return salvage->folder >= 0;
}

/* Folder and index, made when they are needed for the first time. */
static bool make_files(struct salvage *salvage)
{
	if (salvage->index >= 0)
		return true;
	if ((mkdir(salvage->folder_path, 0700) != 0 && errno != EEXIST) || !open_folder(salvage))
		return false;
	salvage->index = openat(salvage->folder, salvage->index_name,
	    O_RDWR | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOFOLLOW, 0600);
	if (salvage->index < 0)
		return false;
	salvage->index_end = RECORD_SIZE;
	return pwrite(salvage->index, salvage->header, RECORD_SIZE, 0) == RECORD_SIZE;
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

/* --- entries ---------------------------------------------------------------------------------- */

/* Index of the first entry that ends behind `offset`. */
static size_t first_behind(const struct salvage *salvage, uint64_t offset)
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

static bool insert(struct salvage *salvage, const struct kept *kept)
{
	size_t at = first_behind(salvage, kept->offset);

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

static void take_out(struct salvage *salvage, size_t at)
{
	salvage->bytes -= salvage->items[at].length;
	memmove(&salvage->items[at], &salvage->items[at + 1],
	    (--salvage->count - at) * sizeof(*salvage->items));
}

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

	take_out(salvage, at);
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
	if (!insert(salvage, &kept)) {
		space_release(&salvage->space, kept.position, length);
		return false;
	}
	if (write_record(salvage, KIND_KEPT, &kept))
		return true;
	take_out(salvage, first_behind(salvage, offset));
	space_release(&salvage->space, kept.position, length);
	return false;
}

static void find_missing(
    const struct salvage *salvage, uint64_t offset, uint64_t end, struct holes *missing)
{
	for (size_t i = first_behind(salvage, offset); offset < end; i++) {
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

/* Reads a whole entry into `scratch`. */
static bool read_entry(struct salvage *salvage, const struct kept *kept)
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
	i = first_behind(salvage, offset);
	while (i < salvage->count && salvage->items[i].offset < end) {
		const struct kept *kept = &salvage->items[i];
		uint64_t from = kept->offset > offset ? kept->offset : offset;
		uint64_t stop = kept->offset + kept->length;

		stop = stop < end ? stop : end;
		if (!read_entry(salvage, kept)) {
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
	i = first_behind(salvage, offset);
	while (i < salvage->count && salvage->items[i].offset < end) {
		const struct kept *kept = &salvage->items[i];

		if (kept->offset >= offset && kept->offset + kept->length <= end)
			forget(salvage, i);
		else
			i++;
	}
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

/* --- taking up what an earlier run left ------------------------------------------------------- */

static bool is_plausible(const struct salvage *salvage, const struct kept *kept)
{
	uint32_t sector = salvage->sector;

	return kept->length > 0 && kept->length <= ENTRY_MAX && kept->length % sector == 0 &&
	       kept->offset % sector == 0 && kept->offset <= salvage->size;
}

/* One line of the index. False where the good ones end. */
static bool replay(struct salvage *salvage, const uint8_t *record)
{
	struct kept kept = {get_u64(record + RECORD_OFFSET), get_u64(record + RECORD_POSITION),
	    get_u32(record + RECORD_LENGTH), get_u32(record + RECORD_CHECK)};
	size_t at;

	if (!is_sealed(record) || !is_plausible(salvage, &kept))
		return false;
	at = first_behind(salvage, kept.offset);
	if (record[RECORD_KIND] == KIND_DROPPED) {
		if (at < salvage->count && salvage->items[at].offset == kept.offset)
			take_out(salvage, at);
		return true;
	}
	if (record[RECORD_KIND] != KIND_KEPT ||
	    (at < salvage->count && salvage->items[at].offset < kept.offset + kept.length))
		return false;
	return insert(salvage, &kept);
}

static void replay_all(struct salvage *salvage)
{
	uint8_t record[RECORD_SIZE];

	salvage->index_end = RECORD_SIZE;
	while (pread(salvage->index, record, RECORD_SIZE, (off_t)salvage->index_end) ==
		   RECORD_SIZE &&
	       replay(salvage, record))
		salvage->index_end += RECORD_SIZE;
}

/* Keeps only entries whose bytes are there as they were. */
static void prove_all(struct salvage *salvage)
{
	size_t kept = 0;

	salvage->bytes = 0;
	for (size_t i = 0; i < salvage->count; i++) {
		struct kept *item = &salvage->items[i];

		if (!read_entry(salvage, item) ||
		    !space_claim(&salvage->space, item->position, item->length))
			continue;
		salvage->bytes += item->length;
		salvage->items[kept++] = *item;
	}
	salvage->count = kept;
}

bool salvage_load(struct salvage *salvage, struct error *error)
{
	uint8_t header[RECORD_SIZE];

	if (!open_folder(salvage) ||
	    (salvage->index = openat(salvage->folder, salvage->index_name,
		 O_RDWR | O_CLOEXEC | O_NOFOLLOW)) < 0) {
		int failure = errno;

		close_files(salvage);
		if (failure == ENOENT)
			return true;
		return error_set_errno(error, STATUS_DESTINATION, failure,
		    "what was kept of a faulty drive cannot be read");
	}
	if (pread(salvage->index, header, RECORD_SIZE, 0) != RECORD_SIZE || !is_sealed(header)) {
		/* Torn at its very beginning: nothing was kept yet. */
		close(salvage->index);
		salvage->index = -1;
		return true;
	}
	if (memcmp(header, salvage->header, RECORD_SIZE) != 0) {
		close_files(salvage);
		return error_set(error, STATUS_USAGE,
		    "what the job has kept of a faulty drive belongs to another drive than this");
	}
	if (!space_open(&salvage->space)) {
		int failure = salvage->space.failure;

		space_free(&salvage->space);
		close_files(salvage);
		return error_set_errno(error, STATUS_DESTINATION, failure,
		    "what was kept of a faulty drive cannot be read");
	}
	replay_all(salvage);
	prove_all(salvage);
	return true;
}
