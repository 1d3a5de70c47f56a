/*
 * Where the bytes of a stream lie: for those who decide in which order to read.
 */
#ifndef NTFS_EXTENTS_H
#define NTFS_EXTENTS_H

#include "ntfs/catalogue.h"

#include <stdbool.h>
#include <stdint.h>

/*
 * A number that grows with the place on the drive from which the stream's first bytes come.
 * Resident streams stand in the file table: theirs grows with the record's number, and is smaller
 * than any other. 0 when nothing needs to be read.
 */
uint64_t extents_place(const struct catalogue *catalogue, const struct stream *stream);

/*
 * Calls `visit` for each contiguous range of the drive, in bytes, from which data_read() reads the
 * bytes [from, to) of the stream; of a compressed stream whole units are read, so `from` and `to`
 * should be multiples of EXTENTS_STEP. Ends early, and returns false, when `visit` returns false.
 * Resident streams have none. For any part of a system-compressed file it is all that the file has.
 */
#define EXTENTS_STEP (UINT64_C(4) << 20)
bool extents_visit(const struct catalogue *catalogue, const struct stream *stream, uint64_t from,
    uint64_t to, bool (*visit)(void *context, uint64_t offset, uint64_t length), void *context);

#endif
