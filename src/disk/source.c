/*
 * Those who ask a drive and wait for its answers; see source.h. The thread that asks it is in
 * source_thread.c.
 */
#include "disk/source_inner.h"

#include "base/stop.h"
#include "disk/ahead.h"

#include <errno.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>

#define CLOSING 2000  /* milliseconds: for a call that is under way when a drive is closed */
#define SOON_BUSY 100    /* milliseconds: the thread was told, and is about to begin its call */
#define LOOK_AROUND 1000 /* milliseconds after which somebody may have asked to stop */
#define BUFFER_ALIGNMENT 65536u /* at least the largest sector size */
/* A request that takes that long makes its neighbourhood wait for a later round. */
#define SLOW 4000u

/* --- moments ---------------------------------------------------------------------------------- */

struct timespec source_now(void)
{
	struct timespec time;

	clock_gettime(CLOCK_MONOTONIC, &time);
	return time;
}

struct timespec source_later(struct timespec time, unsigned milliseconds)
{
	time.tv_sec += milliseconds / 1000;
	time.tv_nsec += (long)(milliseconds % 1000) * 1000000;
	if (time.tv_nsec >= 1000000000) {
		time.tv_nsec -= 1000000000;
		time.tv_sec++;
	}
	return time;
}

bool source_is_before(struct timespec a, struct timespec b)
{
	return a.tv_sec < b.tv_sec || (a.tv_sec == b.tv_sec && a.tv_nsec < b.tv_nsec);
}

/* When the call that is under way has taken too long. */
static struct timespec end_of_patience(const struct source *source)
{
	struct timespec limit = source_later(source->busy_since, source->patience);

	return source->has_end && source_is_before(source->end, limit) ? source->end : limit;
}

static void source_free(struct source *source)
{
	for (size_t i = 0; i < SOURCE_POOL; i++) {
		free(source->pieces[i].buffer);
		holes_free(&source->pieces[i].holes);
	}
	holes_free(&source->known);
	holes_free(&source->put_off);
	holes_free(&source->looked_at);
	holes_free(&source->missed);
	early_free(&source->early);
	salvage_free(source->salvage);
	device_close(source->device);
	pthread_rwlock_destroy(&source->shelf);
	pthread_cond_destroy(&source->ready);
	pthread_cond_destroy(&source->work);
	pthread_mutex_destroy(&source->lock);
	free(source);
}

/* Gives back one hold; the lock is held and released. */
void source_release(struct source *source)
{
	bool last = --source->holders == 0;

	pthread_mutex_unlock(&source->lock);
	if (last)
		source_free(source);
}

void source_lose(struct source *source)
{
	source->lost = true;
	pthread_cond_broadcast(&source->ready);
	pthread_cond_broadcast(&source->work);
}

/* --- opening and closing ---------------------------------------------------------------------- */

static bool start_thread(struct source *source, struct error *error)
{
	sigset_t all, before;
	int failure;

	/* Signals belong to the threads of the command. */
	sigfillset(&all);
	pthread_sigmask(SIG_SETMASK, &all, &before);
	source->holders = 2;
	failure = pthread_create(&source->thread, NULL, source_thread, source);
	pthread_sigmask(SIG_SETMASK, &before, NULL);
	if (failure == 0)
		return true;
	return error_set_errno(
	    error, STATUS_OTHER, failure, "no thread can be had to read %s", source->device->path);
}

struct source *source_open(struct device *device, struct error *error)
{
	struct source *source = calloc(1, sizeof(*source));
	pthread_condattr_t attributes;
	bool fine = true;

	if (source == NULL) {
		device_close(device);
		error_no_memory(error);
		return NULL;
	}
	source->device = device;
	source->patience = SOURCE_PATIENCE;
	source->effort = UINT64_MAX;
	source->slow = SLOW;
	pthread_mutex_init(&source->lock, NULL);
	pthread_rwlock_init(&source->shelf, NULL);
	pthread_condattr_init(&attributes);
	pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
	pthread_cond_init(&source->work, &attributes);
	pthread_cond_init(&source->ready, &attributes);
	pthread_condattr_destroy(&attributes);
	/* A small image needs no large buffers. */
	source->piece_size = SOURCE_PIECE;
	if (device->size < SOURCE_PIECE)
		source->piece_size =
		    (size_t)device->size / BUFFER_ALIGNMENT * BUFFER_ALIGNMENT + BUFFER_ALIGNMENT;
	for (size_t i = 0; i < SOURCE_POOL; i++) {
		source->pieces[i].buffer = aligned_alloc(BUFFER_ALIGNMENT, source->piece_size);
		source->pieces[i].next = source->unused;
		source->unused = &source->pieces[i];
		fine = fine && source->pieces[i].buffer != NULL;
	}
	if (!fine)
		error_no_memory(error);
	if (!fine || !start_thread(source, error)) {
		source_free(source);
		return NULL;
	}
	return source;
}

/*
 * Gives a call that is under way a moment to end: a drive that is only slow is closed as it should
 * be, so that the mark goes that kept others from writing to it. With the lock. False: it hangs.
 */
static bool wait_for_end_of_call(struct source *source)
{
	struct timespec limit = source_later(source_now(), CLOSING);

	while (source->busy &&
	    pthread_cond_timedwait(&source->ready, &source->lock, &limit) != ETIMEDOUT)
		;
	return !source->busy;
}

void source_close(struct source *source)
{
	pthread_t thread;

	if (source == NULL)
		return;
	thread = source->thread;
	pthread_mutex_lock(&source->lock);
	source->stop = true;
	pthread_cond_broadcast(&source->work);
	if (!wait_for_end_of_call(source)) {
		pthread_detach(thread);
		source_release(source);
		return;
	}
	pthread_mutex_unlock(&source->lock);
	pthread_join(thread, NULL);
	pthread_mutex_lock(&source->lock);
	source_release(source);
}

const char *source_path(const struct source *source)
{
	return source->device->path;
}

uint64_t source_size(const struct source *source)
{
	return source->device->size;
}

uint32_t source_sector_size(const struct source *source)
{
	return source->device->sector_size;
}

const struct device *source_device(const struct source *source)
{
	return source->device;
}

void source_set_patience(struct source *source, unsigned milliseconds)
{
	pthread_mutex_lock(&source->lock);
	source->patience = milliseconds;
	pthread_mutex_unlock(&source->lock);
}

void source_set_end(struct source *source, unsigned milliseconds)
{
	pthread_mutex_lock(&source->lock);
	source->end = source_later(source_now(), milliseconds);
	source->has_end = true;
	pthread_mutex_unlock(&source->lock);
}

static bool ask(const struct source *source, const bool *mark)
{
	struct source *s = (struct source *)source;
	bool is;

	pthread_mutex_lock(&s->lock);
	is = *mark;
	pthread_mutex_unlock(&s->lock);
	return is;
}

bool source_is_lost(const struct source *source)
{
	return ask(source, &source->lost);
}

bool source_is_gone(const struct source *source)
{
	return ask(source, &source->gone);
}

/* --- what was read ahead ---------------------------------------------------------------------- */

/* Puts `now` where `before` is. */
static bool exchange(struct source *source, const struct ahead *before, const struct ahead *now)
{
	bool found = false;

	pthread_rwlock_wrlock(&source->shelf);
	for (size_t i = 0; i < SOURCE_AHEADS && !found; i++) {
		found = source->aheads[i] == before;
		if (found)
			source->aheads[i] = now;
	}
	pthread_rwlock_unlock(&source->shelf);
	return found;
}

bool source_offer(struct source *source, const struct ahead *ahead)
{
	return exchange(source, NULL, ahead);
}

void source_withdraw(struct source *source, const struct ahead *ahead)
{
	if (ahead != NULL)
		exchange(source, ahead, NULL);
}

static bool serve(struct source *source, uint64_t offset, void *buffer, size_t length,
    struct holes *holes, bool *whole)
{
	bool served = false;

	pthread_rwlock_rdlock(&source->shelf);
	for (size_t i = 0; i < SOURCE_AHEADS && !served; i++)
		served = source->aheads[i] != NULL &&
		    ahead_copy(source->aheads[i], offset, buffer, length, holes, whole);
	pthread_rwlock_unlock(&source->shelf);
	return served;
}

/* --- reading ---------------------------------------------------------------------------------- */

/*
 * Waits for news, and gives the drive up when its present call takes longer than we have patience,
 * or somebody asked to stop meanwhile.
 */
static void wait_for_news(struct source *source)
{
	struct timespec limit = source_later(source_now(), source->busy ? LOOK_AROUND : SOON_BUSY);

	if (source->busy && source_is_before(end_of_patience(source), limit))
		limit = end_of_patience(source);
	if (pthread_cond_timedwait(&source->ready, &source->lock, &limit) != ETIMEDOUT ||
	    !source->busy)
		return;
	if (!source_is_before(source_now(), end_of_patience(source)) || stop_is_asked())
		source_lose(source);
}

struct piece *source_ask(struct source *source, uint64_t offset, uint64_t end, bool keep,
    const struct narrow_way *way, bool may_wait)
{
	uint64_t sector = source->device->sector_size;
	uint64_t start = offset - offset % sector;
	struct piece *piece;

	while (source->unused == NULL && may_wait && !source->lost)
		wait_for_news(source);
	piece = source->unused;
	if (piece == NULL || source->lost)
		return NULL;
	source->unused = piece->next;
	end += (sector - end % sector) % sector;
	if (end - start > source->piece_size)
		end = start + source->piece_size;
	piece->start = start;
	piece->length = (size_t)(end - start);
	piece->way = way;
	piece->keep = keep;
	piece->fresh = false;
	piece->done = false;
	piece->next = NULL;
	holes_clear(&piece->holes);
	if (source->last != NULL)
		source->last->next = piece;
	else
		source->first = piece;
	source->last = piece;
	pthread_cond_signal(&source->work);
	return piece;
}

bool source_await(struct source *source, struct piece *piece)
{
	while (!piece->done && !source->lost)
		wait_for_news(source);
	return piece->done;
}

void source_return(struct source *source, struct piece *piece)
{
	piece->next = source->unused;
	source->unused = piece;
	pthread_cond_broadcast(&source->ready);
}

struct reading {
	struct source *source;
	uint64_t offset, end; /* what the caller wants, inside the drive */
	uint8_t *buffer;      /* for the byte at `offset` */
	struct holes *holes;  /* of this reading */
	bool whole;
	bool keep;
};

/* A lost drive: from here to the end there is nothing. */
static void fill_rest(struct reading *reading)
{
	uint64_t sector = reading->source->device->sector_size;
	uint64_t start = reading->offset - reading->offset % sector;
	uint64_t length = reading->end - start + (sector - reading->end % sector) % sector;

	memset(reading->buffer, 0, (size_t)(reading->end - reading->offset));
	if (reading->holes != NULL)
		holes_add(reading->holes, start, length);
	holes_add(&reading->source->known, start, length);
	reading->offset = reading->end;
	reading->whole = false;
}

/* Takes a finished piece over; called with the lock, which is open while the bytes are copied. */
static void take(struct reading *reading, struct piece *piece)
{
	struct source *source = reading->source;
	size_t skip = (size_t)(reading->offset - piece->start);
	size_t length = piece->length - skip;

	if (length > reading->end - reading->offset)
		length = (size_t)(reading->end - reading->offset);
	pthread_mutex_unlock(&source->lock);
	memcpy(reading->buffer, piece->buffer + skip, length);
	/* A piece is no larger than the sectors that were asked for: all its holes are ours. */
	if (piece->holes.count > 0 || piece->holes.failed)
		reading->whole = false;
	if (reading->holes != NULL)
		holes_add_all(reading->holes, &piece->holes);
	reading->offset += length;
	reading->buffer += length;
	pthread_mutex_lock(&source->lock);
	source_return(source, piece);
}

static void read_inside(struct reading *reading)
{
	struct source *source = reading->source;
	struct piece *now, *ahead = NULL;

	pthread_mutex_lock(&source->lock);
	while (reading->offset < reading->end) {
		now = ahead;
		if (now == NULL)
			now = source_ask(
			    source, reading->offset, reading->end, reading->keep, NULL, true);
		ahead = NULL;
		if (now != NULL && now->start + now->length < reading->end)
			ahead = source_ask(source, now->start + now->length, reading->end,
			    reading->keep, NULL, false);
		if (now == NULL || !source_await(source, now)) {
			/* The pieces stay where they are: the thread may hold them for ever. */
			fill_rest(reading);
			break;
		}
		take(reading, now);
	}
	pthread_mutex_unlock(&source->lock);
}

static bool read_range(struct source *source, uint64_t offset, void *buffer, size_t length,
    struct holes *holes, bool keep)
{
	uint64_t size = source->device->size;
	struct reading reading = {source, offset, offset, buffer, holes, true, keep};
	size_t inside = 0;

	if (length == 0 || serve(source, offset, buffer, length, holes, &reading.whole))
		return reading.whole;
	if (offset < size) {
		inside = length < size - offset ? length : (size_t)(size - offset);
		reading.end = offset + inside;
		read_inside(&reading);
	}
	if (inside < length) {
		memset((uint8_t *)buffer + inside, 0, length - inside);
		if (holes != NULL)
			holes_add(holes, offset + inside, length - inside);
		reading.whole = false;
	}
	return reading.whole;
}

bool source_read(
    struct source *source, uint64_t offset, void *buffer, size_t length, struct holes *holes)
{
	return read_range(source, offset, buffer, length, holes, true);
}

bool source_read_passing(
    struct source *source, uint64_t offset, void *buffer, size_t length, struct holes *holes)
{
	return read_range(source, offset, buffer, length, holes, false);
}
