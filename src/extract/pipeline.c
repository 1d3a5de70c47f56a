/* The reading side: see pipeline.h. */
#include "extract/pipeline.h"

#include "disk/source.h"
#include "extract/interrupt.h"
#include "extract/items.h"
#include "extract/sweep.h"

#include <errno.h>
#include <pthread.h>
#include <stdlib.h>
#include <time.h>

/* A sparse range is handed on in steps, so that whoever is asked to stop notices. */
#define SPARSE_STEP (UINT64_C(64) << 20)

/*
 * A reader that ran out of room is woken when so much of it is free again, and not for every small
 * file: most of the time of both would go into waking each other.
 */
#define ROOM_TO_GO_ON (PIPELINE_ROOM / 4)
#define DEPTH_TO_GO_ON (PIPELINE_DEPTH / 4)

/* A chunk and the stretch of the ring that its bytes take. */
struct slot {
	struct chunk chunk;
	size_t span;
};

struct pipeline {
	const struct plan *plan;
	struct sweep *sweep;
	pthread_t thread;
	pthread_mutex_t lock; /* guards everything below */
	pthread_cond_t changed;
	struct slot slots[PIPELINE_DEPTH];
	size_t filled, taken;  /* chunks put in and given back, ever */
	uint8_t *ring;
	size_t next, used;     /* where the next bytes go, and bytes that are in use */
	bool reader_waits, user_waits;
	bool holding;          /* the user looks at slot `taken` */
	bool stop;             /* the user wants no more */
	bool at_end, no_memory;
};

/* Bytes that a chunk of `length` takes off the ring: at its end some are left unused. */
static size_t span_of(const struct pipeline *pipeline, size_t length)
{
	size_t behind = PIPELINE_ROOM - pipeline->next;

	return length <= behind ? length : behind + length;
}

/* Waits for a free slot with room for `length` bytes. NULL: stop. */
static struct slot *claim(struct pipeline *pipeline, size_t length)
{
	struct slot *slot = NULL;
	size_t span;

	pthread_mutex_lock(&pipeline->lock);
	span = span_of(pipeline, length);
	while (!pipeline->stop && (pipeline->filled - pipeline->taken == PIPELINE_DEPTH ||
		   span > PIPELINE_ROOM - pipeline->used)) {
		pipeline->reader_waits = true;
		pthread_cond_wait(&pipeline->changed, &pipeline->lock);
	}
	pipeline->reader_waits = false;
	if (!pipeline->stop) {
		slot = &pipeline->slots[pipeline->filled % PIPELINE_DEPTH];
		slot->span = span;
		if (span != length)
			pipeline->next = 0;
		slot->chunk.data = pipeline->ring + pipeline->next;
		pipeline->next = (pipeline->next + length) % PIPELINE_ROOM;
		pipeline->used += span;
	}
	pthread_mutex_unlock(&pipeline->lock);
	return slot;
}

static void hand_on(struct pipeline *pipeline)
{
	pthread_mutex_lock(&pipeline->lock);
	pipeline->filled++;
	if (pipeline->user_waits)
		pthread_cond_broadcast(&pipeline->changed);
	pthread_mutex_unlock(&pipeline->lock);
}

static void end(struct pipeline *pipeline, bool no_memory)
{
	pthread_mutex_lock(&pipeline->lock);
	pipeline->at_end = true;
	pipeline->no_memory = no_memory;
	pthread_cond_broadcast(&pipeline->changed);
	pthread_mutex_unlock(&pipeline->lock);
}

/* A stream on its way through the slots. */
struct passage {
	struct view_reader *reader; /* NULL: none is under way */
	uint64_t size, position;
};

/*
 * Hands on what comes next of the stream, as far as `to`. False: stop, or (with *no_memory) its
 * holes cannot be told.
 */
static bool pass(struct pipeline *pipeline, struct passage *passage, uint32_t item, uint64_t to,
    bool *no_memory)
{
	uint64_t left = to - passage->position;
	uint64_t sparse = left == 0 ? 0 : view_sparse(passage->reader, left); /* at most `left` */
	size_t length = sparse > 0 ? 0 : left < PIPELINE_CHUNK ? (size_t)left : PIPELINE_CHUNK;
	uint64_t dense = length > 0 ? view_dense(passage->reader, length) : 0;
	struct slot *slot;
	struct chunk *chunk;

	/* No zeros of a gap are handed on as data. */
	if (dense > 0)
		length = (size_t)dense;
	slot = claim(pipeline, length);
	if (slot == NULL)
		return false;
	chunk = &slot->chunk;
	chunk->item = item;
	chunk->length = 0;
	holes_clear(&chunk->holes);
	if (sparse > 0) {
		chunk->data = NULL;
		chunk->length = sparse < SPARSE_STEP ? sparse : SPARSE_STEP;
		view_skip(passage->reader, chunk->length);
	} else if (length > 0) {
		chunk->length =
		    view_read(passage->reader, (uint8_t *)chunk->data, length, &chunk->holes);
	}
	/*
	 * A reader that ends early would be a mistake of ours; nothing may look shorter than it is,
	 * and no zeros that stand for nothing may look like content.
	 */
	if (left > 0 && chunk->length == 0) {
		chunk->data = NULL;
		chunk->length = left;
		holes_add(&chunk->holes, passage->position, left);
	}
	passage->position += chunk->length;
	chunk->last = passage->position == passage->size;
	*no_memory = chunk->holes.failed;
	if (*no_memory)
		return false;
	hand_on(pipeline);
	return true;
}

static bool begin_stream(
    struct pipeline *pipeline, struct passage *passage, const struct item *item)
{
	*passage = (struct passage){.size = item_stored_size(pipeline->plan, item)};
	passage->reader = view_open(item_catalogue(pipeline->plan, item),
	    item_stream(pipeline->plan, item), item_view(item));
	return passage->reader != NULL;
}

static void end_stream(struct passage *passage)
{
	view_close(passage->reader);
	passage->reader = NULL;
}

/* False: stop, or no memory. */
static bool read_segment(struct pipeline *pipeline, struct passage *passage,
    const struct segment *segment, bool *no_memory)
{
	if (segment->from == 0 &&
	    !begin_stream(pipeline, passage, &pipeline->plan->items[segment->item])) {
		*no_memory = true;
		return false;
	}
	do {
		if (!pass(pipeline, passage, segment->item, segment->to, no_memory))
			return false;
	} while (passage->position < segment->to);
	if (passage->position == passage->size)
		end_stream(passage);
	return true;
}

static void *read_all(void *argument)
{
	struct pipeline *pipeline = argument;
	struct passage passage = {0};
	const struct segment *segments;
	bool no_memory = false, go_on = true;
	size_t n;

	while (go_on && (n = sweep_next(pipeline->sweep, &segments)) > 0)
		for (size_t i = 0; go_on && i < n; i++)
			go_on = read_segment(pipeline, &passage, &segments[i], &no_memory);
	end_stream(&passage);
	end(pipeline, no_memory);
	return NULL;
}

static void free_pipeline(struct pipeline *pipeline)
{
	for (size_t i = 0; i < PIPELINE_DEPTH; i++)
		holes_free(&pipeline->slots[i].chunk.holes);
	free(pipeline->ring);
	pthread_cond_destroy(&pipeline->changed);
	pthread_mutex_destroy(&pipeline->lock);
	sweep_close(pipeline->sweep);
	free(pipeline);
}

/*
 * Somebody asked to stop, and no bytes come: a drive that hangs would hold us for minutes. It is
 * given up, as are the others; the job goes no further in any case.
 */
static void abandon_drives(struct pipeline *pipeline)
{
	const struct survey *survey = pipeline->plan->survey;

	for (size_t i = 0; i < survey->n_drives; i++)
		if (survey->drives[i].source != NULL)
			source_abandon(survey->drives[i].source);
}

/* Waits for news, with the lock; looks up now and then whether somebody asked to stop. */
static void wait_for_chunk(struct pipeline *pipeline)
{
	struct timespec until;

	clock_gettime(CLOCK_MONOTONIC, &until);
	until.tv_sec++;
	if (pthread_cond_timedwait(&pipeline->changed, &pipeline->lock, &until) == ETIMEDOUT &&
	    interrupt_seen()) {
		pthread_mutex_unlock(&pipeline->lock);
		abandon_drives(pipeline);
		pthread_mutex_lock(&pipeline->lock);
	}
}

struct pipeline *pipeline_open(const struct plan *plan, const uint32_t *list, size_t n_list,
    bool again, struct error *error)
{
	struct pipeline *pipeline = calloc(1, sizeof(*pipeline));
	pthread_condattr_t attributes;

	if (pipeline == NULL) {
		error_no_memory(error);
		return NULL;
	}
	pipeline->plan = plan;
	pthread_mutex_init(&pipeline->lock, NULL);
	pthread_condattr_init(&attributes);
	pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
	pthread_cond_init(&pipeline->changed, &attributes);
	pthread_condattr_destroy(&attributes);
	pipeline->ring = malloc(PIPELINE_ROOM);
	pipeline->sweep = pipeline->ring != NULL ? sweep_open(plan, list, n_list, again, error) : NULL;
	if (pipeline->sweep == NULL ||
	    pthread_create(&pipeline->thread, NULL, read_all, pipeline) != 0) {
		error_no_memory(error);
		free_pipeline(pipeline);
		return NULL;
	}
	return pipeline;
}

/* Is it worth waking the reader? In any case when all was taken. */
static bool can_go_on(const struct pipeline *pipeline)
{
	return PIPELINE_ROOM - pipeline->used >= ROOM_TO_GO_ON &&
	    PIPELINE_DEPTH - (pipeline->filled - pipeline->taken) >= DEPTH_TO_GO_ON;
}

bool pipeline_next(struct pipeline *pipeline, const struct chunk **chunk, struct error *error)
{
	bool good = true;

	*chunk = NULL;
	pthread_mutex_lock(&pipeline->lock);
	if (pipeline->holding) {
		pipeline->holding = false;
		pipeline->used -= pipeline->slots[pipeline->taken++ % PIPELINE_DEPTH].span;
		if (pipeline->reader_waits && can_go_on(pipeline))
			pthread_cond_broadcast(&pipeline->changed);
	}
	while (pipeline->filled == pipeline->taken && !pipeline->at_end) {
		pipeline->user_waits = true;
		wait_for_chunk(pipeline);
	}
	pipeline->user_waits = false;
	if (pipeline->filled != pipeline->taken) {
		*chunk = &pipeline->slots[pipeline->taken % PIPELINE_DEPTH].chunk;
		pipeline->holding = true;
	} else if (pipeline->no_memory) {
		good = error_no_memory(error);
	}
	pthread_mutex_unlock(&pipeline->lock);
	return good;
}

void pipeline_close(struct pipeline *pipeline)
{
	if (pipeline == NULL)
		return;
	pthread_mutex_lock(&pipeline->lock);
	pipeline->stop = true;
	pthread_cond_broadcast(&pipeline->changed);
	pthread_mutex_unlock(&pipeline->lock);
	pthread_join(pipeline->thread, NULL);
	free_pipeline(pipeline);
}
