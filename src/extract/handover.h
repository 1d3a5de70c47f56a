/*
 * The note that a job leaves in its folder at a destination when it goes on at another one.
 *
 * A small text file that stays there: for people it says what the folder is, and one line, a JSON
 * object (RFC 8259), says which folder of which job. With the note a folder is no job of its own,
 * whatever else is in it; without it and with a journal it is the one where the job goes on.
 */
#ifndef EXTRACT_HANDOVER_H
#define EXTRACT_HANDOVER_H

#include "base/error.h"
#include "extract/job.h"

#include <stdbool.h>

#define HANDOVER_NOTE "goes-on-elsewhere.txt"
#define HANDOVER_MARK 32 /* hex digits: chosen by chance, so that no two notes have the same */

struct handover {
	char job[JOB_NAME_LIMIT + 1];
	unsigned number; /* of the destination that was left, from 1 */
	char mark[HANDOVER_MARK + 1];
};

/* Sets the mark. False with *error. */
bool handover_mark(struct handover *handover, struct error *error);

/* Writes the note into the folder so that it lasts. False with *error (STATUS_DESTINATION). */
bool handover_write(const struct handover *handover, const char *folder, struct error *error);

/* Has the folder a note? */
bool handover_is_in(const char *folder);
/* Reads it. False: there is none, or none that makes sense. */
bool handover_read(struct handover *handover, const char *folder);
/* Is the note with this mark in the folder? */
bool handover_matches(const char *folder, const char *mark);

/* "first", "second"... for a sentence; "N." where words end. */
struct ordinal {
	char text[16];
};
struct ordinal handover_ordinal(unsigned number);

#endif
