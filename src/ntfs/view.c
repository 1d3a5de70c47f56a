/* Ways to read a stream: see view.h. */
#include "ntfs/view.h"

#include <stdlib.h>

struct view_reader {
	enum view view;
	struct stream stream; /* as the view has it */
	struct data_reader *data;
	struct holes ranges; /* VIEW_RANGES */
	size_t range;        /* the one that is read */
	uint64_t position;   /* VIEW_RANGES: where `data` stands */
};

static uint64_t whole_sectors(uint64_t size)
{
	return size > UINT64_MAX - VIEW_SECTOR
		   ? size
		   : (size + VIEW_SECTOR - 1) / VIEW_SECTOR * VIEW_SECTOR;
}

/* With VIEW_RAW the stream as if its sectors were its bytes. */
static struct stream as_viewed(const struct stream *stream, enum view view)
{
	struct stream raw = *stream;

	if ((view & VIEW_RAW) == 0 || (stream->flags & STREAM_RESIDENT) != 0)
		return raw;
	raw.size = whole_sectors(stream->size);
	raw.initialized = whole_sectors(stream->initialized);
	raw.flags &= (uint16_t)~STREAM_COMPRESSED; /* no stream is both */
	return raw;
}

static void add_range(struct holes *ranges, uint64_t from, uint64_t to)
{
	if (from < to)
		holes_add(ranges, from, to - from);
}

/* What lies between the gaps; what no run describes is lost, and counts as data. */
static void find_ranges(
    const struct catalogue *catalogue, const struct stream *stream, struct holes *ranges)
{
	struct holes gaps = {0};
	uint64_t end = 0;

	data_missing(catalogue, stream, &gaps);
	for (size_t i = 0; i < gaps.count && gaps.items[i].offset < stream->initialized; i++) {
		add_range(ranges, end, gaps.items[i].offset);
		end = gaps.items[i].offset + gaps.items[i].length;
	}
	add_range(ranges, end, stream->initialized);
	ranges->failed = ranges->failed || gaps.failed;
	holes_free(&gaps);
}

void view_ranges(const struct catalogue *catalogue, const struct stream *stream, enum view view,
    struct holes *ranges)
{
	struct stream viewed = as_viewed(stream, view);

	find_ranges(catalogue, &viewed, ranges);
}

uint64_t view_size(const struct catalogue *catalogue, const struct stream *stream, enum view view)
{
	struct stream viewed = as_viewed(stream, view);
	struct holes ranges = {0};
	uint64_t total;

	if ((view & VIEW_RANGES) == 0)
		return viewed.size;
	find_ranges(catalogue, &viewed, &ranges);
	total = holes_total(&ranges);
	holes_free(&ranges);
	return total;
}

struct view_reader *view_open(
    const struct catalogue *catalogue, const struct stream *stream, enum view view)
{
	struct view_reader *reader = calloc(1, sizeof(*reader));

	if (reader == NULL)
		return NULL;
	reader->view = view;
	reader->stream = as_viewed(stream, view);
	if ((view & VIEW_RANGES) != 0)
		find_ranges(catalogue, &reader->stream, &reader->ranges);
	/* A stream as it is is handed on itself, since others may know it by its place. */
	reader->data = data_open(catalogue, (view & VIEW_RAW) != 0 ? &reader->stream : stream);
	if (reader->data == NULL || reader->ranges.failed) {
		view_close(reader);
		return NULL;
	}
	return reader;
}

void view_close(struct view_reader *reader)
{
	if (reader == NULL)
		return;
	data_close(reader->data);
	holes_free(&reader->ranges);
	free(reader);
}

/* Goes on to the next range with bytes left. NULL: there is none. */
static const struct hole *next_range(struct view_reader *reader)
{
	while (reader->range < reader->ranges.count) {
		const struct hole *range = &reader->ranges.items[reader->range];

		if (reader->position < range->offset) {
			data_skip(reader->data, range->offset - reader->position);
			reader->position = range->offset;
		}
		if (reader->position < range->offset + range->length)
			return range;
		reader->range++;
	}
	return NULL;
}

size_t view_read(struct view_reader *reader, void *buffer, size_t length, struct holes *holes)
{
	size_t done = 0;

	if ((reader->view & VIEW_RANGES) == 0)
		return data_read(reader->data, buffer, length, holes);
	while (done < length) {
		const struct hole *range = next_range(reader);
		size_t now = length - done, got;

		if (range == NULL)
			break;
		if (now > range->offset + range->length - reader->position)
			now = (size_t)(range->offset + range->length - reader->position);
		got = data_read(reader->data, (uint8_t *)buffer + done, now, holes);
		if (got == 0)
			break;
		reader->position += got;
		done += got;
	}
	return done;
}

uint64_t view_sparse(struct view_reader *reader, uint64_t length)
{
	return (reader->view & VIEW_RANGES) != 0 ? 0 : data_sparse(reader->data, length);
}

uint64_t view_dense(const struct view_reader *reader, uint64_t length)
{
	return (reader->view & VIEW_RANGES) != 0 ? length : data_dense(reader->data, length);
}

void view_skip(struct view_reader *reader, uint64_t length)
{
	if ((reader->view & VIEW_RANGES) == 0)
		data_skip(reader->data, length);
}
