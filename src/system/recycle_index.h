/*
 * The index files of a recycle bin: what was deleted, from where and when.
 *
 * Sources: libyal dtformats, "The Windows Recycle.Bin file formats" ($I files, versions 1 and 2)
 * and "The Windows Recycler file formats" (INFO2 of 2000 and XP).
 */
#ifndef SYSTEM_RECYCLE_INDEX_H
#define SYSTEM_RECYCLE_INDEX_H

#include "base/arena.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define RECYCLE_NOTE_LIMIT ((size_t)1 << 17)  /* bytes: a path has at most 32,767 units */
#define RECYCLE_INDEX_LIMIT ((size_t)1 << 24) /* bytes: some 20,000 records of 800 bytes */

/* One thing that was deleted. */
struct recycle_note {
	const char *was; /* its old path, "C:\Fern\a.txt"; NULL: cannot be told */
	int64_t when;    /* FILETIME; 0: cannot be told */
	uint64_t size;   /* bytes as noted; in INFO2 whole clusters */
	uint32_t number; /* INFO2: with the drive's letter the file's name, "Dc17.txt"... */
	char drive;      /* ...'c'; 0: none that there can be */
};

/* A $I file. False when it is none, or memory runs out; what of it is damaged is not told. */
bool recycle_note_read(
    const uint8_t *data, size_t length, struct arena *arena, struct recycle_note *note);

/*
 * An INFO2 file: its records, in `arena`, in the order of the file. Returns their number; 0 also
 * when it is none, or memory runs out.
 */
size_t recycle_index_read(
    const uint8_t *data, size_t length, struct arena *arena, struct recycle_note **notes);

#endif
