/*
 * What the files of the sector store share: see salvage.h for what it is. Private to them.
 */
#ifndef DISK_SALVAGE_INNER_H
#define DISK_SALVAGE_INNER_H

#include "disk/salvage.h"
#include "disk/salvage_space.h"

#include <pthread.h>

#define ENTRY_MAX (256u << 10) /* bytes: an entry is checked as a whole when a part is wanted */
#define RECORD_SIZE 32u        /* bytes, of the header and of every line of the index */
#define MOST_ENTRIES (1u << 24)

/* Little-endian; the checksum covers what stands before it. */
enum record_field {
	RECORD_KIND = 0, /* one byte, three zeros */
	RECORD_LENGTH = 4,
	RECORD_OFFSET = 8, /* on the drive */
	RECORD_POSITION = 16, /* of a note: its length; the other one is 0 */
	RECORD_CHECK = 24, /* of the entry's bytes */
	RECORD_OWN_CHECK = 28,
};
enum { KIND_KEPT = 'K', KIND_DROPPED = 'D' };
#define UNKNOWN_DRIVE 0u /* the checksum of no text */
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
	struct holes notes[SALVAGE_NOTES];
	uint8_t *scratch; /* of ENTRY_MAX bytes */
	bool failed, broken;
};

extern const uint8_t salvage_note_kinds[SALVAGE_NOTES];

/* With the lock, or before anybody else knows of the store: */

/* Opens the folder, when that was not done. False with errno. */
bool salvage_open_folder(struct salvage *salvage);
/* Opens the index, for this run alone. False with errno; EBUSY: another run has it. */
bool salvage_open_index(struct salvage *salvage, int flags);
void salvage_close_files(struct salvage *salvage);

bool salvage_is_sealed(const uint8_t *record);

/* Index of the first entry that ends behind `offset`. */
size_t salvage_first_behind(const struct salvage *salvage, uint64_t offset);
bool salvage_insert(struct salvage *salvage, const struct kept *kept);
void salvage_take_out(struct salvage *salvage, size_t at);
/* Reads a whole entry into `scratch`. False: its bytes are not what they were. */
bool salvage_read_entry(struct salvage *salvage, const struct kept *kept);

#endif
