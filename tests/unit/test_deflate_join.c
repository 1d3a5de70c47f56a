/*
 * Tests of joined deflate streams and of packing chunks.
 *
 * References: RFC 1951 (3.2.3 and 3.2.4: blocks, stored blocks); zlib, which makes streams of every
 * kind of block and inflates what was joined.
 */
#include "unit.h"

#include "extract/deflate_join.h"
#include "extract/pack.h"

#include <libdeflate.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#define MOST 300000
#define ROOM (2 * MOST + 100000)

static uint32_t random_state = 1;

static uint32_t next_random(void)
{
	random_state ^= random_state << 13;
	random_state ^= random_state >> 17;
	random_state ^= random_state << 5;
	return random_state;
}

enum content { ZEROS, NOISE, WORDS, FEW_LETTERS, SKEWED, MIXED, N_CONTENTS };

static void fill(uint8_t *data, size_t length, enum content content)
{
	static const char *const words[] = {"allotment ", "water ", "ledger ", "Fernhill ", "plot ",
	    "beans, ", "rent\r\n", "1 ", "2019 "};
	size_t at = 0;

	while (at < length) {
		uint32_t random = next_random();
		const char *word = words[random % 9];

		switch (content) {
		case ZEROS:
			data[at++] = 0;
			break;
		case NOISE:
			data[at++] = (uint8_t)random;
			break;
		case WORDS:
			for (; *word != '\0' && at < length; word++)
				data[at++] = (uint8_t)*word;
			break;
		case FEW_LETTERS:
			data[at++] = (uint8_t)('a' + random % 3);
			break;
		case SKEWED: /* long codes: each value is half as frequent as the one before */
			data[at++] = (uint8_t)__builtin_ctz(random | 1u << 20);
			break;
		default:
			data[at] = at / 20000 % 2 == 0 ? (uint8_t)random : (uint8_t)(at / 7);
			at++;
		}
	}
}

static size_t inflate_all(const uint8_t *stream, size_t length, uint8_t *out, size_t room)
{
	z_stream z = {.next_in = (uint8_t *)stream, .avail_in = (uInt)length, .next_out = out,
	    .avail_out = (uInt)room};
	int result;

	assert_int_equal(inflateInit2(&z, -15), Z_OK);
	result = inflate(&z, Z_FINISH);
	inflateEnd(&z);
	assert_int_equal(result, Z_STREAM_END);
	assert_int_equal(z.avail_in, 0);
	return z.total_out;
}

static size_t with_zlib(
    const uint8_t *data, size_t length, int level, int strategy, uint8_t *out, size_t room)
{
	z_stream z = {.next_in = (uint8_t *)data, .avail_in = (uInt)length, .next_out = out,
	    .avail_out = (uInt)room};

	assert_int_equal(deflateInit2(&z, level, Z_DEFLATED, -15, 9, strategy), Z_OK);
	assert_int_equal(deflate(&z, Z_FINISH), Z_STREAM_END);
	deflateEnd(&z);
	return z.total_out;
}

static size_t with_libdeflate(
    const uint8_t *data, size_t length, int level, uint8_t *out, size_t room)
{
	struct libdeflate_compressor *compressor = libdeflate_alloc_compressor(level);
	size_t size;

	assert_non_null(compressor);
	size = libdeflate_deflate_compress(compressor, data, length, out, room);
	libdeflate_free_compressor(compressor);
	assert_int_not_equal(size, 0);
	return size;
}

/* Three whole streams of the same data, the first two opened. */
static void check_joined(const uint8_t *data, size_t length, const uint8_t *stream, size_t size)
{
	uint8_t *joined = malloc(3 * size + 100), *out = malloc(3 * length + 1);
	size_t total = 0;

	assert_true(joined != NULL && out != NULL);
	for (int i = 0; i < 2; i++) {
		size_t opened;

		memcpy(joined + total, stream, size);
		opened = deflate_open_end(joined + total, size);
		assert_true(opened >= size + 4 && opened <= size + DEFLATE_OPEN_GROWTH);
		/* RFC 1951, 3.2.4: an empty stored block ends with LEN 0 and its complement. */
		assert_memory_equal(joined + total + opened - 4, "\0\0\xFF\xFF", 4);
		total += opened;
	}
	memcpy(joined + total, stream, size);
	assert_int_equal(inflate_all(joined, total + size, out, 3 * length + 1), 3 * length);
	for (int i = 0; i < 3; i++)
		assert_memory_equal(out + i * length, data, length);
	free(joined);
	free(out);
}

static void test_every_kind_of_stream(void **state)
{
	static const size_t lengths[] = {0, 1, 2, 7, 100, 1000, 65535, 65536, 100001, MOST};
	static const int strategies[] = {Z_DEFAULT_STRATEGY, Z_FIXED, Z_HUFFMAN_ONLY, Z_RLE};
	uint8_t *data = malloc(MOST), *stream = malloc(ROOM);

	(void)state;
	assert_true(data != NULL && stream != NULL);
	for (int content = 0; content < N_CONTENTS; content++) {
		fill(data, MOST, (enum content)content);
		for (size_t i = 0; i < sizeof(lengths) / sizeof(lengths[0]); i++) {
			size_t length = lengths[i];

			for (int level = 0; level <= 12; level += level < 6 ? 1 : 3)
				check_joined(data, length, stream,
				    with_libdeflate(data, length, level, stream, ROOM));
			for (size_t s = 0; s < sizeof(strategies) / sizeof(strategies[0]); s++)
				check_joined(data, length, stream,
				    with_zlib(data, length, 6, strategies[s], stream, ROOM));
			check_joined(data, length, stream,
			    with_zlib(data, length, 0, Z_DEFAULT_STRATEGY, stream, ROOM));
		}
	}
	free(data);
	free(stream);
}

/* What is cut off or has something behind it is no whole stream; damage is never read beyond. */
static void test_damaged_streams(void **state)
{
	uint8_t data[5000], *stream, *copy;
	size_t size;

	(void)state;
	fill(data, sizeof(data), WORDS);
	fill(data + 2000, 1000, NOISE);
	stream = malloc(10000);
	copy = malloc(10000);
	assert_true(stream != NULL && copy != NULL);
	size = with_zlib(data, sizeof(data), 6, Z_DEFAULT_STRATEGY, stream, 9000);
	for (size_t length = 0; length < size; length++) {
		uint8_t *exact = malloc(length + DEFLATE_OPEN_ROOM);

		assert_non_null(exact);
		memcpy(exact, stream, length);
		assert_int_equal(deflate_open_end(exact, length), 0);
		free(exact);
	}
	memcpy(copy, stream, size);
	copy[size] = 0;
	assert_int_equal(deflate_open_end(copy, size + 1), 0);
	for (int i = 0; i < 20000; i++) {
		uint8_t *exact = malloc(size + DEFLATE_OPEN_ROOM);

		assert_non_null(exact);
		memcpy(exact, stream, size);
		for (uint32_t n = 1 + next_random() % 4; n > 0; n--)
			exact[next_random() % (i % 2 == 0 ? size : 100)] ^=
			    (uint8_t)(1u << next_random() % 8);
		(void)deflate_open_end(exact, size);
		free(exact);
	}
	free(stream);
	free(copy);
}

static void test_stored_blocks(void **state)
{
	uint8_t header[DEFLATE_STORED_HEADER];

	(void)state;
	assert_int_equal(deflate_stored_size(0), 5);
	assert_int_equal(deflate_stored_size(1), 6);
	assert_int_equal(deflate_stored_size(65535), 65540);
	assert_int_equal(deflate_stored_size(65536), 65546);
	assert_int_equal(deflate_stored_size(1 << 20), (1 << 20) + 17 * 5);
	/* RFC 1951, 3.2.4: BFINAL and BTYPE 00 in the lowest bits, LEN, NLEN. */
	deflate_stored_header(header, 0x1234, 1);
	assert_memory_equal(header, "\x01\x34\x12\xCB\xED", 5);
	deflate_stored_header(header, 0, 0);
	assert_memory_equal(header, "\0\0\0\xFF\xFF", 5);
}

static void test_chunks(void **state)
{
	static const size_t lengths[] = {1, 3, 100, 5000, 8192, 65536, 70000, 299999};
	uint8_t *data = malloc(MOST), *copy = malloc(MOST), *out = malloc(MOST + 1);
	struct packer packer = {0};

	(void)state;
	assert_true(data != NULL && copy != NULL && out != NULL);
	for (int i = 0; i < N_CONTENTS * 8 * 4; i++) {
		struct packing packing = {.is_last = i % 2 == 0, .may_sample = i / 2 % 2 == 0};
		enum content content = (enum content)(i / 4 / 8);
		size_t length = lengths[i / 4 % 8], packed;

		fill(data, length, content);
		memcpy(copy, data, length);
		assert_true(pack_chunk(&packer, &packing, copy, length, &packed));
		assert_true(packed <= length);
		if (packed == length) {
			assert_memory_equal(copy, data, length);
			assert_true(content == NOISE || length < 20000);
			continue;
		}
		assert_true(content != NOISE);
		if (!packing.is_last) {
			assert_true(packed + 5 <= length);
			memcpy(copy + packed, "\1\0\0\xFF\xFF", 5); /* an empty last block */
			packed += 5;
		}
		assert_int_equal(inflate_all(copy, packed, out, MOST + 1), length);
		assert_memory_equal(out, data, length);
	}
	packer_free(&packer);
	free(data);
	free(copy);
	free(out);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_every_kind_of_stream),
	    cmocka_unit_test(test_damaged_streams),
	    cmocka_unit_test(test_stored_blocks),
	    cmocka_unit_test(test_chunks),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
