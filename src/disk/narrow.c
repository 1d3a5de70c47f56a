/* Reading around bad sectors; see narrow.h. */
#include "disk/narrow.h"

#include <errno.h>
#include <string.h>

#define SHORT_RUN 65536u

enum try { WHOLE, RUN, ALONE };

static bool gave_up(ssize_t got)
{
	return got == -ENODEV || got == -ENXIO || got == -ENOMEDIUM;
}

static void leave_hole(const struct narrow *narrow, uint64_t offset, uint8_t *buffer, size_t length)
{
	memset(buffer, 0, length);
	holes_add(narrow->holes, offset, length);
}

static bool is_weary(const struct narrow *narrow)
{
	return narrow->is_weary != NULL && narrow->is_weary(narrow->context);
}

/* One request. Whole sectors that arrived, in bytes; negative when none did. */
static ssize_t ask(const struct narrow *narrow, uint64_t offset, uint8_t *buffer, size_t length)
{
	uint64_t inside = narrow->size > offset ? narrow->size - offset : 0;
	size_t wanted = length < inside ? length : (size_t)inside;
	ssize_t got = narrow->read(narrow->context, offset, buffer, length);

	if (got < 0)
		return got;
	if ((size_t)got >= wanted) {
		/* Behind the end of an image inside its last sector. */
		memset(buffer + wanted, 0, length - wanted);
		return (ssize_t)length;
	}
	return got - got % (ssize_t)narrow->sector_size;
}

/* How much of [offset, end) is asked for at once: up to the next border of this try's unit. */
static size_t step_length(const struct narrow *narrow, enum try try, uint64_t offset, uint64_t end)
{
	uint64_t unit =
	    try == RUN && narrow->sector_size < SHORT_RUN ? SHORT_RUN : narrow->sector_size;

	if (try == WHOLE || end - offset < unit - offset % unit)
		return (size_t)(end - offset);
	return (size_t)(unit - offset % unit);
}

/* Depth: one per try, three. */
static void read_try(
    const struct narrow *narrow, enum try try, uint64_t offset, uint8_t *buffer, size_t length)
{
	uint64_t end = offset + length;

	while (offset < end) {
		size_t step = step_length(narrow, try, offset, end);
		ssize_t got = ask(narrow, offset, buffer, step);
		size_t good = got > 0 ? (size_t)got : 0;

		if (gave_up(got)) {
			leave_hole(narrow, offset, buffer, (size_t)(end - offset));
			return;
		}
		if (good < step && (try == ALONE || is_weary(narrow)))
			leave_hole(narrow, offset + good, buffer + good, step - good);
		else if (good < step)
			read_try(narrow, try + 1, offset + good, buffer + good, step - good);
		offset += step;
		buffer += step;
	}
}

void narrow_read(const struct narrow *narrow, uint64_t offset, uint8_t *buffer, size_t length)
{
	read_try(narrow, WHOLE, offset, buffer, length);
}

/* --- the first try ----------------------------------------------------------------------------- */

/* From `at` on the drive is let alone: at least to `least`, further with each failure. */
static uint64_t put_off(const struct narrow *narrow, uint64_t *skip, uint64_t at, uint64_t least,
    struct holes *list)
{
	uint64_t end, size = narrow->size;

	size += (narrow->sector_size - size % narrow->sector_size) % narrow->sector_size;
	*skip = *skip < SKIP_LEAST ? SKIP_LEAST : *skip;
	end = at / SKIP_LEAST * SKIP_LEAST + *skip;
	if (end < least)
		end = least;
	if (end > size)
		end = size > least ? size : least;
	holes_add(list, at, end - at);
	*skip = *skip < SKIP_MOST / 2 ? *skip * 2 : SKIP_MOST;
	return end;
}

void narrow_first_try(const struct narrow *narrow, uint64_t *skip, uint64_t offset,
    uint8_t *buffer, size_t length, struct holes *list)
{
	uint64_t at = offset, end = offset + length;
	enum try try = WHOLE;

	while (at < end) {
		size_t step = step_length(narrow, try, at, end);
		ssize_t got = ask(narrow, at, buffer + (at - offset), step);
		size_t good = got > 0 ? (size_t)got : 0;
		uint64_t stop = at + step; /* where the next request begins */

		if (gave_up(got)) {
			leave_hole(narrow, at, buffer + (at - offset), (size_t)(end - at));
			return;
		}
		at += good;
		if (good == step && (narrow->is_slow == NULL || !narrow->is_slow(narrow->context))) {
			*skip = *skip / 2;
			continue;
		}
		if (good < step && try == WHOLE && step > SHORT_RUN && !is_weary(narrow)) {
			try = RUN;
			continue;
		}
		stop = put_off(narrow, skip, at, stop, list);
		stop = stop < end ? stop : end;
		leave_hole(narrow, at, buffer + (at - offset), (size_t)(stop - at));
		at = stop;
	}
}

/* --- rounds ------------------------------------------------------------------------------------ */

/* The unit of [offset, end) that comes next: from its start, or from its end. */
static struct hole next_unit(const struct narrow_way *way, uint64_t offset, uint64_t end)
{
	uint64_t border;

	if (!way->backwards) {
		border = offset - offset % way->unit + way->unit;
		return (struct hole){offset, (border < end ? border : end) - offset};
	}
	border = (end - 1) - (end - 1) % way->unit;
	border = border > offset ? border : offset;
	return (struct hole){border, end - border};
}

void narrow_again(const struct narrow *narrow, const struct narrow_way *way, uint64_t offset,
    uint8_t *buffer, size_t length)
{
	uint64_t at = offset, end = offset + length;

	while (at < end && !is_weary(narrow)) {
		struct hole unit = next_unit(way, at, end);
		uint8_t *to = buffer + (unit.offset - offset);
		ssize_t got = ask(narrow, unit.offset, to, (size_t)unit.length);
		size_t good = got > 0 ? (size_t)got : 0;

		if (good < unit.length)
			leave_hole(narrow, unit.offset + good, to + good,
			    (size_t)unit.length - good);
		if (way->backwards)
			end = unit.offset;
		else
			at = unit.offset + unit.length;
		if (gave_up(got) || (good < unit.length && way->stops))
			break;
	}
	if (at < end)
		leave_hole(narrow, at, buffer + (at - offset), (size_t)(end - at));
}
