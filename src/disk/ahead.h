/*
 * Ranges of a drive that are read before anybody asks for them.
 *
 * Who knows what will be read next wishes for it here. The wishes are then read in the order in
 * which they lie on the drive, in requests as large as that allows; afterwards source_read() serves
 * them from memory, in whatever order they are asked for. So files can be read one after the other,
 * each from its beginning to its end, while the drive is read in one direction.
 */
#ifndef DISK_AHEAD_H
#define DISK_AHEAD_H

#include "disk/hole.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct salvage;
struct source;
struct ahead;

/* Room for `size` bytes. NULL when memory runs out. */
struct ahead *ahead_new(size_t size);
void ahead_free(struct ahead *ahead);
/*
 * Forgets wishes and bytes, and begins anew for a drive with sectors of this size (a power of two).
 * Not while a source serves from it.
 */
void ahead_clear(struct ahead *ahead, uint32_t sector_size);

/* Wishes for a range of the drive. False: there is no room for it, and nothing has changed. */
bool ahead_wish(struct ahead *ahead, uint64_t offset, size_t length);

/* What has been wished for so far, and back to that: the later wishes are forgotten. */
struct ahead_mark {
	size_t count, used;
};
struct ahead_mark ahead_mark(const struct ahead *ahead);
void ahead_return(struct ahead *ahead, struct ahead_mark mark);

/*
 * Reads what was wished for. Between two wishes that lie no further apart than `gap` bytes the
 * drive is read on rather than moved: what lies there is read and dropped; not on a faulty drive.
 * Nothing of it goes into the store, see ahead_keep().
 */
void ahead_read(struct ahead *ahead, struct source *source, uint64_t gap);

/*
 * Copies a range that lies within one wish, or within several that touch; its holes are added to
 * *holes (may be NULL) as drive offsets, and *whole tells whether there were none. False when it is
 * not here.
 */
bool ahead_copy(const struct ahead *ahead, uint64_t offset, void *buffer, size_t length,
    struct holes *holes, bool *whole);

/* Does a hole meet the range, which was read? */
bool ahead_has_holes(const struct ahead *ahead, uint64_t offset, uint64_t length);

/* Puts what was read well of a range that was wished for into the store. */
void ahead_keep(const struct ahead *ahead, uint64_t offset, uint64_t length,
    struct salvage *salvage);

#endif
