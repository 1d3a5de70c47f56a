/* The reading side: see pipeline.h. */
#include "extract/pipeline.h"

#include "extract/items.h"

#include <pthread.h>
#include <stdlib.h>

/* A sparse range is handed on in steps, so that whoever is asked to stop notices. */
#define SPARSE_STEP (UINT64_C(64) << 20)

struct slot {
	struct chunk chunk;
	uint8_t *buffer;
};

struct pipeline {
	const struct plan *plan;
	const uint32_t *list;
	size_t n_list;
	pthread_t thread;
	pthread_mutex_t lock; /* guards everything below */
	pthread_cond_t changed;
	struct slot slots[PIPELINE_DEPTH];
	size_t filled, taken;  /* chunks put in and given back, ever */
	bool holding;          /* the caller looks at slot `taken` */
	bool stop;             /* the caller wants no more */
	bool at_end, no_memory;
};

/* Waits for a free slot. NULL: stop. */
static struct slot *claim(struct pipeline *pipeline)
{
	struct slot *slot = NULL;

	pthread_mutex_lock(&pipeline->lock);
	while (!pipeline->stop && pipeline->filled - pipeline->taken == PIPELINE_DEPTH)
		pthread_cond_wait(&pipeline->changed, &pipeline->lock);
	if (!pipeline->stop)
		slot = &pipeline->slots[pipeline->filled % PIPELINE_DEPTH];
	pthread_mutex_unlock(&pipeline->lock);
	return slot;
}

static void hand_on(struct pipeline *pipeline)
{
	pthread_mutex_lock(&pipeline->lock);
	pipeline->filled++;
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

/* Fills one slot with what comes next of the stream of `size` bytes, `left` before its end. */
static void fill(struct slot *slot, struct data_reader *reader, uint64_t size, uint64_t left)
{
	struct chunk *chunk = &slot->chunk;
	uint64_t sparse = left == 0 ? 0 : data_sparse(reader, left); /* at most `left` */

	holes_clear(&chunk->holes);
	chunk->data = slot->buffer;
	chunk->length = 0;
	if (sparse > 0) {
		chunk->data = NULL;
		chunk->length = sparse < SPARSE_STEP ? sparse : SPARSE_STEP;
		data_skip(reader, chunk->length);
	} else if (left > 0) {
		chunk->length = data_read(reader, slot->buffer,
		    left < PIPELINE_BUFFER ? (size_t)left : PIPELINE_BUFFER, &chunk->holes);
	}
	/*
	 * A reader that ends early would be a mistake of ours; nothing may look shorter than it is,
	 * and no zeros that stand for nothing may look like content.
	 */
	if (left > 0 && chunk->length == 0) {
		chunk->data = NULL;
		chunk->length = left;
		holes_add(&chunk->holes, size - left, left);
	}
	chunk->last = chunk->length == left;
}

/* False: stop, or no memory. */
static bool read_item(struct pipeline *pipeline, uint32_t index, bool *no_memory)
{
	const struct item *item = &pipeline->plan->items[index];
	uint64_t size = item_size(pipeline->plan, item), left = size;
	struct data_reader *reader;
	struct slot *slot;

	reader = data_open(item_catalogue(pipeline->plan, item), item_stream(pipeline->plan, item));
	if (reader == NULL) {
		*no_memory = true;
		return false;
	}
	do {
		slot = claim(pipeline);
		if (slot == NULL)
			break;
		slot->chunk.item = index;
		fill(slot, reader, size, left);
		left -= slot->chunk.length;
		*no_memory = slot->chunk.holes.failed;
		if (*no_memory)
			slot = NULL;
		else
			hand_on(pipeline);
	} while (slot != NULL && left > 0);
	data_close(reader);
	return slot != NULL;
}

static void *read_all(void *argument)
{
	struct pipeline *pipeline = argument;
	bool no_memory = false;

	for (size_t i = 0; i < pipeline->n_list; i++)
		if (!read_item(pipeline, pipeline->list[i], &no_memory))
			break;
	end(pipeline, no_memory);
	return NULL;
}

static void free_pipeline(struct pipeline *pipeline)
{
	for (size_t i = 0; i < PIPELINE_DEPTH; i++) {
		free(pipeline->slots[i].buffer);
		holes_free(&pipeline->slots[i].chunk.holes);
	}
	pthread_cond_destroy(&pipeline->changed);
	pthread_mutex_destroy(&pipeline->lock);
	free(pipeline);
}

struct pipeline *pipeline_open(const struct plan *plan, const uint32_t *list, size_t n_list,
    struct error *error)
{
	struct pipeline *pipeline = calloc(1, sizeof(*pipeline));
	bool good = pipeline != NULL;

	if (!good) {
		error_no_memory(error);
		return NULL;
	}
	pipeline->plan = plan;
	pipeline->list = list;
	pipeline->n_list = n_list;
	pthread_mutex_init(&pipeline->lock, NULL);
	pthread_cond_init(&pipeline->changed, NULL);
	for (size_t i = 0; i < PIPELINE_DEPTH; i++) {
		pipeline->slots[i].buffer = malloc(PIPELINE_BUFFER);
		good = good && pipeline->slots[i].buffer != NULL;
	}
	if (!good || pthread_create(&pipeline->thread, NULL, read_all, pipeline) != 0) {
		error_no_memory(error);
		free_pipeline(pipeline);
		return NULL;
	}
	return pipeline;
}

bool pipeline_next(struct pipeline *pipeline, const struct chunk **chunk, struct error *error)
{
	bool good = true;

	*chunk = NULL;
	pthread_mutex_lock(&pipeline->lock);
	if (pipeline->holding) {
		pipeline->holding = false;
		pipeline->taken++;
		pthread_cond_broadcast(&pipeline->changed);
	}
	while (pipeline->filled == pipeline->taken && !pipeline->at_end)
		pthread_cond_wait(&pipeline->changed, &pipeline->lock);
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
