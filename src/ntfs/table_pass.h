/*
 * The file table from the first record to the last: while one piece of it is looked at, the next
 * one is read by a thread of its own. Private to src/ntfs.
 */
#ifndef NTFS_TABLE_PASS_H
#define NTFS_TABLE_PASS_H

#include "disk/hole.h"
#include "ntfs/volume.h"

#include <stddef.h>
#include <stdint.h>

/* Some records in a row; what could not be read is zero. */
struct table_piece {
	uint64_t first; /* record number */
	size_t count;
	uint8_t *bytes;     /* the caller may change them */
	struct holes holes; /* offsets in `bytes` */
};

struct table_pass;

/*
 * Begins with record 0; `count` records, at least one, will be read. A table of one piece is read
 * by the caller's own thread, and so is any other when no thread can be had. NULL: no memory.
 */
struct table_pass *table_pass_start(const struct volume *volume, uint64_t count);

/* The next piece, good until the next call; NULL at the end. */
struct table_piece *table_pass_next(struct table_pass *pass);

/* May be called at any time; waits for a read that is under way. NULL is allowed. */
void table_pass_end(struct table_pass *pass);

#endif
