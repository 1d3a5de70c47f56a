/*
 * What the files of the source share: see source.h for what it is. Private to them.
 *
 * source.c: those who ask and wait. source_thread.c: the thread that asks the drive.
 * source_rounds.c: what did not read, and going back to it. source_look.c: what has to be seen once
 * more by a run that goes on.
 */
#ifndef DISK_SOURCE_INNER_H
#define DISK_SOURCE_INNER_H

#include "disk/early.h"
#include "disk/narrow.h"
#include "disk/salvage.h"
#include "disk/source.h"

#include <pthread.h>
#include <time.h>

#define SOURCE_POOL 4

/* A request to the thread. */
struct piece {
	struct piece *next;
	uint64_t start; /* aligned to the sector size */
	size_t length;  /* a multiple of it */
	uint8_t *buffer;
	struct holes holes;
	const struct narrow_way *way; /* a round over what was put off; NULL: plain reading */
	bool keep;                    /* in the store, when the drive is faulty */
	bool fresh;                   /* one request to the drive itself, for source_read_fresh() */
	bool done;
};

struct source {
	struct device *device;
	pthread_mutex_t lock;
	pthread_cond_t work;  /* the thread waits for pieces */
	pthread_cond_t ready; /* callers wait for a finished piece, or for a free one */
	struct piece pieces[SOURCE_POOL];
	struct piece *unused;
	struct piece *first, *last; /* asked for, not begun */
	struct holes known;         /* tried and given up */
	struct holes put_off;       /* to a later round; apart from `known` */
	struct timespec busy_since; /* when the present call into the kernel began */
	unsigned patience;          /* milliseconds */
	struct timespec end; /* the latest moment for a call into the kernel to be under way */
	bool has_end;
	size_t piece_size; /* of the buffers */
	unsigned holders;  /* the owner and the thread */
	bool busy, lost, stop;
	bool gone; /* lost, and the kernel says why: there is no such drive any more */
	bool faulty;
	enum source_manner manner;
	bool looking;            /* source_look() */
	struct holes looked_at;  /* what was read well then */
	struct holes missed;     /* and what was not */
	struct salvage *salvage; /* NULL: nothing is kept */
	struct source_taker taker; /* all zeros: none */
	uint64_t effort;         /* milliseconds that may go to what does not read at once */
	uint64_t spent;          /* of these */
	unsigned slow;           /* milliseconds that make a request a slow one */
	pthread_t thread;
	pthread_rwlock_t shelf; /* over what was read ahead */
	const struct ahead *aheads[SOURCE_AHEADS];
	/* The thread's own. */
	struct early early;
	uint64_t skip;         /* of narrow_first_try() */
	bool trying;           /* the piece in work has met a failure, or belongs to a round */
	bool latest_was_slow;
	uint64_t good_bytes, good_millis;
};

/* moments */
struct timespec source_now(void);
struct timespec source_later(struct timespec time, unsigned milliseconds);
bool source_is_before(struct timespec a, struct timespec b);

/* The thread's function; `context` is the source. */
void *source_thread(void *context);

/* The first range of a list that meets [at, end), cut to it; an empty one at `end`: none. */
struct hole source_next_of(const struct holes *list, uint64_t at, uint64_t end);
/* For the thread: keeps and notes what was read while the drive is looked at. `may_keep`: the store
 * takes it. */
void source_look_keep(struct source *source, const struct piece *piece, bool may_keep);

/* For the thread's and the callers' use, with the lock held. */
void source_lose(struct source *source);
void source_release(struct source *source); /* gives back one hold, and the lock */

/*
 * Asks for one piece that begins at `offset` and ends at `end` at the latest, as far as one buffer
 * goes; the caller has the lock. NULL when the source is lost, or when no piece is free and
 * `may_wait` is false.
 */
struct piece *source_ask(struct source *source, uint64_t offset, uint64_t end, bool keep,
    const struct narrow_way *way, bool may_wait);
/* Waits until the piece is done, with the lock. False: the source is lost, and the piece with it. */
bool source_await(struct source *source, struct piece *piece);
/* Gives a finished piece back, with the lock. */
void source_return(struct source *source, struct piece *piece);

#endif
