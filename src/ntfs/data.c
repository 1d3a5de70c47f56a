/* The bytes of a stream: see data.h. */
#include "ntfs/data.h"

#include "ntfs/lznt1.h"
#include "ntfs/record.h"
#include "ntfs/runs.h"
#include "ntfs/table.h"
#include "ntfs/wof.h"

#include <stdlib.h>
#include <string.h>

#define MAX_READ ((uint64_t)4 << 20) /* bytes in one request to the drive */
#define MAX_UNIT ((uint64_t)4 << 20) /* bytes of a compression unit that are believed */

struct data_reader {
	const struct catalogue *catalogue;
	const struct stream *stream;
	uint64_t position;
	struct run_cursor cursor;
	struct run run; /* the one with `position`; length 0: none is left */
	/* Compressed streams. */
	uint64_t unit_size;  /* bytes, 0 when the stream is not compressed */
	uint64_t unit_start; /* of the unit in `unit`, UINT64_MAX for none */
	bool unit_is_sparse;
	uint8_t *unit, *packed;
	struct holes unit_holes; /* of the unit, as stream offsets */
	struct wof_reader *carried; /* STREAM_CARRIED */
};

static bool is_resident(const struct stream *stream)
{
	return (stream->flags & STREAM_RESIDENT) != 0;
}

/* --- reading -------------------------------------------------------------------------------------
 */

struct data_reader *data_open(const struct catalogue *catalogue, const struct stream *stream)
{
	struct data_reader *reader = calloc(1, sizeof(*reader));

	if (reader == NULL)
		return NULL;
	reader->catalogue = catalogue;
	reader->stream = stream;
	reader->unit_start = UINT64_MAX;
	if (is_resident(stream))
		return reader;
	if ((stream->flags & STREAM_CARRIED) != 0) {
		reader->carried = wof_open(catalogue, data_carrier(catalogue, stream),
		    (enum wof_method)stream->method, stream->size);
		if (reader->carried != NULL)
			return reader;
		free(reader);
		return NULL;
	}
	run_cursor_stream(&reader->cursor, catalogue, stream);
	if ((stream->flags & STREAM_COMPRESSED) != 0 && stream->unit_shift > 0) {
		reader->unit_size = MAX_UNIT + 1;
		if (stream->unit_shift < 16)
			reader->unit_size = (uint64_t)catalogue->volume->cluster_size
					    << stream->unit_shift;
	}
	if (reader->unit_size > 0 && reader->unit_size <= MAX_UNIT) {
		reader->unit = malloc((size_t)reader->unit_size);
		reader->packed = malloc((size_t)reader->unit_size);
		if (reader->unit == NULL || reader->packed == NULL) {
			data_close(reader);
			return NULL;
		}
	}
	return reader;
}

void data_close(struct data_reader *reader)
{
	if (reader == NULL)
		return;
	free(reader->unit);
	free(reader->packed);
	wof_close(reader->carried);
	holes_free(&reader->unit_holes);
	free(reader);
}

/* Moves on to the run with the cluster. False when no run reaches that far. */
static bool seek_run(struct data_reader *reader, uint64_t vcn)
{
	while (reader->run.vcn + reader->run.length <= vcn) {
		if (!run_cursor_next(&reader->cursor, &reader->run))
			return false;
	}
	return true;
}

/* Reads clusters' bytes from the drive, holes at their place in the stream. */
static void read_clusters(const struct data_reader *reader, uint64_t at, uint64_t position,
    uint8_t *buffer, size_t length, struct holes *holes)
{
	struct holes met = {0};

	if (!volume_read(reader->catalogue->volume, at, buffer, length, &met)) {
		for (size_t i = 0; i < met.count; i++)
			holes_add(holes, met.items[i].offset - at + position, met.items[i].length);
		if (met.failed)
			holes_add(holes, position, length);
	}
	holes_free(&met);
}

/* Up to `length` bytes at the position, as far as one run or one kind of nothing goes. */
static size_t read_plain(
    struct data_reader *reader, uint8_t *buffer, size_t length, struct holes *holes)
{
	uint64_t cluster = reader->catalogue->volume->cluster_size;
	uint64_t skip, left;

	if (!seek_run(reader, reader->position / cluster)) {
		memset(buffer, 0, length);
		holes_add(holes, reader->position, length);
		return length;
	}
	skip = reader->position - reader->run.vcn * cluster;
	left = reader->run.length * cluster - skip;
	if (left < length)
		length = (size_t)left;
	if (reader->run.lcn == RUN_SPARSE || reader->run.lcn == RUN_LOST) {
		memset(buffer, 0, length);
		if (reader->run.lcn == RUN_LOST)
			holes_add(holes, reader->position, length);
		return length;
	}
	if (length > MAX_READ)
		length = MAX_READ;
	read_clusters(
	    reader, reader->run.lcn * cluster + skip, reader->position, buffer, length, holes);
	return length;
}

/* --- compression units ---------------------------------------------------------------------------
 */

/* The runs of the unit at hand, gathered into `packed`. */
struct unit_map {
	uint64_t real;  /* clusters in front that have a place on the drive */
	bool has_gap;   /* clusters without a place follow */
	bool is_broken; /* lost clusters, or clusters behind a gap */
	struct holes holes;
};

/* Reads the clusters that the unit has. Their bytes come from as few requests as there are runs. */
static void read_unit(struct data_reader *reader, struct unit_map *map)
{
	uint64_t cluster = reader->catalogue->volume->cluster_size;
	uint64_t vcn = reader->unit_start / cluster, end = vcn + reader->unit_size / cluster;

	while (vcn < end) {
		uint64_t skip, length;

		if (!seek_run(reader, vcn)) {
			map->has_gap = true;
			return;
		}
		skip = vcn - reader->run.vcn;
		length = reader->run.length - skip;
		if (length > end - vcn)
			length = end - vcn;
		vcn += length;
		if (reader->run.lcn == RUN_SPARSE) {
			map->has_gap = true;
			continue;
		}
		if (reader->run.lcn == RUN_LOST || map->has_gap) {
			map->is_broken = true;
			continue;
		}
		read_clusters(reader, (reader->run.lcn + skip) * cluster,
		    reader->unit_start + map->real * cluster, reader->packed + map->real * cluster,
		    (size_t)(length * cluster), &map->holes);
		map->real += length;
	}
}

/* Bytes of the unit that the stream really has there. */
static size_t unit_length(const struct data_reader *reader)
{
	uint64_t left = reader->stream->initialized - reader->unit_start;

	return left < reader->unit_size ? (size_t)left : (size_t)reader->unit_size;
}

/* Decodes what read_unit() got. What cannot be decoded is zero, and one hole. */
static void decode_unit(struct data_reader *reader, const struct unit_map *map)
{
	uint64_t cluster = reader->catalogue->volume->cluster_size;
	size_t need = unit_length(reader), made = 0;

	if (map->is_broken || map->holes.count > 0 || map->holes.failed ||
	    !lznt1_decode(reader->packed, (size_t)(map->real * cluster), reader->unit,
		(size_t)reader->unit_size, &made)) {
		memset(reader->unit, 0, (size_t)reader->unit_size);
		holes_add(&reader->unit_holes, reader->unit_start, need);
		return;
	}
	memset(reader->unit + made, 0, (size_t)reader->unit_size - made);
	if (made < need)
		holes_add(&reader->unit_holes, reader->unit_start + made, need - made);
}

/* Makes the unit with the position ready. */
static void load_unit(struct data_reader *reader)
{
	uint64_t start = reader->position / reader->unit_size * reader->unit_size;
	struct unit_map map = {0};

	if (reader->unit_start == start)
		return;
	reader->unit_start = start;
	holes_clear(&reader->unit_holes);
	read_unit(reader, &map);
	reader->unit_is_sparse = map.real == 0 && !map.is_broken;
	if (reader->unit_is_sparse) {
		memset(reader->unit, 0, (size_t)reader->unit_size);
		/* No runs at all so far out: the list is too short. */
		if (reader->run.vcn + reader->run.length <=
		    start / reader->catalogue->volume->cluster_size) {
			holes_add(&reader->unit_holes, start, unit_length(reader));
			reader->unit_is_sparse = false;
		}
	} else if (!map.has_gap && !map.is_broken) {
		uint8_t *plain = reader->packed;

		/* As many clusters as it stands for: stored as it is. */
		reader->packed = reader->unit;
		reader->unit = plain;
		for (size_t i = 0; i < map.holes.count; i++)
			holes_add(&reader->unit_holes, map.holes.items[i].offset,
			    map.holes.items[i].length);
	} else {
		decode_unit(reader, &map);
	}
	holes_free(&map.holes);
}

/* Copies the part of the holes that lies in [start, start + length). */
static void copy_holes(struct holes *to, const struct holes *from, uint64_t start, uint64_t length)
{
	for (size_t i = 0; i < from->count; i++) {
		uint64_t first = from->items[i].offset, end = first + from->items[i].length;

		if (first < start)
			first = start;
		if (end > start + length)
			end = start + length;
		if (first < end)
			holes_add(to, first, end - first);
	}
	if (from->failed)
		holes_add(to, start, length);
}

static size_t read_compressed(
    struct data_reader *reader, uint8_t *buffer, size_t length, struct holes *holes)
{
	uint64_t skip, left;

	if (reader->unit == NULL) { /* a unit of a size that cannot be */
		memset(buffer, 0, length);
		holes_add(holes, reader->position, length);
		return length;
	}
	load_unit(reader);
	skip = reader->position - reader->unit_start;
	left = reader->unit_size - skip;
	if (left < length)
		length = (size_t)left;
	memcpy(buffer, reader->unit + skip, length);
	copy_holes(holes, &reader->unit_holes, reader->position, length);
	return length;
}

/* --- resident data -------------------------------------------------------------------------------
 */

static size_t read_resident(
    struct data_reader *reader, uint8_t *buffer, size_t length, struct holes *holes)
{
	const struct volume *volume = reader->catalogue->volume;
	const struct stream *stream = reader->stream;
	size_t offset = stream->location & 0xFFFF;
	uint8_t *bytes = malloc(volume->record_size);
	struct record record;

	if (bytes == NULL ||
	    table_load(volume, stream->location >> 16, bytes, &record) != RECORD_GOOD ||
	    offset > record.used || stream->size > record.used - offset) {
		memset(buffer, 0, length);
		holes_add(holes, reader->position, length);
	} else {
		memcpy(buffer, bytes + offset + reader->position, length);
	}
	free(bytes);
	return length;
}

/* --- the reader ----------------------------------------------------------------------------------
 */

size_t data_read(struct data_reader *reader, void *buffer, size_t length, struct holes *holes)
{
	const struct stream *stream = reader->stream;
	uint8_t *to = buffer;
	size_t done = 0;

	if (length > stream->size - reader->position)
		length = (size_t)(stream->size - reader->position);
	while (done < length) {
		size_t want = length - done, got;

		if (reader->position >= stream->initialized) {
			memset(to + done, 0, want);
			got = want;
		} else {
			if (want > stream->initialized - reader->position)
				want = (size_t)(stream->initialized - reader->position);
			if (is_resident(stream))
				got = read_resident(reader, to + done, want, holes);
			else if (reader->carried != NULL)
				got = wof_read(
				    reader->carried, reader->position, to + done, want, holes);
			else if (reader->unit_size > 0)
				got = read_compressed(reader, to + done, want, holes);
			else
				got = read_plain(reader, to + done, want, holes);
		}
		reader->position += got;
		done += got;
	}
	return done;
}

uint64_t data_sparse(struct data_reader *reader, uint64_t length)
{
	const struct stream *stream = reader->stream;
	uint64_t cluster = reader->catalogue->volume->cluster_size, end;

	if (length > stream->size - reader->position)
		length = stream->size - reader->position;
	if (reader->position >= stream->initialized)
		return length;
	if (is_resident(stream) || reader->carried != NULL ||
	    !seek_run(reader, reader->position / cluster) || reader->run.lcn != RUN_SPARSE)
		return 0;
	end = (reader->run.vcn + reader->run.length) * cluster;
	if (reader->unit_size > 0) {
		/* Whole units only: the gap at a unit's end belongs to its compressed bytes. */
		uint64_t start = reader->position / reader->unit_size * reader->unit_size;

		if (reader->run.vcn * cluster > start)
			return 0;
		end = end / reader->unit_size * reader->unit_size;
	}
	if (end > stream->initialized)
		end = stream->initialized;
	if (end <= reader->position)
		return 0;
	return end - reader->position < length ? end - reader->position : length;
}

uint64_t data_dense(const struct data_reader *reader, uint64_t length)
{
	const struct stream *stream = reader->stream;
	uint64_t cluster = reader->catalogue->volume->cluster_size;
	uint64_t end =
	    stream->size - reader->position < length ? stream->size : reader->position + length;
	struct run_cursor cursor = reader->cursor;
	struct run run = reader->run;

	if (stream->initialized > reader->position && stream->initialized < end &&
	    end - stream->initialized >= DATA_SPARSE_GAP)
		end = stream->initialized;
	/* Compressed units are told apart as they are decoded. */
	if (is_resident(stream) || reader->carried != NULL || reader->unit_size > 0)
		return end - reader->position;
	do {
		uint64_t start = run.vcn * cluster;

		if (run.length > 0 && start >= end)
			break;
		if (run.lcn == RUN_SPARSE && run.length >= DATA_SPARSE_GAP / cluster &&
		    (run.vcn + run.length) * cluster > reader->position)
			return start > reader->position ? start - reader->position : 0;
	} while (run_cursor_next(&cursor, &run));
	return end - reader->position;
}

void data_skip(struct data_reader *reader, uint64_t length)
{
	uint64_t left = reader->stream->size - reader->position;

	reader->position += length < left ? length : left;
}

uint8_t *data_load(const struct catalogue *catalogue, const struct stream *stream, size_t limit,
    struct arena *arena, size_t *length, struct holes *holes)
{
	struct data_reader *reader;
	uint8_t *bytes;

	*length = 0;
	if (stream->size > limit)
		return NULL;
	reader = data_open(catalogue, stream);
	bytes = reader == NULL ? NULL : arena_alloc(arena, (size_t)stream->size + 1);
	if (bytes != NULL)
		*length = data_read(reader, bytes, (size_t)stream->size, holes);
	data_close(reader);
	return bytes;
}

size_t data_runs(const struct catalogue *catalogue, const struct stream *stream,
    struct arena *arena, struct run **runs)
{
	struct run_cursor cursor;
	struct run run;
	size_t count = 0, i = 0;

	*runs = NULL;
	if (is_resident(stream))
		return 0;
	run_cursor_stream(&cursor, catalogue, stream);
	while (run_cursor_next(&cursor, &run))
		count++;
	*runs = arena_array(arena, count, sizeof(**runs));
	if (*runs == NULL)
		return 0;
	run_cursor_stream(&cursor, catalogue, stream);
	while (i < count && run_cursor_next(&cursor, &run))
		(*runs)[i++] = run;
	return i;
}
