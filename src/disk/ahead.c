/* Reading ahead in the drive's order: see ahead.h. */
#include "disk/ahead.h"

#include "base/arena.h"
#include "disk/salvage.h"
#include "disk/source.h"

#include <stdlib.h>
#include <string.h>

#define MAX_RANGES 65536u
struct range {
	uint64_t offset, end;
	uint8_t *bytes;
};

struct ahead {
	uint8_t *buffer;
	size_t size, used;    /* used: wished for, before neighbours are joined */
	struct range *ranges; /* when `is_read`: ascending, apart from each other */
	size_t count, capacity;
	struct holes holes;
	uint64_t sector;  /* ranges begin and end with one, so that none is read twice */
	uint8_t *dropped; /* what lies between; NULL until it is needed */
	bool is_read;
};

struct ahead *ahead_new(size_t size)
{
	struct ahead *ahead = calloc(1, sizeof(*ahead));

	if (ahead == NULL)
		return NULL;
	ahead->buffer = malloc(size);
	ahead->size = size;
	ahead->sector = 512;
	if (ahead->buffer == NULL) {
		free(ahead);
		return NULL;
	}
	return ahead;
}

void ahead_free(struct ahead *ahead)
{
	if (ahead == NULL)
		return;
	holes_free(&ahead->holes);
	free(ahead->dropped);
	free(ahead->ranges);
	free(ahead->buffer);
	free(ahead);
}

void ahead_clear(struct ahead *ahead, uint32_t sector_size)
{
	ahead->sector = sector_size;
	ahead->used = 0;
	ahead->count = 0;
	ahead->is_read = false;
	holes_clear(&ahead->holes);
	ahead->holes.failed = false;
}

bool ahead_wish(struct ahead *ahead, uint64_t offset, size_t length)
{
	uint64_t start = offset - offset % ahead->sector, end;

	if (length == 0)
		return true;
	if (ahead->is_read || length > ahead->size || offset > UINT64_MAX - length - ahead->sector)
		return false;
	end = offset + length;
	end += (ahead->sector - end % ahead->sector) % ahead->sector;
	if (end - start > ahead->size - ahead->used || ahead->count >= MAX_RANGES)
		return false;
	if (ahead->count == ahead->capacity) {
		size_t capacity = ahead->capacity == 0 ? 256 : 2 * ahead->capacity;
		struct range *more = realloc(ahead->ranges, capacity * sizeof(*more));

		if (more == NULL)
			return false;
		ahead->ranges = more;
		ahead->capacity = capacity;
	}
	ahead->ranges[ahead->count++] = (struct range){start, end, NULL};
	ahead->used += (size_t)(end - start);
	return true;
}

struct ahead_mark ahead_mark(const struct ahead *ahead)
{
	return (struct ahead_mark){ahead->count, ahead->used};
}

void ahead_return(struct ahead *ahead, struct ahead_mark mark)
{
	ahead->count = mark.count;
	ahead->used = mark.used;
}

static int by_offset(const void *a, const void *b)
{
	const struct range *one = a, *two = b;

	if (one->offset != two->offset)
		return one->offset < two->offset ? -1 : 1;
	return one->end < two->end ? -1 : one->end > two->end;
}

/* Puts the wishes in order, joins those that touch, and gives each its place in the buffer. */
static void arrange(struct ahead *ahead)
{
	uint8_t *place = ahead->buffer;
	size_t kept = 0;

	if (ahead->count > 1)
		qsort(ahead->ranges, ahead->count, sizeof(*ahead->ranges), by_offset);
	for (size_t i = 0; i < ahead->count; i++) {
		struct range *last = kept > 0 ? &ahead->ranges[kept - 1] : NULL;

		if (last != NULL && ahead->ranges[i].offset <= last->end) {
			if (ahead->ranges[i].end > last->end)
				last->end = ahead->ranges[i].end;
		} else {
			ahead->ranges[kept++] = ahead->ranges[i];
		}
	}
	ahead->count = kept;
	for (size_t i = 0; i < kept; i++) {
		ahead->ranges[i].bytes = place;
		place += ahead->ranges[i].end - ahead->ranges[i].offset;
	}
}

/* Goes over what lies between two ranges; nobody wants to know what of it cannot be read. */
static void pass_over(struct ahead *ahead, struct source *source, uint64_t offset, uint64_t end)
{
	if (ahead->dropped == NULL)
		ahead->dropped = malloc(SOURCE_PIECE);
	while (ahead->dropped != NULL && offset < end) {
		size_t now = end - offset < SOURCE_PIECE ? (size_t)(end - offset) : SOURCE_PIECE;

		source_read_passing(source, offset, ahead->dropped, now, NULL);
		offset += now;
	}
}

void ahead_read(struct ahead *ahead, struct source *source, uint64_t gap)
{
	arrange(ahead);
	for (size_t i = 0; i < ahead->count; i++) {
		struct range *range = &ahead->ranges[i];

		/* On a drive with faults nothing is read that nobody needs. */
		if (i > 0 && range->offset - range[-1].end <= gap && !source_is_faulty(source))
			pass_over(ahead, source, range[-1].end, range->offset);
		source_read_passing(source, range->offset, range->bytes,
		    (size_t)(range->end - range->offset), &ahead->holes);
	}
	ahead->is_read = true;
}

/* The range that holds the byte at `offset`, or NULL. */
static const struct range *find(const struct ahead *ahead, uint64_t offset)
{
	size_t low = 0, high = ahead->count;

	while (low < high) {
		size_t middle = low + (high - low) / 2;

		if (ahead->ranges[middle].offset <= offset)
			low = middle + 1;
		else
			high = middle;
	}
	if (low == 0 || offset >= ahead->ranges[low - 1].end)
		return NULL;
	return &ahead->ranges[low - 1];
}

/* The holes that meet [offset, end): whole ones, since a hole covers whole sectors. */
static bool copy_holes(
    const struct ahead *ahead, uint64_t offset, uint64_t end, struct holes *holes)
{
	const struct hole *hole = holes_next(&ahead->holes, offset);
	const struct hole *behind = ahead->holes.items + ahead->holes.count;
	bool whole = !ahead->holes.failed;

	for (; hole != NULL && hole < behind && hole->offset < end; hole++) {
		uint64_t first = hole->offset > offset ? hole->offset : offset;
		uint64_t last =
		    hole->offset + hole->length < end ? hole->offset + hole->length : end;

		whole = false;
		if (holes != NULL)
			holes_add(holes, first, last - first);
	}
	if (ahead->holes.failed && holes != NULL)
		holes_add(holes, offset, end - offset);
	return whole;
}

bool ahead_copy(const struct ahead *ahead, uint64_t offset, void *buffer, size_t length,
    struct holes *holes, bool *whole)
{
	const struct range *range = ahead->is_read ? find(ahead, offset) : NULL;

	if (range == NULL || length > range->end - offset)
		return false;
	memcpy(buffer, range->bytes + (offset - range->offset), length);
	*whole = copy_holes(ahead, offset, offset + length, holes);
	return true;
}

bool ahead_has_holes(const struct ahead *ahead, uint64_t offset, uint64_t length)
{
	return ahead->holes.failed || holes_meet(&ahead->holes, offset, length);
}

void ahead_keep(const struct ahead *ahead, uint64_t offset, uint64_t length,
    struct salvage *salvage)
{
	uint64_t end = offset + length;
	const struct range *range = ahead->is_read ? find(ahead, offset) : NULL;

	if (range == NULL || ahead->holes.failed)
		return;
	offset -= offset % ahead->sector;
	end += (ahead->sector - end % ahead->sector) % ahead->sector;
	end = end < range->end ? end : range->end;
	while (offset < end) {
		const struct hole *hole = holes_next(&ahead->holes, offset);
		uint64_t stop = hole != NULL && hole->offset < end ? hole->offset : end;

		if (stop > offset)
			salvage_put(salvage, offset, range->bytes + (offset - range->offset),
			    (size_t)(stop - offset));
		offset = hole == NULL || stop == end ? end : hole->offset + hole->length;
	}
}
