/* What of a drive did not read, and going back to it: see source.h. */
#include "disk/source_inner.h"

/*
 * Each sector that does not read is asked for at most six times: in a whole request and in a short
 * run at the first try, and once in each round (in the first of them only as far as it reads from
 * the far side).
 */
static const struct narrow_way ways[SOURCE_ROUNDS] = {
    {.unit = 64u << 10, .backwards = true, .stops = true},
    {.unit = 16u << 10},
    {.unit = 512},
    {.unit = 512, .backwards = true},
};
#define ROUND_PIECE (64u << 10) /* bytes: short, so that whoever is asked to stop notices */

void source_set_manner(struct source *source, enum source_manner manner)
{
	pthread_mutex_lock(&source->lock);
	if (source->manner == SOURCE_THOROUGH && manner == SOURCE_FIRST_TRY) {
		/* What did not read before gets its later chances, too. */
		holes_add_all(&source->put_off, &source->known);
		holes_clear(&source->known);
	} else if (manner == SOURCE_THOROUGH) {
		holes_add_all(&source->known, &source->put_off);
		holes_clear(&source->put_off);
	}
	source->manner = manner;
	pthread_mutex_unlock(&source->lock);
}

void source_set_taker(struct source *source, const struct source_taker *taker)
{
	pthread_mutex_lock(&source->lock);
	source->taker = *taker;
	pthread_mutex_unlock(&source->lock);
}

void source_put_off_before(struct source *source, const struct holes *ranges)
{
	pthread_mutex_lock(&source->lock);
	holes_add_all(&source->put_off, ranges);
	pthread_mutex_unlock(&source->lock);
}

void source_release_others(struct source *source, const struct holes *wanted)
{
	struct holes kept = {0};

	pthread_mutex_lock(&source->lock);
	holes_common(wanted, &source->put_off, &kept);
	/* What was missed while the drive was looked at was tried then. */
	holes_common(&source->missed, &source->put_off, &kept);
	/* Without memory all of it stays put off. */
	if (!kept.failed) {
		holes_clear(&source->put_off);
		holes_add_all(&source->put_off, &kept);
	}
	pthread_mutex_unlock(&source->lock);
	holes_free(&kept);
}

void source_set_effort(struct source *source, uint64_t milliseconds)
{
	pthread_mutex_lock(&source->lock);
	source->effort = milliseconds;
	pthread_mutex_unlock(&source->lock);
}

void source_set_slow(struct source *source, unsigned milliseconds)
{
	pthread_mutex_lock(&source->lock);
	source->slow = milliseconds;
	pthread_mutex_unlock(&source->lock);
}

bool source_is_weary(struct source *source)
{
	bool weary;

	pthread_mutex_lock(&source->lock);
	weary = source->spent >= source->effort;
	pthread_mutex_unlock(&source->lock);
	return weary;
}

void source_set_faulty(struct source *source)
{
	pthread_mutex_lock(&source->lock);
	source->faulty = true;
	pthread_mutex_unlock(&source->lock);
}

bool source_is_faulty(struct source *source)
{
	bool faulty;

	pthread_mutex_lock(&source->lock);
	faulty = source->faulty || source->lost;
	pthread_mutex_unlock(&source->lock);
	return faulty;
}

void source_set_salvage(struct source *source, struct salvage *salvage)
{
	pthread_mutex_lock(&source->lock);
	source->salvage = salvage;
	pthread_mutex_unlock(&source->lock);
}

struct salvage *source_salvage(struct source *source)
{
	return source->salvage;
}

void source_holes(struct source *source, struct holes *holes)
{
	pthread_mutex_lock(&source->lock);
	holes_add_all(holes, &source->known);
	holes_add_all(holes, &source->put_off);
	pthread_mutex_unlock(&source->lock);
}

void source_put_off(struct source *source, struct holes *holes)
{
	pthread_mutex_lock(&source->lock);
	holes_add_all(holes, &source->put_off);
	pthread_mutex_unlock(&source->lock);
}

bool source_has_holes(struct source *source)
{
	bool has;

	pthread_mutex_lock(&source->lock);
	has = source->known.count > 0 || source->put_off.count > 0 || source->known.failed ||
	      source->put_off.failed;
	pthread_mutex_unlock(&source->lock);
	return has;
}

bool source_is_put_off(struct source *source, uint64_t offset, uint64_t length)
{
	bool is;

	pthread_mutex_lock(&source->lock);
	is = holes_meet(&source->put_off, offset, length);
	pthread_mutex_unlock(&source->lock);
	return is;
}

void source_abandon(struct source *source)
{
	pthread_mutex_lock(&source->lock);
	source_lose(source);
	pthread_mutex_unlock(&source->lock);
}

/* One piece of a round. False: the source is lost, or `way` says to leave the range. */
static bool try_piece(
    struct source *source, const struct narrow_way *way, uint64_t offset, uint64_t end)
{
	struct piece *piece;
	bool go_on;

	pthread_mutex_lock(&source->lock);
	piece = source_ask(source, offset, end, true, way, true);
	go_on = piece != NULL && source_await(source, piece);
	if (go_on) {
		go_on = piece->holes.count == 0 || !way->stops;
		source_return(source, piece);
	}
	pthread_mutex_unlock(&source->lock);
	return go_on;
}

static void try_range(struct source *source, const struct narrow_way *way,
    const struct hole *range, bool (*stop)(void))
{
	uint64_t at = range->offset, end = at + range->length;
	bool go_on = true;

	while (go_on && at < end && !stop() && !source_is_weary(source)) {
		uint64_t from = at, to = end;

		if (way->backwards) {
			from = (end - 1) - (end - 1) % ROUND_PIECE;
			from = end = from > at ? from : at;
		} else {
			to = at - at % ROUND_PIECE + ROUND_PIECE;
			to = at = to < end ? to : end;
		}
		go_on = try_piece(source, way, from, to);
	}
}

/*
 * What of `wanted` is put off and not in the store. A skip may reach over what was read before, by
 * way of another file: that is put off no more.
 */
static void find_todo(struct source *source, const struct holes *wanted, struct holes *todo)
{
	struct holes both = {0};

	pthread_mutex_lock(&source->lock);
	holes_common(wanted, &source->put_off, &both);
	pthread_mutex_unlock(&source->lock);
	if (source->salvage == NULL || salvage_bytes(source->salvage) == 0) {
		holes_add_all(todo, &both);
		holes_free(&both);
		return;
	}
	for (size_t i = 0; i < both.count; i++)
		salvage_missing(
		    source->salvage, both.items[i].offset, both.items[i].length, todo);
	if (!todo->failed) {
		pthread_mutex_lock(&source->lock);
		for (size_t i = 0; i < both.count; i++)
			holes_remove(
			    &source->put_off, both.items[i].offset, both.items[i].length);
		holes_add_all(&source->put_off, todo);
		pthread_mutex_unlock(&source->lock);
	}
	holes_free(&both);
}

uint64_t source_round(
    struct source *source, const struct holes *wanted, unsigned round, bool (*stop)(void))
{
	struct narrow_way way = ways[round];
	struct holes todo = {0};
	uint64_t left;

	if (way.unit < source->device->sector_size)
		way.unit = source->device->sector_size;
	find_todo(source, wanted, &todo);
	for (size_t i = 0; i < todo.count; i++)
		try_range(source, &way, &todo.items[i], stop);
	holes_clear(&todo);
	pthread_mutex_lock(&source->lock);
	holes_common(wanted, &source->put_off, &todo);
	pthread_mutex_unlock(&source->lock);
	left = holes_total(&todo);
	holes_free(&todo);
	return left;
}
