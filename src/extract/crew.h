/*
 * The crew of an extraction: threads that prepare the bytes of all parts, and one that writes them.
 *
 * Whoever fills the parts hands over parcels of bytes, each for one lane (a lane is a part's side
 * of this). Workers prepare parcels, several at a time and in any order; one more thread, the
 * writing one, then puts them, one at a time and in the order in which they were handed over. So
 * reading, compressing, hashing and writing overlap; what comes out does not depend on how many
 * workers there are or which is faster; and a part's file is touched by one thread only.
 *
 * Parcels travel in slots of CREW_BUFFER bytes, so that a thousand small files need no more locking
 * than one large one. The slots bound the memory; there are as many for one part as for fifty.
 */
#ifndef EXTRACT_CREW_H
#define EXTRACT_CREW_H

#include "base/error.h"
#include "extract/pack.h"

#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define CREW_BUFFER PACK_CHUNK

/*
 * So many parcels may be held back after they were put, until their lane knows what has to stand
 * before them.
 */
#define CREW_HELD 8

struct crew;
struct lane;

struct parcel {
	struct lane *lane;
	int kind;        /* the lane's own, as are entry and is_last */
	void *entry;
	bool is_last;
	uint8_t *data;   /* NULL: none, or `length` zeros, as the kind says */
	size_t length;   /* as handed over */
	size_t packed;   /* after preparing; never more */
	uint32_t crc;    /* CRC-32 of the bytes as handed over */
};

struct lane_ops {
	/* In a worker. NULL: nothing to prepare. False when memory ran out. */
	bool (*prepare)(struct parcel *parcel, struct packer *packer);
	/*
	 * In the writing thread. True: this parcel or others before it are still needed, at most
	 * CREW_HELD of them; they stay until a later call says otherwise. Failures go to
	 * lane_fail().
	 */
	bool (*put)(struct lane *lane, struct parcel *parcel);
	/* In the writing thread: lets go of everything. NULL where put() never holds anything. */
	void (*let_go)(struct lane *lane);
	/*
	 * In the writing thread, for a lane that asked for it with lane_wants_time(): up to a few
	 * MiB of work that can wait. False when nothing is left.
	 */
	bool (*use_time)(struct lane *lane);
};

struct lane {
	const struct lane_ops *ops;
	struct crew *crew;
	atomic_bool is_failed; /* then error is set, and does not change any more */
	atomic_bool is_given_up; /* nothing needs to be prepared any more */
	struct error error;
	struct lane *next;     /* of those that want time */
	bool wants_time;
};

/* `workers` 0: as many as there are processors, up to a bound. NULL: no memory. */
struct crew *crew_open(unsigned workers);
/* All lanes must have ended. NULL is allowed. */
void crew_close(struct crew *crew);

void lane_start(struct lane *lane, const struct lane_ops *ops, struct crew *crew);
/* In the writing thread or a worker: notes the first failure. Always false. */
bool lane_fail(struct lane *lane, const struct error *error);
/* In any thread: false with *error when the lane failed. */
bool lane_check(struct lane *lane, struct error *error);
/* In the writing thread. */
void lane_wants_time(struct lane *lane, bool wants);

/*
 * The functions below belong to the thread that fills the parts.
 *
 * A parcel with room for `length` bytes at its data (at most CREW_BUFFER; 0: data is NULL), all of
 * which must be filled in before the next call of any of these functions. NULL: no memory.
 */
struct parcel *crew_add(struct crew *crew, struct lane *lane, int kind, void *entry, size_t length);

/*
 * Adds bytes that need not stay together, to the last parcel where that is one of the same lane and
 * kind without an entry. False: no memory.
 */
bool crew_add_bytes(struct crew *crew, struct lane *lane, int kind, const void *data,
    size_t length);

/*
 * Takes back those of the last parcels that belong to the entry and are not on their way yet.
 * Returns how many.
 */
size_t crew_take_back(struct crew *crew, const struct lane *lane, const void *entry);

/* Waits until everything was put. */
void crew_wait(struct crew *crew);

#endif
