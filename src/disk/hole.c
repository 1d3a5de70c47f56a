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
