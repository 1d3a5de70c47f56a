/* Files larger than a part: see pieces.h. */
#include "extract/pieces.h"

#include "plan/names.h"

#include <stdlib.h>
#include <string.h>

#define ENDING_LENGTH 26 /* ".piece-00001-of-00002" and some */
#define MARK_LENGTH 17   /* "~" and 16 hex digits, as for any name that was cut */
#define MOST_PIECES 99999

void piece_ending(struct buf *path, unsigned number, unsigned count)
{
	int width = count < 100 ? 2 : count < 1000 ? 3 : 5;

	buf_printf(path, ".piece-%0*u-of-%0*u", width, number, width, count);
}

void piece_shorten(struct buf *path, size_t start)
{
	const char *slash;
	size_t name, length, keep;
	struct digest digest;

	if (path->failed || path->length <= start)
		return;
	slash = memrchr(path->data + start, '/', path->length - start);
	name = slash == NULL ? start : (size_t)(slash - (char *)path->data) + 1;
	length = path->length - name;
	if (length + ENDING_LENGTH <= NAME_LIMIT)
		return;
	digest = digest_of(path->data + name, length);
	keep = NAME_LIMIT - ENDING_LENGTH - MARK_LENGTH;
	while (keep > 0 && (path->data[name + keep] & 0xC0) == 0x80)
		keep--; /* not inside a character */
	path->length = name + keep;
	buf_printf(path, "~%.16s", digest_to_text(&digest).text);
}

/*
 * What the whole file takes in a part. Sparse ranges take nothing in a tar file, and deflate makes
 * less than a 200th of zeros (at best a 1,032nd, zlib's documentation says).
 */
static uint64_t stored_size(const struct sink *sink)
{
	const struct member *member = &sink->member;
	uint64_t total = 0;

	if (sink->parts->format == FORMAT_FOLDER || member->data == NULL)
		return member->size;
	for (size_t i = 0; i < member->n_data; i++)
		total += member->data[i].length;
	if (sink->parts->format == FORMAT_ZIP)
		total += (member->size - total) / 200;
	return total + member->n_data * 1024; /* block and map entry */
}

/* Is the file too large, and into how many pieces does it go? */
static bool decide(struct sink *sink, struct error *error)
{
	uint64_t largest = parts_largest_file(sink->parts, sink->member.path);
	uint64_t count;

	if (stored_size(sink) <= largest)
		return true;
	count = (sink->member.size - 1) / largest + 1;
	if (count > MOST_PIECES)
		return error_set(error, STATUS_DESTINATION,
		    "a file would go into more than %d pieces; choose a larger --part-size",
		    MOST_PIECES);
	sink->piece_size = largest;
	sink->n_pieces = (unsigned)count;
	piece_shorten(&sink->path, 0);
	sink->base_length = sink->path.length;
	return true;
}

/* The ranges of data within the piece, counted from its start. */
static bool clip_map(struct sink *sink, struct member *member, uint64_t from, uint64_t to)
{
	free(sink->data);
	sink->data = NULL;
	if (sink->member.data == NULL)
		return true;
	sink->data = calloc(sink->member.n_data + 1, sizeof(*sink->data));
	if (sink->data == NULL)
		return false;
	member->data = sink->data;
	member->n_data = 0;
	for (size_t i = 0; i < sink->member.n_data; i++) {
		uint64_t start = sink->member.data[i].offset;
		uint64_t end = start + sink->member.data[i].length;

		start = start < from ? from : start;
		end = end > to ? to : end;
		if (start < end)
			sink->data[member->n_data++] = (struct hole){start - from, end - start};
	}
	return true;
}

static bool begin_entry(struct sink *sink, struct error *error)
{
	struct member member = sink->member;
	uint32_t group = sink->parts->plan->items[sink->item].group;
	uint64_t cost = stored_size(sink);

	if (sink->piece_size != 0) {
		member.size = sink->member.size - sink->done;
		if (member.size > sink->piece_size)
			member.size = sink->piece_size;
		cost = sink->parts->limit; /* a part of its own */
		sink->path.length = sink->base_length;
		piece_ending(&sink->path, ++sink->piece, sink->n_pieces);
		if (!clip_map(sink, &member, sink->done, sink->done + member.size))
			return error_no_memory(error);
	}
	if (sink->path.failed)
		return error_no_memory(error);
	member.path = buf_text(&sink->path);
	sink->left = member.size;
	sha256_init(&sink->hash);
	if (!parts_enter(sink->parts, group, writer_cost(sink->parts->format, member.path, cost),
		error))
		return false;
	if (sink->piece == 1 && !parts_mark(sink->parts, &sink->start, error))
		return false;
	return writer_begin(parts_writer(sink->parts), &member, error);
}

static bool end_entry(struct sink *sink, struct error *error)
{
	struct outcome *outcome = &sink->outcomes->items[sink->item];
	struct piece piece = {.part = parts_current(sink->parts)};

	if (!writer_end(parts_writer(sink->parts), error))
		return false;
	if (sink->piece <= 1) {
		outcome->part = piece.part;
		outcome->flags |= OUTCOME_STORED;
	}
	if (sink->piece_size == 0) {
		parts_count(sink->parts, sink->member.size);
		return true;
	}
	piece.size = sink->piece < sink->n_pieces ? sink->piece_size :
	    sink->member.size - sink->piece_size * (sink->n_pieces - 1);
	piece.digest = digest_take(&sink->hash);
	parts_count(sink->parts, piece.size);
	return outcomes_add_piece(sink->outcomes, sink->item, &piece) || error_no_memory(error);
}

bool sink_begin(struct sink *sink, struct parts *parts, struct outcomes *outcomes, uint32_t item,
    const struct member *member, struct error *error)
{
	*sink = (struct sink){.parts = parts, .outcomes = outcomes, .item = item,
	    .member = *member};
	buf_add_text(&sink->path, member->path);
	return decide(sink, error) && begin_entry(sink, error);
}

static bool add_to_entry(struct sink *sink, const uint8_t *data, uint64_t length,
    struct error *error)
{
	if (sink->piece_size != 0 && data != NULL)
		sha256_update(&sink->hash, (size_t)length, data);
	else if (sink->piece_size != 0)
		digest_zeros(&sink->hash, length);
	sink->left -= length;
	sink->done += length;
	return data != NULL ? writer_data(parts_writer(sink->parts), data, (size_t)length, error) :
			      writer_zeros(parts_writer(sink->parts), length, error);
}

bool sink_add(struct sink *sink, const uint8_t *data, uint64_t length, struct error *error)
{
	while (length > 0) {
		uint64_t now = length < sink->left ? length : sink->left;

		if (now == 0) {
			if (sink->piece >= sink->n_pieces)
				return error_set(error, STATUS_OTHER,
				    "'%s' grew while it was read", sink->member.path);
			if (!end_entry(sink, error) || !begin_entry(sink, error))
				return false;
			continue;
		}
		if (!add_to_entry(sink, data, now, error))
			return false;
		data = data == NULL ? NULL : data + now;
		length -= now;
	}
	return true;
}

bool sink_end(struct sink *sink, struct error *error)
{
	if (!end_entry(sink, error))
		return false;
	/* The last piece, too, has its part to itself. */
	return sink->piece_size == 0 || sink->parts->format == FORMAT_FOLDER ||
	    parts_close_current(sink->parts, error);
}

bool sink_go_back(struct sink *sink, struct error *error)
{
	if (!writer_take_back(parts_writer(sink->parts), error))
		return false;
	if (sink->piece <= 1)
		return true;
	outcomes_drop_pieces(sink->outcomes, sink->item);
	return parts_go_back(sink->parts, sink->outcomes, &sink->start, error);
}

void sink_free(struct sink *sink)
{
	buf_free(&sink->path);
	free(sink->data);
	*sink = (struct sink){0};
}
