/*
 * A drive opened for reading: the one way in which every other part reads.
 *
 * Callers ask for (offset, length) and always get the length: what cannot be read is zero-filled
 * and reported as a hole beside the data. Behind it one reader thread per drive does the blocking
 * calls and can be abandoned when the drive hangs in the kernel.
 */
#ifndef DISK_SOURCE_H
#define DISK_SOURCE_H

#include "base/error.h"
#include "disk/device.h"
#include "disk/hole.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/*
 * Longest single request to a drive, in bytes; longer ones are cut, and read while the last is
 * copied.
 */
#define SOURCE_PIECE (2u << 20)

struct source;

/*
 * Takes over `device` (also when it fails). Starts the reader thread. NULL with *error when a
 * thread or memory cannot be had. A source takes about four pieces of memory.
 */
struct source *source_open(struct device *device, struct error *error);

/*
 * Closes the device too, unless the drive hangs in the kernel: then thread, memory and device are
 * left behind until the drive answers or the program ends. No source_read() may be under way.
 */
void source_close(struct source *source);

const char *source_path(const struct source *source);
uint64_t source_size(const struct source *source);
uint32_t source_sector_size(const struct source *source);
const struct device *source_device(const struct source *source);

/*
 * Reads exactly `length` bytes at `offset` (any alignment). Bytes that cannot be read, or lie
 * beyond the drive's end, are zero and added to *holes as drive offsets (may be NULL: the caller
 * then knows nothing of them). A hole covers whole sectors, so it can reach over the edges of what
 * was asked for. Returns true when there was no hole. May be called from several threads.
 *
 * A request that fails is narrowed down to single sectors. No sector is asked for more than three
 * times: whole, in a short run, alone; one that stayed unread is a hole at once from then on, until
 * source_forget_holes().
 */
bool source_read(
    struct source *source, uint64_t offset, void *buffer, size_t length, struct holes *holes);

/*
 * What was read ahead (disk/ahead.h) is served from memory from now on, until it is withdrawn. At
 * most SOURCE_AHEADS at a time; false when there are that many.
 */
#define SOURCE_AHEADS 2
struct ahead;
bool source_offer(struct source *source, const struct ahead *ahead);
void source_withdraw(struct source *source, const struct ahead *ahead);

/* All holes met so far inside the drive, as drive offsets: a copy that the caller frees. */
void source_holes(struct source *source, struct holes *holes);

/* Was there any? The list does not have to be copied for that. */
bool source_has_holes(struct source *source);

/* Begins a new round: what could not be read is asked for again. */
void source_forget_holes(struct source *source);

/*
 * How long one request may stay in the kernel before the drive is given up, in milliseconds. At
 * first SOURCE_PATIENCE: a bad sector on a drive that tries hard takes up to half a minute, and the
 * kernel repeats that a few times before it answers.
 */
#define SOURCE_PATIENCE 180000u
void source_set_patience(struct source *source, unsigned milliseconds);

/*
 * From now on the drive gets so many milliseconds for everything that it is asked: one that answers
 * each request in time, but all of them too slowly, is given up then, too. At first there is no
 * such end.
 */
void source_set_end(struct source *source, unsigned milliseconds);

/* Was the drive given up (it hung, or dropped off the bus)? Every later read is one hole. */
bool source_is_lost(const struct source *source);

#endif
