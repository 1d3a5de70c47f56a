/* Run lists: see runs.h. */
#include "ntfs/runs.h"

#include "ntfs/catalogue.h"

#include <stdlib.h>

/* How a packed run says what kind it is, in the lowest bits of its length. */
enum { PACKED_SPARSE, PACKED_LOST, PACKED_REAL, PACKED_KINDS };

void run_list_free(struct run_list *list)
{
	free(list->items);
	*list = (struct run_list){0};
}

uint64_t run_list_end(const struct run_list *list)
{
	if (list->count == 0)
		return 0;
	return list->items[list->count - 1].vcn + list->items[list->count - 1].length;
}

static bool touches(const struct run *run, uint64_t lcn)
{
	if (run->lcn == RUN_SPARSE || run->lcn == RUN_LOST || lcn == RUN_SPARSE || lcn == RUN_LOST)
		return run->lcn == lcn;
	return run->lcn + run->length == lcn;
}

void run_list_add(struct run_list *list, uint64_t lcn, uint64_t length)
{
	if (length == 0)
		return;
	if (list->count > 0 && touches(&list->items[list->count - 1], lcn)) {
		list->items[list->count - 1].length += length;
		return;
	}
	if (!array_reserve(&list->items, &list->capacity, list->count + 1, sizeof(*list->items))) {
		list->failed = true;
		return;
	}
	list->items[list->count] =
	    (struct run){.vcn = run_list_end(list), .lcn = lcn, .length = length};
	list->count++;
}

/* A signed little-endian number of `size` bytes, 1 to 8. */
static int64_t get_signed(const uint8_t *bytes, unsigned size)
{
	uint64_t value = (bytes[size - 1] & 0x80) != 0 ? UINT64_MAX : 0;

	for (unsigned i = size; i-- > 0;)
		value = value << 8 | bytes[i];
	return (int64_t)value;
}

/* Takes one pair; *lcn is the running cluster number that the deltas refer to. */
static bool decode_pair(
    struct run_list *list, const uint8_t **at, const uint8_t *stop, int64_t *lcn, uint64_t clusters)
{
	unsigned length_size = **at & 0x0F, delta_size = **at >> 4;
	const uint8_t *pair = *at + 1;
	uint64_t list_end = run_list_end(list);
	int64_t length, delta;

	if (length_size < 1 || length_size > 8 || delta_size > 8 ||
	    (size_t)(stop - pair) < length_size + delta_size)
		return false;
	*at = pair + length_size + delta_size;
	length = get_signed(pair, length_size);
	if (length <= 0 || (uint64_t)length > RUNS_MAX_CLUSTERS - list_end)
		return false;
	if (delta_size == 0) {
		run_list_add(list, RUN_SPARSE, (uint64_t)length);
		return true;
	}
	delta = get_signed(pair + length_size, delta_size);
	if (__builtin_add_overflow(*lcn, delta, lcn))
		return false;
	if (*lcn < 0 || (uint64_t)*lcn >= clusters || (uint64_t)length > clusters - (uint64_t)*lcn)
		return false;
	run_list_add(list, (uint64_t)*lcn, (uint64_t)length);
	return true;
}

/* Cuts the list off at `end`. */
static void trim(struct run_list *list, uint64_t end)
{
	while (list->count > 0 && run_list_end(list) > end) {
		struct run *last = &list->items[list->count - 1];

		if (last->vcn < end) {
			last->length = end - last->vcn;
			return;
		}
		list->count--;
	}
}

bool runs_decode(
    struct run_list *list, const uint8_t *pairs, size_t length, uint64_t end, uint64_t clusters)
{
	const uint8_t *at = pairs, *stop = pairs + length;
	int64_t lcn = 0;
	bool good = true;

	if (end > RUNS_MAX_CLUSTERS) {
		end = 0;
		good = false;
	}
	while (good && at < stop && *at != 0)
		good = decode_pair(list, &at, stop, &lcn, clusters);
	if (at >= stop)
		good = false; /* the closing zero is missing */
	if (end == 0)
		return good;
	if (run_list_end(list) < end) {
		run_list_add(list, RUN_LOST, end - run_list_end(list));
		good = false;
	} else if (run_list_end(list) > end) {
		trim(list, end);
		good = false;
	}
	return good;
}

/* Seven bits a byte, lowest first, the top bit set on all but the last. */
static void pack_number(struct buf *packed, uint64_t number)
{
	while (number >= 0x80) {
		buf_add_byte(packed, (uint8_t)(number | 0x80));
		number >>= 7;
	}
	buf_add_byte(packed, (uint8_t)number);
}

static bool unpack_number(struct run_cursor *cursor, uint64_t *number)
{
	unsigned shift = 0;

	*number = 0;
	while (cursor->at < cursor->end && shift < 64) {
		uint8_t byte = *cursor->at++;

		*number |= (uint64_t)(byte & 0x7F) << shift;
		if (byte < 0x80)
			return true;
		shift += 7;
	}
	return false;
}

void runs_pack(struct buf *packed, const struct run *runs, size_t count)
{
	uint64_t lcn = 0;

	for (size_t i = 0; i < count; i++) {
		const struct run *run = &runs[i];
		int64_t delta;

		if (run->lcn == RUN_SPARSE) {
			pack_number(packed, run->length * PACKED_KINDS + PACKED_SPARSE);
			continue;
		}
		if (run->lcn == RUN_LOST) {
			pack_number(packed, run->length * PACKED_KINDS + PACKED_LOST);
			continue;
		}
		pack_number(packed, run->length * PACKED_KINDS + PACKED_REAL);
		delta = (int64_t)(run->lcn - lcn);
		/* The sign goes into the lowest bit, so that small steps back stay short. */
		pack_number(packed, (uint64_t)delta << 1 ^ (delta < 0 ? UINT64_MAX : 0));
		lcn = run->lcn;
	}
	buf_add_byte(packed, 0);
}

void run_cursor_start(struct run_cursor *cursor, const uint8_t *packed, size_t length)
{
	*cursor = (struct run_cursor){.at = packed, .end = packed + length};
}

bool run_cursor_next(struct run_cursor *cursor, struct run *run)
{
	uint64_t head, step;

	if (!unpack_number(cursor, &head) || head / PACKED_KINDS == 0) {
		cursor->at = cursor->end;
		return false;
	}
	*run = (struct run){.vcn = cursor->vcn, .length = head / PACKED_KINDS};
	switch (head % PACKED_KINDS) {
	case PACKED_SPARSE:
		run->lcn = RUN_SPARSE;
		break;
	case PACKED_LOST:
		run->lcn = RUN_LOST;
		break;
	default:
		if (!unpack_number(cursor, &step)) {
			cursor->at = cursor->end;
			return false;
		}
		cursor->lcn += step >> 1 ^ ((step & 1) != 0 ? UINT64_MAX : 0);
		run->lcn = cursor->lcn;
		break;
	}
	cursor->vcn += run->length;
	return true;
}

void run_cursor_stream(
    struct run_cursor *cursor, const struct catalogue *catalogue, const struct stream *stream)
{
	size_t at = stream->location < catalogue->runs_length ? (size_t)stream->location
							      : catalogue->runs_length;

	run_cursor_start(cursor, catalogue->runs + at, catalogue->runs_length - at);
}
