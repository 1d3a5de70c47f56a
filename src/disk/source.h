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
 * It is served from what was read ahead, else from the store (disk/salvage.h), else by the drive.
 * What did not read is a hole at once from then on, until a round comes back to it.
 */
bool source_read(
    struct source *source, uint64_t offset, void *buffer, size_t length, struct holes *holes);

/*
 * The same for a caller that puts into the store by itself what will be needed again. What
 * source_read() reads of a faulty drive is always kept there.
 */
bool source_read_passing(
    struct source *source, uint64_t offset, void *buffer, size_t length, struct holes *holes);

/* How hard it is tried when a request fails. */
enum source_manner {
	/*
	 * It is narrowed down to single sectors at once, and no sector is asked for more than three
	 * times: whole, in a short run, alone. For what everything else depends on.
	 */
	SOURCE_THOROUGH,
	/*
	 * Only as far as that is cheap: where short runs fail too, or take very long, the region is
	 * put off to a later round.
	 */
	SOURCE_FIRST_TRY,
};
/*
 * At first SOURCE_THOROUGH. Going over to first tries puts off what was given up before; going back
 * gives up what is put off still.
 */
void source_set_manner(struct source *source, enum source_manner manner);

/*
 * One round, from 0 to SOURCE_ROUNDS - 1, over what is put off within `wanted` (drive offsets, whole
 * sectors), each in smaller requests, the last sector by sector: what reads goes into the store, and
 * is put off no more. `stop` is asked between requests. Returns how many bytes of `wanted` are still
 * put off. Not while something else reads.
 */
#define SOURCE_ROUNDS 4u
uint64_t source_round(
    struct source *source, const struct holes *wanted, unsigned round, bool (*stop)(void));

/*
 * For whoever keeps what rounds read by himself: called for each range that a round has read well, by
 * the source's thread, before it is put off no more. Without a store only.
 */
struct source_taker {
	void (*take)(void *context, uint64_t offset, const uint8_t *data, size_t length);
	void *context;
};
void source_set_taker(struct source *source, const struct source_taker *taker);
/* These ranges were put off in an earlier run: they wait for a round. After SOURCE_FIRST_TRY. */
void source_put_off_before(struct source *source, const struct holes *ranges);

/*
 * What is put off outside `wanted` is put off no more, as if it had never been skipped: nobody tried
 * it, since no round was to go over it. Whoever reads it later asks the drive. Not so what was missed
 * while the drive was looked at (source_look()). Before going back to SOURCE_THOROUGH, which would
 * give it up.
 */
void source_release_others(struct source *source, const struct holes *wanted);

/*
 * How many milliseconds may go to what does not read at once: requests that fail or take very long,
 * narrowing down, rounds. When they are used up, what fails is put off at once. At first unlimited.
 */
void source_set_effort(struct source *source, uint64_t milliseconds);
bool source_is_weary(struct source *source); /* Are they? */
/* How long a request must take to count as very long; 4,000 at first. For tests. */
void source_set_slow(struct source *source, unsigned milliseconds);

/*
 * A drive is faulty from its first failure, or from when somebody says so: from then on what is read
 * is kept in the store.
 */
void source_set_faulty(struct source *source);
bool source_is_faulty(struct source *source);

/*
 * Gives the source its store, which it takes over, before anything is read by others. It is closed
 * with the source, its files stay (salvage_remove()).
 */
struct salvage;
void source_set_salvage(struct source *source, struct salvage *salvage);
struct salvage *source_salvage(struct source *source); /* NULL: none */

/*
 * Between the two of these the drive is looked at, before there is a plan: a run that goes on with
 * the job looks at it once more, and has to see the same. What is read well stays in the store of a
 * faulty drive to its end; of one that is not faulty yet up to `most` bytes are kept in memory, and
 * go into the store at its first failure, whenever that comes. What does not read is noted in the
 * store, and what an earlier run noted there is a hole at once, whatever is in the store by now.
 * Needs a store, with what the earlier run left in it.
 */
void source_look(struct source *source, size_t most);
void source_look_end(struct source *source);
/* The range is not needed any more: it leaves the store, but for what stays there to its end. */
void source_forget(struct source *source, uint64_t offset, uint64_t length);
/*
 * One request for exactly this to the drive itself, whatever is in the store: is it the same drive?
 * False when it does not read; then nothing else is known by that.
 */
bool source_read_fresh(struct source *source, uint64_t offset, void *buffer, size_t length);

/*
 * What was read ahead (disk/ahead.h) is served from memory from now on, until it is withdrawn. At
 * most SOURCE_AHEADS at a time; false when there are that many.
 */
#define SOURCE_AHEADS 2
struct ahead;
bool source_offer(struct source *source, const struct ahead *ahead);
void source_withdraw(struct source *source, const struct ahead *ahead);

/*
 * All holes so far inside the drive, as drive offsets: what was given up, and what is put off.
 * Added to *holes, as are those of source_put_off().
 */
void source_holes(struct source *source, struct holes *holes);
void source_put_off(struct source *source, struct holes *holes); /* only these */

/* Are there any? The list does not have to be copied for that. */
bool source_has_holes(struct source *source);
/* Is something of the range put off? */
bool source_is_put_off(struct source *source, uint64_t offset, uint64_t length);

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

/* Gives the drive up: nobody wants to wait for it any more. */
void source_abandon(struct source *source);

/* Was the drive given up (it hung, or dropped off the bus)? Every later read is one hole. */
bool source_is_lost(const struct source *source);

/* Is it not even there any more: pulled out, or switched off by itself? It is lost, too, then. */
bool source_is_gone(const struct source *source);

#endif
