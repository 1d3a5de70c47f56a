/*
 * Tests of src/ntfs/wof.c: reparse data, and the decoding of single chunks.
 *
 * Sources: [MS-XCA] 3.2 (worked examples of XPRESS with Huffman codes); libwim's compressors; libfwnt
 * as a second decoder of XPRESS; WOF_EXTERNAL_INFO and FILE_PROVIDER_EXTERNAL_INFO_V1
 * (Windows driver documentation). Whole files: tests/run/ntfs_system_compressed.py.
 */
#include "unit.h"

#include "ntfs/wof.h"

#include <libfwnt.h>
#include <stdlib.h>
#include <string.h>
#include <wimlib.h>

static void test_reparse_data(void **state)
{
	uint8_t data[24] = {0x17, 0, 0, 0x80, 16, 0, 0, 0, 1, 0, 0, 0, 2, 0, 0, 0, 1};
	static const struct {
		uint8_t algorithm;
		uint32_t chunk;
	} rows[] = {{0, 4096}, {1, 32768}, {2, 8192}, {3, 16384}, {4, 0}, {255, 0}};

	(void)state;
	for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
		data[20] = rows[i].algorithm;
		assert_int_equal(
		    wof_chunk_size(wof_method(data, sizeof(data))), rows[i].chunk);
	}
	data[20] = 0;
	assert_int_equal(wof_method(data, sizeof(data) - 1), WOF_NONE);
	/* tag, version, provider, version of the provider's part, high bytes of the algorithm */
	for (size_t i = 0; i < 24; i++) {
		if (i >= 4 && i < 8)
			continue; /* length and reserved word */
		data[i] ^= 0x40;
		assert_int_equal(wof_method(data, sizeof(data)), WOF_NONE);
		data[i] ^= 0x40;
	}
	assert_int_equal(wof_method(data, sizeof(data)), WOF_XPRESS_4K);
}

static void test_plausible_sizes(void **state)
{
	(void)state;
	assert_false(wof_is_plausible(WOF_NONE, 5000, 5000));
	assert_false(wof_is_plausible(WOF_LZX, 0, 5000));
	assert_false(wof_is_plausible(WOF_LZX, 1, 0));
	assert_true(wof_is_plausible(WOF_LZX, 32768, 1));
	/* two chunks: an entry of four bytes, and a byte for each */
	assert_false(wof_is_plausible(WOF_XPRESS_4K, 4097, 5));
	assert_true(wof_is_plausible(WOF_XPRESS_4K, 4097, 6));
	assert_false(wof_is_plausible(WOF_XPRESS_4K, UINT64_MAX, UINT64_MAX));
	assert_false(wof_is_plausible(WOF_XPRESS_4K, UINT64_C(1) << 50, UINT64_C(1) << 40));
}

static bool decode(enum wof_method method, const uint8_t *in, size_t in_length, uint8_t *out,
    size_t out_length)
{
	struct wimlib_decompressor *decoder = wof_decoder_open(method);
	bool good;

	assert_non_null(decoder);
	good = wof_decode(decoder, in, in_length, out, out_length);
	wof_decoder_close(decoder);
	return good;
}

/* Half a byte for every symbol. */
static void set_length(uint8_t table[256], unsigned symbol, unsigned length)
{
	table[symbol / 2] |= (uint8_t)(symbol % 2 ? length << 4 : length);
}

static void test_published_examples(void **state)
{
	static const uint8_t first[] = {0xd8, 0x52, 0x3e, 0xd7, 0x94, 0x11, 0x5b, 0xe9, 0x19, 0x5f,
	    0xf9, 0xd6, 0x7c, 0xdf, 0x8d, 0x04, 0x00, 0x00, 0x00, 0x00};
	static const uint8_t second[] = {0xa8, 0xdc, 0x00, 0x00, 0xff, 0x26, 0x01};
	uint8_t packed[256 + sizeof(first)] = {0}, out[300], expected[300];

	(void)state;
	/* "abc...z": 22 codes of five bits, five of four, with that of the end */
	memcpy(packed + 0x30, "\x50\x55\x55\x55\x55\x55\x55\x55\x55\x55\x55\x45\x44\x04", 14);
	packed[0x80] = 0x04;
	memcpy(packed + 256, first, sizeof(first));
	/* As 26 bytes and more in fewer than 276 a real file would hold it as it is. */
	{
		struct wimlib_decompressor *decoder = wof_decoder_open(WOF_XPRESS_4K);

		assert_int_equal(wimlib_decompress(packed, sizeof(packed), out, 26, decoder), 0);
		wof_decoder_close(decoder);
	}
	assert_memory_equal(out, "abcdefghijklmnopqrstuvwxyz", 26);

	/* 100 times "abc" */
	memset(packed, 0, sizeof(packed));
	set_length(packed, 'a', 3);
	set_length(packed, 'b', 3);
	set_length(packed, 'c', 2);
	set_length(packed, 256, 2);
	set_length(packed, 287, 2);
	assert_memory_equal(packed + 0x30, "\x30\x23", 2);
	memcpy(packed + 256, second, sizeof(second));
	for (size_t i = 0; i < sizeof(expected); i++)
		expected[i] = (uint8_t)('a' + i % 3);
	assert_true(
	    decode(WOF_XPRESS_4K, packed, 256 + sizeof(second), out, sizeof(out)));
	assert_memory_equal(out, expected, sizeof(out));
}

/* Words of a few letters, with noise between them. */
static void fill(uint8_t *bytes, size_t length, unsigned seed)
{
	static const char *const words[] = {"compost ", "hedge ", "rota ", "water butt ", "bean "};
	size_t at = 0;

	srand(seed);
	while (at < length) {
		const char *word = words[rand() % 5];
		size_t n = strlen(word);

		if (rand() % 8 == 0) {
			bytes[at++] = (uint8_t)rand();
			continue;
		}
		n = n < length - at ? n : length - at;
		memcpy(bytes + at, word, n);
		at += n;
	}
}

/* What the library's compressor makes of it; 0 when it does not shrink. */
static size_t pack(enum wof_method method, const uint8_t *in, size_t length, uint8_t *out)
{
	struct wimlib_compressor *compressor = NULL;
	size_t made;

	assert_int_equal(wimlib_create_compressor(method == WOF_LZX
						      ? WIMLIB_COMPRESSION_TYPE_LZX
						      : WIMLIB_COMPRESSION_TYPE_XPRESS,
			     wof_chunk_size(method), 50, &compressor),
	    0);
	made = wimlib_compress(in, length, out, length - 1, compressor);
	wimlib_free_compressor(compressor);
	return made;
}

static void check_against_libfwnt(
    const uint8_t *packed, size_t made, const uint8_t *plain, size_t length)
{
	uint8_t *out = malloc(length + 1);
	size_t got = length;

	assert_int_equal(
	    libfwnt_lzxpress_huffman_decompress(packed, made, out, &got, NULL), 1);
	assert_int_equal(got, length);
	assert_memory_equal(out, plain, length);
	free(out);
}

static void test_compressors(void **state)
{
	static uint8_t plain[32768], packed[32768], out[32768];

	(void)state;
	for (enum wof_method method = WOF_XPRESS_4K; method <= WOF_XPRESS_16K; method++) {
		size_t whole = wof_chunk_size(method);

		for (unsigned seed = 0; seed < 40; seed++) {
			size_t length = seed % 4 == 0 ? whole : 1000 + seed * 977 % (whole - 1000);
			size_t made;

			fill(plain, length, seed);
			made = pack(method, plain, length, packed);
			assert_true(made > 0);
			assert_true(decode(method, packed, made, out, length));
			assert_memory_equal(out, plain, length);
			if (method != WOF_LZX)
				check_against_libfwnt(packed, made, plain, length);
			/* One that stands as it is. */
			assert_true(decode(method, plain, length, out, length));
			assert_memory_equal(out, plain, length);
		}
	}
}

/* Damaged chunks: said to be, or other bytes; never a write behind the end. */
static void test_damaged_chunks(void **state)
{
	static uint8_t plain[32768], packed[32768];
	size_t refused = 0;

	(void)state;
	for (enum wof_method method = WOF_XPRESS_4K; method <= WOF_XPRESS_16K; method++) {
		size_t length = wof_chunk_size(method), made;

		fill(plain, length, method);
		made = pack(method, plain, length, packed);
		assert_true(made > 300);
		assert_false(decode(method, packed, 0, plain, length));
		for (size_t at = 0; at < made; at += 1 + made / 200) {
			uint8_t *copy = malloc(made), *out = malloc(length);

			memcpy(copy, packed, made);
			copy[at] ^= 0x5A;
			refused += !decode(method, copy, made, out, length);
			/* And one that is cut off there. */
			if (at > 0)
				decode(method, packed, at, out, length);
			free(copy);
			free(out);
		}
		assert_false(decode(method, packed, made, plain, made - 1));
	}
	assert_true(refused > 100);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_reparse_data),
	    cmocka_unit_test(test_plausible_sizes),
	    cmocka_unit_test(test_published_examples),
	    cmocka_unit_test(test_compressors),
	    cmocka_unit_test(test_damaged_chunks),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
