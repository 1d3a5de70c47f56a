/*
 * The thread that asks the drive; see source.h.
 *
 * It reads into buffers of its own (a fixed pool of pieces), never into the caller's memory: a drive
 * that hangs may deliver long after everybody has stopped waiting. What it may still touch then is
 * kept alive by counting who holds the state.
 */
#include "disk/source_inner.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

/* A request is slow when it takes that many times as long as usual. */
#define SLOW_TIMES 8u
#define USUAL_BYTES (4u << 20) /* after which it is known what is usual */

static uint64_t millis_since(struct timespec then)
{
	struct timespec time = source_now();
	int64_t millis = (int64_t)(time.tv_sec - then.tv_sec) * 1000 +
			 (time.tv_nsec - then.tv_nsec) / 1000000;

	return millis > 0 ? (uint64_t)millis : 0;
}

/* How the latest request went: what the next ones are judged by. With the lock. */
static void judge(struct source *source, ssize_t got, size_t length)
{
	uint64_t took = millis_since(source->busy_since);
	uint64_t usual = 0;
	bool good = got >= 0 && (size_t)got >= length;

	if (source->good_bytes >= USUAL_BYTES)
		usual = source->good_millis * length / source->good_bytes;
	source->latest_was_slow = took >= source->slow && took > SLOW_TIMES * usual;
	if (!good)
		source->trying = true;
	if (source->trying || source->latest_was_slow)
		source->spent += took;
	if (good && !source->latest_was_slow) {
		source->good_bytes += length;
		source->good_millis += took;
	}
}

/* One call into the kernel, watched by those who wait. Negative also when the source is lost. */
static ssize_t read_watched(void *context, uint64_t offset, void *buffer, size_t length)
{
	struct source *source = context;
	uint64_t size = source->device->size;
	ssize_t got;

	pthread_mutex_lock(&source->lock);
	if (source->lost) {
		pthread_mutex_unlock(&source->lock);
		return -ENODEV;
	}
	source->busy_since = source_now();
	source->busy = true;
	pthread_mutex_unlock(&source->lock);

	got = source->device->ops->read(source->device, offset, buffer, length);

	pthread_mutex_lock(&source->lock);
	source->busy = false;
	if (source->stop)
		pthread_cond_broadcast(&source->ready);
	if (offset < size && length > size - offset)
		length = (size_t)(size - offset);
	judge(source, got, length);
	if (source->trying || (source->latest_was_slow && source->manner == SOURCE_FIRST_TRY))
		source->faulty = true;
	if (got == -ENODEV || got == -ENXIO || got == -ENOMEDIUM) {
		source->gone = true;
		source_lose(source);
	}
	pthread_mutex_unlock(&source->lock);
	return got;
}

static bool is_slow(void *context)
{
	return ((struct source *)context)->latest_was_slow;
}

static bool is_weary(void *context)
{
	struct source *source = context;
	bool weary;

	pthread_mutex_lock(&source->lock);
	weary = source->lost || source->spent >= source->effort;
	pthread_mutex_unlock(&source->lock);
	return weary;
}

static struct narrow asker(struct source *source, struct holes *holes)
{
	return (struct narrow){.read = read_watched,
	    .context = source,
	    .sector_size = source->device->sector_size,
	    .size = source->device->size,
	    .holes = holes,
	    .is_slow = is_slow,
	    .is_weary = is_weary};
}

/* --- plain reading ----------------------------------------------------------------------------- */

struct hole source_next_of(const struct holes *list, uint64_t at, uint64_t end)
{
	const struct hole *hole = holes_next(list, at);
	struct hole cut = {end, 0};

	if (hole != NULL && hole->offset < end) {
		uint64_t stop = hole->offset + hole->length;

		cut.offset = hole->offset > at ? hole->offset : at;
		cut.length = (stop < end ? stop : end) - cut.offset;
	}
	return cut;
}

/* What is not asked for now, the same way: given up, or put off. */
static struct hole next_hole(struct source *source, uint64_t at, uint64_t end)
{
	struct hole known, put_off;

	pthread_mutex_lock(&source->lock);
	known = source_next_of(&source->known, at, end);
	put_off = source_next_of(&source->put_off, at, end);
	pthread_mutex_unlock(&source->lock);
	return known.offset < put_off.offset || put_off.length == 0 ? known : put_off;
}

/* Asks the drive for a range without known holes. */
static void ask_drive(struct source *source, struct piece *piece, uint64_t at, size_t length)
{
	struct narrow narrow = asker(source, &piece->holes);
	uint8_t *to = piece->buffer + (at - piece->start);
	struct holes put_off = {0};

	if (source->manner == SOURCE_THOROUGH && !is_weary(source)) {
		narrow_read(&narrow, at, to, length);
		return;
	}
	narrow_first_try(&narrow, &source->skip, at, to, length, &put_off);
	if (put_off.count == 0 && !put_off.failed)
		return;
	pthread_mutex_lock(&source->lock);
	holes_add_all(&source->put_off, &put_off);
	pthread_mutex_unlock(&source->lock);
	holes_free(&put_off);
}

/* Reads a range that is not in the store around the holes that are known already. */
static void read_around(struct source *source, struct piece *piece, uint64_t at, uint64_t end)
{
	while (at < end) {
		struct hole hole = next_hole(source, at, end);

		if (hole.offset > at)
			ask_drive(source, piece, at, (size_t)(hole.offset - at));
		memset(piece->buffer + (hole.offset - piece->start), 0, (size_t)hole.length);
		holes_add(&piece->holes, hole.offset, hole.length);
		at = hole.offset + hole.length;
	}
}

/* --- the store --------------------------------------------------------------------------------- */

static void keep_in_store(void *context, uint64_t offset, const uint8_t *data, size_t length)
{
	salvage_put(context, offset, data, length);
}

/* Hands over what of [at, end) was read well. */
static void hand_over(
    const struct source_taker *taker, const struct piece *piece, uint64_t at, uint64_t end)
{
	if (piece->holes.failed)
		return;
	while (at < end) {
		struct hole hole = source_next_of(&piece->holes, at, end);

		if (hole.offset > at)
			taker->take(taker->context, at, piece->buffer + (at - piece->start),
			    (size_t)(hole.offset - at));
		at = hole.offset + hole.length;
	}
}

static void keep_range(struct source *source, const struct piece *piece, uint64_t at, uint64_t end)
{
	const struct source_taker store = {keep_in_store, source->salvage};

	hand_over(&store, piece, at, end);
}

/* After a drive was given up, store and taker are no more this thread's. */
static bool is_watched(struct source *source)
{
	bool watched;

	pthread_mutex_lock(&source->lock);
	watched = !source->stop && !source->lost;
	pthread_mutex_unlock(&source->lock);
	return watched;
}

static bool may_keep(struct source *source)
{
	return source->salvage != NULL && source_is_faulty(source) && is_watched(source);
}

/* Reads a range from the store, and what is not there from the drive. */
static void read_served(struct source *source, struct piece *piece, uint64_t at, uint64_t end)
{
	struct holes absent = {0};

	if (source->salvage == NULL || salvage_bytes(source->salvage) == 0)
		holes_add(&absent, at, end - at);
	else
		salvage_get(source->salvage, at, piece->buffer + (at - piece->start),
		    (size_t)(end - at), &absent);
	if (absent.failed) {
		holes_free(&absent);
		read_around(source, piece, at, end);
		return;
	}
	for (size_t i = 0; i < absent.count; i++) {
		const struct hole *range = &absent.items[i];

		read_around(source, piece, range->offset, range->offset + range->length);
		if (piece->keep && may_keep(source))
			keep_range(source, piece, range->offset, range->offset + range->length);
	}
	holes_free(&absent);
}

/* While the drive is looked at: what an earlier run missed then is missed again. */
static void read_looking(struct source *source, struct piece *piece)
{
	uint64_t at = piece->start, end = at + piece->length;

	while (at < end) {
		struct hole hole = next_hole(source, at, end);

		if (hole.offset > at)
			read_served(source, piece, at, hole.offset);
		memset(piece->buffer + (hole.offset - piece->start), 0, (size_t)hole.length);
		holes_add(&piece->holes, hole.offset, hole.length);
		at = hole.offset + hole.length;
	}
	source_look_keep(source, piece, may_keep(source));
}

static void read_piece(struct source *source, struct piece *piece)
{
	if (source->looking)
		read_looking(source, piece);
	else
		read_served(source, piece, piece->start, piece->start + piece->length);
	if (source->early.count > 0 && may_keep(source))
		early_give(&source->early, source->salvage);
}

/* One request, of which nothing is learned but what it gave. */
static void read_fresh(struct source *source, struct piece *piece)
{
	ssize_t got = read_watched(source, piece->start, piece->buffer, piece->length);

	if (got < 0 || (size_t)got < piece->length)
		holes_add(&piece->holes, piece->start, piece->length);
}

/* --- rounds ------------------------------------------------------------------------------------ */

static void read_again(struct source *source, struct piece *piece)
{
	struct narrow narrow = asker(source, &piece->holes);

	source->trying = true;
	narrow_again(&narrow, piece->way, piece->start, piece->buffer, piece->length);
	if (source->taker.take != NULL && is_watched(source))
		hand_over(&source->taker, piece, piece->start, piece->start + piece->length);
	else if (may_keep(source))
		keep_range(source, piece, piece->start, piece->start + piece->length);
}

/* What is known now. With the lock. */
static void learn(struct source *source, const struct piece *piece)
{
	struct holes now_known = {0};

	if (piece->way != NULL) {
		holes_remove(&source->put_off, piece->start, piece->length);
		holes_add_all(&source->put_off, &piece->holes);
		return;
	}
	/* A hole that is put off is not given up. */
	holes_add_all(&now_known, &piece->holes);
	for (size_t i = 0; i < source->put_off.count && now_known.count > 0; i++)
		holes_remove(&now_known, source->put_off.items[i].offset,
		    source->put_off.items[i].length);
	holes_add_all(&source->known, &now_known);
	holes_free(&now_known);
}

void *source_thread(void *context)
{
	struct source *source = context;

	pthread_mutex_lock(&source->lock);
	while (!source->stop && !source->lost) {
		struct piece *piece = source->first;

		if (piece == NULL) {
			pthread_cond_wait(&source->work, &source->lock);
			continue;
		}
		source->first = piece->next;
		if (source->first == NULL)
			source->last = NULL;
		source->trying = false;
		pthread_mutex_unlock(&source->lock);
		if (piece->fresh)
			read_fresh(source, piece);
		else if (piece->way != NULL)
			read_again(source, piece);
		else
			read_piece(source, piece);
		pthread_mutex_lock(&source->lock);
		if (!piece->fresh &&
		    (piece->holes.count > 0 || piece->holes.failed || piece->way != NULL))
			learn(source, piece);
		piece->done = true;
		pthread_cond_broadcast(&source->ready);
	}
	source_release(source);
	return NULL;
}
