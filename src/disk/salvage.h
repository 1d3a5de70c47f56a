/*
 * The sector store: what was read of a faulty drive and may be needed again.
 *
 * A drive that is failing is asked for every sector as seldom as can be. What was read well of it
 * and cannot go into the archive at once is kept here, in files at the destination, and source_read()
 * is served from here before the drive is asked. The store outlasts the run: one that goes on with
 * an unfinished job opens it again.
 *
 * On disk: FOLDER/NAME.index, a log of fixed records (kept, dropped, notes; each with a checksum, so
 * that a torn end is recognised), and FOLDER/NAME.sectors-1, -2, ...: the bytes, in segments that are used
 * again when nothing in them is needed any more. No sparse files, no file of 4 GiB: FAT will do.
 * The bytes of every entry are checked (CRC-32) whenever they are taken out: one that was damaged,
 * or never arrived before a power cut, is forgotten.
 */
#ifndef DISK_SALVAGE_H
#define DISK_SALVAGE_H

#include "base/error.h"
#include "disk/hole.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct salvage;

/* What the store is of: one made for another drive is not taken for this one's. */
struct salvage_drive {
	uint64_t size;         /* bytes */
	uint32_t sector_size;
	const char *identity;  /* whatever tells it from others, as text; "": could be any */
};

/*
 * A store that is empty; folder and files are made when the first bytes are kept. NULL: no memory.
 */
struct salvage *salvage_new(
    const char *folder, const char *name, const struct salvage_drive *drive);
/*
 * Closes the files and leaves them where they are. NULL is allowed.
 */
void salvage_free(struct salvage *salvage);

/*
 * Takes up what an earlier run left in the folder; fine when there is nothing. Entries are read
 * once, and those whose bytes are not what they were are forgotten. False with *error when the files
 * cannot be read, another run works with them, or they are of another drive (STATUS_USAGE): the
 * store is empty then, and the files are as they were. Before anything is kept.
 */
bool salvage_load(struct salvage *salvage, struct error *error);

/* Closes and removes the files, and the folder when it is empty then. The store is empty. */
void salvage_remove(struct salvage *salvage);

/*
 * The files go to this folder from now on; those that are there are renamed. False with *error
 * (STATUS_DESTINATION), all as before.
 */
bool salvage_move(struct salvage *salvage, const char *folder, struct error *error);

/*
 * The files were synced and copied to this folder: the store goes on with the copies, and leaves its
 * own where they are. False with *error (STATUS_DESTINATION): it is the end of the store.
 */
bool salvage_follow(struct salvage *salvage, const char *folder, struct error *error);

/* All functions below may be called from several threads. */

/*
 * Keeps [offset, offset + length), whole sectors, except for what is there already. False when not
 * all of it could be kept: there is no room, or the destination failed (salvage_failed()).
 */
bool salvage_put(struct salvage *salvage, uint64_t offset, const void *data, size_t length);

/*
 * Fills the buffer with what is there of [offset, offset + length), whole sectors; what is not is
 * left as it is in the buffer, and added to *missing.
 */
void salvage_get(struct salvage *salvage, uint64_t offset, void *buffer, size_t length,
    struct holes *missing);

/* Adds what is not there of [offset, offset + length) to *missing; reads nothing. */
void salvage_missing(
    struct salvage *salvage, uint64_t offset, uint64_t length, struct holes *missing);

/* Forgets what lies in the range and is not needed any more (whole entries only). */
void salvage_drop(struct salvage *salvage, uint64_t offset, uint64_t length);

uint64_t salvage_bytes(struct salvage *salvage); /* that are kept */

/* Of what did not read it is noted, for a run that goes on with the job, that it did not: */
enum salvage_note {
	SALVAGE_MISSED,   /* while the drive was looked at, before there was a plan */
	SALVAGE_GIVEN_UP, /* in the end */
	SALVAGE_NOTES,
};
/* False when it could not be noted. What is noted already is not noted again. */
bool salvage_add_note(
    struct salvage *salvage, enum salvage_note note, uint64_t offset, uint64_t length);
/* Adds all that was noted to *ranges. */
void salvage_notes(struct salvage *salvage, enum salvage_note note, struct holes *ranges);

/*
 * So much room at the destination belongs to others: nothing is kept when less would be left. At
 * first none.
 */
void salvage_set_reserve(struct salvage *salvage, uint64_t bytes);

/* Was something not kept since the store was made? Then it is read again should it be needed. */
bool salvage_failed(struct salvage *salvage);

/* Makes what is kept last. False with *error. */
bool salvage_sync(struct salvage *salvage, struct error *error);

#endif
