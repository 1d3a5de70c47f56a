/*
 * The crew of an extraction: see crew.h.
 *
 * The slots are a ring, and four counters say where in it everybody is: filled >= taken by workers
 * >= put >= released. They only grow; a slot is number % n_slots.
 */
#include "extract/crew.h"

#include <pthread.h>
#include <sched.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/*
 * Eight are enough for a gigabyte a second; each needs 2 MiB for itself and one for a slot, and the
 * whole program has to do with 96 MiB.
 */
#define MOST_WORKERS 8
/* Small files that go into a slot at most. */
#define PARCELS 256
/* Those that are held, one for each worker, one being filled, one being written. */
#define SLOTS(workers) (CREW_HELD + (workers) + 2)

struct slot {
	uint8_t *buffer;
	size_t used;
	struct parcel parcels[PARCELS];
	size_t n_parcels;
	bool is_prepared;
};

struct crew {
	pthread_t workers[MOST_WORKERS], writing;
	unsigned n_workers;
	bool writing_runs;

	pthread_mutex_t lock; /* guards everything down to `stop`, and is_prepared of the slots */
	pthread_cond_t was_filled, was_prepared, was_put;
	uint64_t filled, taken, put, released;
	bool stop;

	struct slot *slots;
	size_t n_slots;
	bool is_filling; /* slot `filled` is the filling thread's, and has something in it */

	/* The writing thread's own. */
	struct lane *holder; /* the lane that holds parcels, NULL: none */
	uint64_t held_from;  /* the slot of the first of them */
	struct lane *wanting; /* lanes that want time */
};

static struct slot *slot_at(struct crew *crew, uint64_t number)
{
	return &crew->slots[number % crew->n_slots];
}

/* --- lanes --- */

void lane_start(struct lane *lane, const struct lane_ops *ops, struct crew *crew)
{
	lane->ops = ops;
	lane->crew = crew;
	atomic_init(&lane->is_failed, false);
	atomic_init(&lane->is_given_up, false);
}

bool lane_fail(struct lane *lane, const struct error *error)
{
	struct crew *crew = lane->crew;

	pthread_mutex_lock(&crew->lock);
	if (!atomic_load(&lane->is_failed)) {
		lane->error = *error;
		atomic_store(&lane->is_failed, true);
	}
	pthread_mutex_unlock(&crew->lock);
	return false;
}

bool lane_check(struct lane *lane, struct error *error)
{
	if (!atomic_load(&lane->is_failed))
		return true;
	if (error != NULL)
		*error = lane->error;
	return false;
}

void lane_wants_time(struct lane *lane, bool wants)
{
	struct lane **at = &lane->crew->wanting;

	if (lane->wants_time == wants)
		return;
	lane->wants_time = wants;
	if (wants) {
		lane->next = *at;
		*at = lane;
		return;
	}
	while (*at != lane)
		at = &(*at)->next;
	*at = lane->next;
}

/* --- workers --- */

static void prepare(struct slot *slot, struct packer *packer)
{
	for (size_t i = 0; i < slot->n_parcels; i++) {
		struct parcel *parcel = &slot->parcels[i];
		struct lane *lane = parcel->lane;
		struct error error;

		if (lane->ops->prepare == NULL || atomic_load(&lane->is_given_up) ||
		    lane->ops->prepare(parcel, packer))
			continue;
		error_no_memory(&error);
		lane_fail(lane, &error);
	}
}

static void *work(void *argument)
{
	struct crew *crew = argument;
	struct packer packer = {0};

	pthread_mutex_lock(&crew->lock);
	for (;;) {
		struct slot *slot;

		while (crew->taken == crew->filled && !crew->stop)
			pthread_cond_wait(&crew->was_filled, &crew->lock);
		if (crew->taken == crew->filled)
			break;
		slot = slot_at(crew, crew->taken++);
		if (slot->is_prepared)
			continue;
		pthread_mutex_unlock(&crew->lock);
		prepare(slot, &packer);
		pthread_mutex_lock(&crew->lock);
		slot->is_prepared = true;
		pthread_cond_signal(&crew->was_prepared);
	}
	pthread_mutex_unlock(&crew->lock);
	packer_free(&packer);
	return NULL;
}

/* --- the writing thread --- */

static void let_go(struct crew *crew)
{
	if (crew->holder != NULL)
		crew->holder->ops->let_go(crew->holder);
	crew->holder = NULL;
}

static void put_parcel(struct crew *crew, uint64_t number, struct parcel *parcel)
{
	struct lane *lane = parcel->lane;

	/* Slots that are held must not be those that another part is waiting for. */
	if (crew->holder != lane)
		let_go(crew);
	if (!lane->ops->put(lane, parcel)) {
		crew->holder = NULL;
	} else if (crew->holder == NULL) {
		crew->holder = lane;
		crew->held_from = number;
	}
}

/* A little of the work that can wait. False: there is none. */
static bool use_time(struct crew *crew)
{
	struct lane *lane = crew->wanting;

	if (lane == NULL)
		return false;
	if (!lane->ops->use_time(lane))
		lane_wants_time(lane, false);
	return true;
}

/* The slot that is to be put next; NULL: the end. Uses the time until then. */
static struct slot *next_prepared(struct crew *crew)
{
	struct slot *slot;

	for (;;) {
		slot = slot_at(crew, crew->put);
		if (crew->put < crew->filled && slot->is_prepared)
			return slot;
		if (crew->put == crew->filled && crew->stop)
			return NULL;
		if (crew->wanting == NULL) {
			pthread_cond_wait(&crew->was_prepared, &crew->lock);
			continue;
		}
		pthread_mutex_unlock(&crew->lock);
		use_time(crew);
		pthread_mutex_lock(&crew->lock);
	}
}

static void *write_all(void *argument)
{
	struct crew *crew = argument;
	struct slot *slot;

	pthread_mutex_lock(&crew->lock);
	while ((slot = next_prepared(crew)) != NULL) {
		uint64_t number = crew->put;

		pthread_mutex_unlock(&crew->lock);
		for (size_t i = 0; i < slot->n_parcels; i++)
			put_parcel(crew, number, &slot->parcels[i]);
		/* What waits must not fall behind either, as it could when time never comes. */
		use_time(crew);
		pthread_mutex_lock(&crew->lock);
		crew->put++;
		if (crew->taken < crew->put) /* it needed no worker */
			crew->taken = crew->put;
		crew->released = crew->holder == NULL ? crew->put : crew->held_from;
		pthread_cond_broadcast(&crew->was_put);
	}
	pthread_mutex_unlock(&crew->lock);
	return NULL;
}

/* --- the filling thread --- */

/* Sends the slot that is being filled on its way. */
static void send(struct crew *crew)
{
	struct slot *slot = slot_at(crew, crew->filled);
	bool needs_work = false;

	if (!crew->is_filling)
		return;
	for (size_t i = 0; i < slot->n_parcels; i++)
		needs_work = needs_work || slot->parcels[i].lane->ops->prepare != NULL;
	pthread_mutex_lock(&crew->lock);
	slot->is_prepared = !needs_work;
	crew->filled++;
	pthread_cond_signal(needs_work ? &crew->was_filled : &crew->was_prepared);
	pthread_mutex_unlock(&crew->lock);
	crew->is_filling = false;
}

/* The slot to fill, with room for so much more. NULL: no memory. */
static struct slot *slot_with_room(struct crew *crew, size_t length)
{
	struct slot *slot = slot_at(crew, crew->filled);

	if (crew->is_filling &&
	    (slot->used + length > CREW_BUFFER || slot->n_parcels == PARCELS)) {
		send(crew);
		slot = slot_at(crew, crew->filled);
	}
	if (!crew->is_filling) {
		pthread_mutex_lock(&crew->lock);
		while (crew->filled - crew->released == crew->n_slots)
			pthread_cond_wait(&crew->was_put, &crew->lock);
		pthread_mutex_unlock(&crew->lock);
		slot->used = slot->n_parcels = 0;
		crew->is_filling = true;
	}
	if (slot->buffer == NULL && length > 0)
		slot->buffer = malloc(CREW_BUFFER);
	return slot->buffer == NULL && length > 0 ? NULL : slot;
}

struct parcel *crew_add(struct crew *crew, struct lane *lane, int kind, void *entry, size_t length)
{
	struct slot *slot = slot_with_room(crew, length);
	struct parcel *parcel;

	if (slot == NULL)
		return NULL;
	parcel = &slot->parcels[slot->n_parcels++];
	*parcel = (struct parcel){.lane = lane, .kind = kind, .entry = entry, .length = length,
	    .packed = length, .data = length > 0 ? slot->buffer + slot->used : NULL};
	slot->used += length;
	return parcel;
}

bool crew_add_bytes(struct crew *crew, struct lane *lane, int kind, const void *data,
    size_t length)
{
	const uint8_t *bytes = data;

	while (length > 0) {
		struct slot *slot = slot_at(crew, crew->filled);
		struct parcel *parcel = crew->is_filling && slot->n_parcels > 0 ?
		    &slot->parcels[slot->n_parcels - 1] : NULL;
		size_t now = CREW_BUFFER - slot->used < length ? CREW_BUFFER - slot->used : length;

		if (parcel != NULL && now > 0 && parcel->lane == lane && parcel->kind == kind &&
		    parcel->entry == NULL && parcel->data != NULL) {
			memcpy(parcel->data + parcel->length, bytes, now);
			parcel->length = parcel->packed += now;
			slot->used += now;
		} else {
			now = length < CREW_BUFFER ? length : CREW_BUFFER;
			parcel = crew_add(crew, lane, kind, NULL, now);
			if (parcel == NULL)
				return false;
			memcpy(parcel->data, bytes, now);
		}
		bytes += now;
		length -= now;
	}
	return true;
}

size_t crew_take_back(struct crew *crew, const struct lane *lane, const void *entry)
{
	struct slot *slot = slot_at(crew, crew->filled);
	size_t count = 0;

	while (crew->is_filling && slot->n_parcels > 0) {
		struct parcel *parcel = &slot->parcels[slot->n_parcels - 1];

		if (parcel->lane != lane || parcel->entry != entry)
			break;
		slot->used -= parcel->data != NULL ? parcel->length : 0;
		slot->n_parcels--;
		count++;
	}
	return count;
}

void crew_wait(struct crew *crew)
{
	send(crew);
	pthread_mutex_lock(&crew->lock);
	while (crew->put < crew->filled)
		pthread_cond_wait(&crew->was_put, &crew->lock);
	pthread_mutex_unlock(&crew->lock);
}

/* --- beginning and end --- */

static unsigned count_processors(void)
{
	cpu_set_t set;
	long count = sched_getaffinity(0, sizeof(set), &set) == 0 ? CPU_COUNT(&set) :
								    sysconf(_SC_NPROCESSORS_ONLN);

	return count < 1 ? 1 : count > MOST_WORKERS ? MOST_WORKERS : (unsigned)count;
}

struct crew *crew_open(unsigned workers)
{
	struct crew *crew = calloc(1, sizeof(*crew));
	bool good = true;

	if (crew == NULL)
		return NULL;
	if (workers == 0)
		workers = count_processors();
	if (workers > MOST_WORKERS)
		workers = MOST_WORKERS;
	pthread_mutex_init(&crew->lock, NULL);
	pthread_cond_init(&crew->was_filled, NULL);
	pthread_cond_init(&crew->was_prepared, NULL);
	pthread_cond_init(&crew->was_put, NULL);
	crew->n_slots = SLOTS(workers);
	crew->slots = calloc(crew->n_slots, sizeof(*crew->slots));
	good = crew->slots != NULL;
	crew->writing_runs = good && pthread_create(&crew->writing, NULL, write_all, crew) == 0;
	good = crew->writing_runs;
	for (; good && crew->n_workers < workers; crew->n_workers++)
		if (pthread_create(&crew->workers[crew->n_workers], NULL, work, crew) != 0)
			break;
	if (crew->n_workers > 0) /* fewer than wanted will do */
		return crew;
	crew_close(crew);
	return NULL;
}

void crew_close(struct crew *crew)
{
	if (crew == NULL)
		return;
	pthread_mutex_lock(&crew->lock);
	crew->stop = true;
	pthread_cond_broadcast(&crew->was_filled);
	pthread_cond_broadcast(&crew->was_prepared);
	pthread_mutex_unlock(&crew->lock);
	for (unsigned i = 0; i < crew->n_workers; i++)
		pthread_join(crew->workers[i], NULL);
	if (crew->writing_runs)
		pthread_join(crew->writing, NULL);
	for (size_t i = 0; crew->slots != NULL && i < crew->n_slots; i++)
		free(crew->slots[i].buffer);
	free(crew->slots);
	pthread_cond_destroy(&crew->was_put);
	pthread_cond_destroy(&crew->was_prepared);
	pthread_cond_destroy(&crew->was_filled);
	pthread_mutex_destroy(&crew->lock);
	free(crew);
}
