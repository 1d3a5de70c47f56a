/* Holes: a sorted array, joined where ranges touch; see hole.h. */
#include "disk/hole.h"

#include "base/buf.h"

#include <stdlib.h>
#include <string.h>

void holes_free(struct holes *holes)
{
	free(holes->items);
	memset(holes, 0, sizeof(*holes));
}

void holes_clear(struct holes *holes)
{
	holes->count = 0;
	holes->failed = false;
}

static uint64_t hole_end(const struct hole *hole)
{
	return hole->offset + hole->length;
}

/* The first hole that ends at or behind `offset`. */
static size_t first_reaching(const struct holes *holes, uint64_t offset)
{
	size_t low = 0, high = holes->count;

	while (low < high) {
		size_t middle = low + (high - low) / 2;

		if (hole_end(&holes->items[middle]) < offset)
			low = middle + 1;
		else
			high = middle;
	}
	return low;
}

void holes_add(struct holes *holes, uint64_t offset, uint64_t length)
{
	uint64_t end;
	size_t from, to;

	if (length > UINT64_MAX - offset)
		length = UINT64_MAX - offset;
	if (length == 0)
		return;
	end = offset + length;
	from = first_reaching(holes, offset);
	for (to = from; to < holes->count && holes->items[to].offset <= end; to++) {
		if (holes->items[to].offset < offset)
			offset = holes->items[to].offset;
		if (hole_end(&holes->items[to]) > end)
			end = hole_end(&holes->items[to]);
	}
	if (from == to && !array_reserve(&holes->items, &holes->capacity, holes->count + 1,
			      sizeof(holes->items[0]))) {
		holes->failed = true;
		return;
	}
	memmove(&holes->items[from + 1], &holes->items[to],
	    (holes->count - to) * sizeof(holes->items[0]));
	holes->count = holes->count - (to - from) + 1;
	holes->items[from].offset = offset;
	holes->items[from].length = end - offset;
}

void holes_add_all(struct holes *holes, const struct holes *more)
{
	for (size_t i = 0; i < more->count; i++)
		holes_add(holes, more->items[i].offset, more->items[i].length);
	if (more->failed)
		holes->failed = true;
}

void holes_remove(struct holes *holes, uint64_t offset, uint64_t length)
{
	uint64_t end = length > UINT64_MAX - offset ? UINT64_MAX : offset + length;
	size_t from = first_reaching(holes, offset), to = from;
	struct hole before = {0}, behind = {0};
	size_t n_kept;

	if (length == 0)
		return;
	for (; to < holes->count && holes->items[to].offset < end; to++) {
		const struct hole *hole = &holes->items[to];

		if (hole->offset < offset)
			before = (struct hole){hole->offset, offset - hole->offset};
		if (hole_end(hole) > end)
			behind = (struct hole){end, hole_end(hole) - end};
		/* One that only ends where the range begins stays as it is. */
		if (hole_end(hole) < offset)
			before = *hole;
	}
	if (to == from)
		return;
	n_kept = (before.length > 0) + (behind.length > 0);
	if (n_kept > to - from && !array_reserve(&holes->items, &holes->capacity, holes->count + 1,
				      sizeof(holes->items[0]))) {
		holes->failed = true;
		return;
	}
	memmove(&holes->items[from + n_kept], &holes->items[to],
	    (holes->count - to) * sizeof(holes->items[0]));
	holes->count = holes->count - (to - from) + n_kept;
	if (before.length > 0)
		holes->items[from++] = before;
	if (behind.length > 0)
		holes->items[from] = behind;
}

void holes_common(const struct holes *one, const struct holes *other, struct holes *both)
{
	size_t i = 0, k = 0;

	while (i < one->count && k < other->count) {
		const struct hole *a = &one->items[i], *b = &other->items[k];
		uint64_t from = a->offset > b->offset ? a->offset : b->offset;
		uint64_t end = hole_end(a) < hole_end(b) ? hole_end(a) : hole_end(b);

		if (from < end)
			holes_add(both, from, end - from);
		if (hole_end(a) < hole_end(b))
			i++;
		else
			k++;
	}
	if (one->failed || other->failed)
		both->failed = true;
}

const struct hole *holes_next(const struct holes *holes, uint64_t offset)
{
	/* One that only ends where we begin does not count: hence the step. */
	size_t index = offset == UINT64_MAX ? holes->count : first_reaching(holes, offset + 1);

	return index < holes->count ? &holes->items[index] : NULL;
}

bool holes_meet(const struct holes *holes, uint64_t offset, uint64_t length)
{
	const struct hole *hole = holes_next(holes, offset);

	return length > 0 && hole != NULL &&
	       (hole->offset <= offset || hole->offset - offset < length);
}

uint64_t holes_total(const struct holes *holes)
{
	uint64_t total = 0;

	for (size_t i = 0; i < holes->count; i++)
		total += holes->items[i].length;
	return total;
}
