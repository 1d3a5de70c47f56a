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
		uint64_t inside = narrow->size > offset ? narrow->size - offset : 0;
		size_t wanted = step < inside ? step : (size_t)inside;
		ssize_t got = narrow->read(narrow->context, offset, buffer, step);
		size_t good = got > 0 ? (size_t)got : 0;

		if (gave_up(got)) {
			leave_hole(narrow, offset, buffer, (size_t)(end - offset));
			return;
		}
		if (good >= wanted) {
			/* Behind the end of an image inside its last sector. */
			memset(buffer + wanted, 0, step - wanted);
			good = step;
		}
		good -= good % narrow->sector_size;
		if (good < step && try == ALONE)
			leave_hole(narrow, offset, buffer, step);
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
