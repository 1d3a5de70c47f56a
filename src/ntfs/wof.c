/* System compression: see wof.h. */
#include "ntfs/wof.h"

#include "base/bytes.h"
#include "ntfs/data.h"
#include "ntfs/reparse.h"

#include <stdlib.h>
#include <string.h>
#include <wimlib.h>

#define PROVIDER_FILE 2u /* WOF_PROVIDER_FILE; 1 keeps the bytes in an image file elsewhere */
#define MAX_CHUNK 32768u
#define CHUNK_WINDOW ((size_t)256 << 10) /* bytes read ahead of the chunks */
#define TABLE_WINDOW ((size_t)32 << 10)  /* and of the table */
/* How often a table may send us back: a sound one never does. */
#define MAX_RESTARTS 64u

enum wof_method wof_method(const uint8_t *data, size_t length)
{
	/* Version and provider of the overlay, then version and algorithm of the provider. */
	if (length < 8 + 16 || get_u32(data) != REPARSE_WOF || get_u32(data + 8) != 1 ||
	    get_u32(data + 12) != PROVIDER_FILE || get_u32(data + 16) != 1)
		return WOF_NONE;
	switch (get_u32(data + 20)) {
	case 0:
		return WOF_XPRESS_4K;
	case 1:
		return WOF_LZX;
	case 2:
		return WOF_XPRESS_8K;
	case 3:
		return WOF_XPRESS_16K;
	default:
		return WOF_NONE;
	}
}

uint32_t wof_chunk_size(enum wof_method method)
{
	switch (method) {
	case WOF_XPRESS_4K:
		return 4096;
	case WOF_XPRESS_8K:
		return 8192;
	case WOF_XPRESS_16K:
		return 16384;
	case WOF_LZX:
		return MAX_CHUNK;
	default:
		return 0;
	}
}

static uint64_t count_chunks(enum wof_method method, uint64_t size)
{
	uint64_t chunk = wof_chunk_size(method);

	return size / chunk + (size % chunk != 0);
}

/* Bytes of one entry of the table. */
static unsigned entry_size(uint64_t size)
{
	return size > UINT32_MAX ? 8 : 4;
}

bool wof_is_plausible(enum wof_method method, uint64_t size, uint64_t carrier_size)
{
	uint64_t n_chunks;

	if (method == WOF_NONE || size == 0 || size > INT64_MAX)
		return false;
	n_chunks = count_chunks(method, size);
	/* Every chunk has a byte, and every one but the first an entry. */
	return (n_chunks - 1) * (entry_size(size) + 1) < carrier_size;
}

/* --- the decoder -------------------------------------------------------------------------------
 */

/*
 * The library refers to its own XML parts only for the sake of this function: with one of our own,
 * a static program needs none of them. Nothing here ever calls it.
 */
int xml_set_memory_allocator(
    void *(*get)(size_t), void (*give)(void *), void *(*change)(void *, size_t));
int xml_set_memory_allocator(
    void *(*get)(size_t), void (*give)(void *), void *(*change)(void *, size_t))
{
	(void)get;
	(void)give;
	(void)change;
	return 0;
}

struct wimlib_decompressor *wof_decoder_open(enum wof_method method)
{
	struct wimlib_decompressor *decoder = NULL;
	enum wimlib_compression_type type =
	    method == WOF_LZX ? WIMLIB_COMPRESSION_TYPE_LZX : WIMLIB_COMPRESSION_TYPE_XPRESS;

	if (method == WOF_NONE ||
	    wimlib_create_decompressor(type, wof_chunk_size(method), &decoder) != 0)
		return NULL;
	return decoder;
}

void wof_decoder_close(struct wimlib_decompressor *decoder)
{
	wimlib_free_decompressor(decoder);
}

bool wof_decode(struct wimlib_decompressor *decoder, const uint8_t *in, size_t in_length,
    uint8_t *out, size_t out_length)
{
	if (in_length == out_length) {
		memcpy(out, in, out_length);
		return true;
	}
	return in_length > 0 && in_length < out_length &&
	       wimlib_decompress(in, in_length, out, out_length, decoder) == 0;
}

/* --- windows on the carrier ----------------------------------------------------------------------
 */

/* A piece of the carrier in memory, moved forward as it is needed. */
struct window {
	struct data_reader *reader;
	uint8_t *bytes;
	size_t capacity, length;
	uint64_t start; /* of the bytes in the carrier */
	unsigned restarts;
	struct holes holes; /* by offset in the carrier */
};

static void window_free(struct window *window)
{
	data_close(window->reader);
	free(window->bytes);
	holes_free(&window->holes);
}

/* Where the reader stands. */
static uint64_t window_end(const struct window *window)
{
	return window->start + window->length;
}

/* Opens the reader, and again from the carrier's start when it stands behind `offset`. */
static bool window_restart(struct window *window, const struct catalogue *catalogue,
    const struct stream *carrier, size_t capacity, uint64_t offset)
{
	if (window->bytes == NULL) {
		window->capacity = carrier->size < capacity ? (size_t)carrier->size : capacity;
		window->bytes = malloc(window->capacity + 1);
	}
	if (window->reader != NULL && offset >= window->start)
		return window->bytes != NULL;
	if (window->reader != NULL && window->restarts++ >= MAX_RESTARTS)
		return false;
	data_close(window->reader);
	window->reader = data_open(catalogue, carrier);
	window->start = 0;
	window->length = 0;
	return window->reader != NULL && window->bytes != NULL;
}

/*
 * The carrier's bytes [offset, offset + length), at most a window long. NULL when some of them
 * cannot be had.
 */
static const uint8_t *window_get(struct window *window, const struct catalogue *catalogue,
    const struct stream *carrier, size_t capacity, uint64_t offset, size_t length)
{
	if (length > capacity || offset > carrier->size || length > carrier->size - offset ||
	    !window_restart(window, catalogue, carrier, capacity, offset))
		return NULL;
	if (offset + length > window_end(window)) {
		size_t keep = 0;

		if (offset < window_end(window)) {
			keep = (size_t)(window_end(window) - offset);
			memmove(
			    window->bytes, window->bytes + window->length - keep, keep);
		} else {
			data_skip(window->reader, offset - window_end(window));
		}
		if (keep == 0)
			holes_clear(&window->holes);
		window->start = offset;
		window->length = keep + data_read(window->reader, window->bytes + keep,
					    window->capacity - keep, &window->holes);
		if (length > window->length)
			return NULL;
	}
	if (window->holes.failed || holes_meet(&window->holes, offset, length))
		return NULL;
	return window->bytes + (offset - window->start);
}

/* --- the reader ----------------------------------------------------------------------------------
 */

struct wof_reader {
	const struct catalogue *catalogue;
	const struct stream *carrier;
	enum wof_method method;
	uint64_t size;
	uint64_t n_chunks;
	uint64_t at; /* number of the chunk in `chunk`, UINT64_MAX for none */
	bool good;   /* it could be decoded */
	uint8_t *chunk;
	struct wimlib_decompressor *decoder;
	struct window table, chunks;
};

struct wof_reader *wof_open(const struct catalogue *catalogue, const struct stream *carrier,
    enum wof_method method, uint64_t size)
{
	struct wof_reader *reader = calloc(1, sizeof(*reader));

	if (reader == NULL)
		return NULL;
	*reader = (struct wof_reader){.catalogue = catalogue,
	    .carrier = carrier,
	    .method = method,
	    .size = size,
	    .n_chunks = count_chunks(method, size),
	    .at = UINT64_MAX,
	    .chunk = malloc(wof_chunk_size(method)),
	    .decoder = wof_decoder_open(method)};
	if (reader->chunk == NULL || reader->decoder == NULL) {
		wof_close(reader);
		return NULL;
	}
	return reader;
}

void wof_close(struct wof_reader *reader)
{
	if (reader == NULL)
		return;
	window_free(&reader->table);
	window_free(&reader->chunks);
	wof_decoder_close(reader->decoder);
	free(reader->chunk);
	free(reader);
}

/* Where chunk `number` starts, counted from the table's end; the table leaves out the first. */
static bool chunk_start(struct wof_reader *reader, uint64_t number, uint64_t *start)
{
	unsigned width = entry_size(reader->size);
	uint64_t table = (reader->n_chunks - 1) * width;
	const uint8_t *entry;

	*start = 0;
	if (number == 0)
		return true;
	if (number == reader->n_chunks) {
		if (reader->carrier->size < table)
			return false;
		*start = reader->carrier->size - table;
		return true;
	}
	entry = window_get(&reader->table, reader->catalogue, reader->carrier, TABLE_WINDOW,
	    (number - 1) * width, width);
	if (entry == NULL)
		return false;
	*start = width == 8 ? get_u64(entry) : get_u32(entry);
	return true;
}

static bool load_chunk(struct wof_reader *reader, uint64_t number, size_t length)
{
	uint64_t table = (reader->n_chunks - 1) * entry_size(reader->size);
	uint64_t start, end;
	const uint8_t *packed;

	if (!chunk_start(reader, number, &start) || !chunk_start(reader, number + 1, &end) ||
	    start >= end || end - start > length || table > UINT64_MAX - end)
		return false;
	packed = window_get(&reader->chunks, reader->catalogue, reader->carrier, CHUNK_WINDOW,
	    table + start, (size_t)(end - start));
	return packed != NULL && wof_decode(reader->decoder, packed, (size_t)(end - start),
				     reader->chunk, length);
}

size_t wof_read(struct wof_reader *reader, uint64_t position, uint8_t *buffer, size_t length,
    struct holes *holes)
{
	uint32_t chunk = wof_chunk_size(reader->method);
	uint64_t number = position / chunk, left = reader->size - number * chunk;
	size_t whole = left < chunk ? (size_t)left : chunk, skip = (size_t)(position % chunk);

	if (reader->at != number) {
		reader->at = number;
		reader->good = load_chunk(reader, number, whole);
		if (!reader->good)
			memset(reader->chunk, 0, whole);
	}
	if (length > whole - skip)
		length = whole - skip;
	memcpy(buffer, reader->chunk + skip, length);
	if (!reader->good)
		holes_add(holes, position, length);
	return length;
}
