/*
 * Tests of src/ntfs: mapping pairs, packed run lists, LZNT1.
 *
 * Sources: linux-ntfs documentation, "Data Runs", examples 1 to 5 (flatcap.github.io/linux-ntfs);
 * [MS-XCA] section 3.3, the worked example of LZNT1; libfwnt as a second decoder of LZNT1.
 */
#include "unit.h"

#include "ntfs/lznt1.h"
#include "ntfs/runs.h"

#include <libfwnt.h>
#include <stdlib.h>
#include <string.h>

#define CLUSTERS 0x1000000u

struct expected {
	uint64_t lcn, length;
};

/* Decodes, compares, packs, unpacks, compares again. */
static void check_runs(
    const uint8_t *pairs, size_t length, const struct expected *expected, size_t count)
{
	struct run_list list = {0};
	struct run_cursor cursor;
	struct buf packed = {0};
	struct run run;
	uint64_t vcn = 0;

	assert_true(runs_decode(&list, pairs, length, 0, CLUSTERS));
	assert_int_equal(list.count, count);
	runs_pack(&packed, list.items, list.count);
	run_cursor_start(&cursor, packed.data, packed.length);
	for (size_t i = 0; i < count; i++) {
		assert_true(list.items[i].vcn == vcn);
		assert_true(list.items[i].lcn == expected[i].lcn);
		assert_true(list.items[i].length == expected[i].length);
		assert_true(run_cursor_next(&cursor, &run));
		assert_memory_equal(&run, &list.items[i], sizeof(run));
		vcn += expected[i].length;
	}
	assert_false(run_cursor_next(&cursor, &run));
	assert_false(run_cursor_next(&cursor, &run));
	run_list_free(&list);

	/* The same with the right, a larger and a smaller end. */
	assert_true(runs_decode(&list, pairs, length, vcn, CLUSTERS));
	run_list_free(&list);
	assert_false(runs_decode(&list, pairs, length, vcn + 5, CLUSTERS));
	assert_true(list.items[list.count - 1].lcn == RUN_LOST);
	assert_true(run_list_end(&list) == vcn + 5);
	run_list_free(&list);
	assert_false(runs_decode(&list, pairs, length, vcn - 1, CLUSTERS));
	assert_true(run_list_end(&list) == vcn - 1);
	run_list_free(&list);
	buf_free(&packed);
}

static void test_documented_examples(void **state)
{
	static const uint8_t one[] = {0x21, 0x18, 0x34, 0x56, 0x00};
	static const uint8_t two[] = {0x31, 0x38, 0x73, 0x25, 0x34, 0x32, 0x14, 0x01, 0xE5, 0x11,
	    0x02, 0x31, 0x42, 0xAA, 0x00, 0x03, 0x00};
	static const uint8_t three[] = {
	    0x11, 0x30, 0x60, 0x21, 0x10, 0x00, 0x01, 0x11, 0x20, 0xE0, 0x00};
	static const uint8_t four[] = {0x11, 0x30, 0x20, 0x01, 0x60, 0x11, 0x10, 0x30, 0x00};
	static const uint8_t five[] = {
	    0x11, 0x08, 0x40, 0x01, 0x08, 0x11, 0x10, 0x08, 0x11, 0x0C, 0x10, 0x01, 0x04, 0x00};

	(void)state;
	check_runs(one, sizeof(one), (struct expected[]){{0x5634, 0x18}}, 1);
	check_runs(two, sizeof(two),
	    (struct expected[]){{0x342573, 0x38}, {0x363758, 0x114}, {0x393802, 0x42}}, 3);
	check_runs(three, sizeof(three),
	    (struct expected[]){{0x60, 0x30}, {0x160, 0x10}, {0x140, 0x20}}, 3);
	check_runs(four, sizeof(four),
	    (struct expected[]){{0x20, 0x30}, {RUN_SPARSE, 0x60}, {0x50, 0x10}}, 3);
	/* Its runs at 0x48 and 0x58 touch: they are read as one. */
	check_runs(five, sizeof(five),
	    (struct expected[]){{0x40, 8}, {RUN_SPARSE, 8}, {0x48, 0x1C}, {RUN_SPARSE, 4}}, 4);
}

/* What makes no sense: the good runs before it stay, the rest is lost. */
static void check_nonsense(const uint8_t *pairs, size_t length, size_t good_clusters)
{
	struct run_list list = {0};
	uint8_t *copy = malloc(length); /* so that a sanitizer sees a read behind the end */

	memcpy(copy, pairs, length);
	assert_false(runs_decode(&list, copy, length, 0x40, 0x1000));
	assert_true(run_list_end(&list) == 0x40);
	assert_true(list.items[list.count - 1].lcn == RUN_LOST);
	assert_true(list.items[list.count - 1].length == 0x40 - good_clusters);
	run_list_free(&list);
	free(copy);
}

static void test_nonsense(void **state)
{
	(void)state;
	check_nonsense((uint8_t[]){0x11, 0x30, 0x60, 0x11, 0x10, 0x81, 0}, 7, 0x30); /* below 0 */
	check_nonsense((uint8_t[]){0x11, 0x30, 0x60, 0x21, 0x10, 0xFF, 0x7F, 0}, 8, 0x30);
	check_nonsense((uint8_t[]){0x11, 0x30, 0x60, 0x21, 0x10, 0xFF}, 6, 0x30);    /* cut off */
	check_nonsense((uint8_t[]){0x11, 0x30, 0x60, 0x11, 0x00, 0x01, 0}, 7, 0x30); /* no length */
	check_nonsense((uint8_t[]){0x11, 0x30, 0x60, 0x11, 0x90, 0x01, 0}, 7, 0x30); /* negative */
	check_nonsense((uint8_t[]){0x11, 0x30, 0x60, 0x19, 0x90, 0x01, 0}, 7, 0x30);
	check_nonsense((uint8_t[]){0x11, 0x30, 0x60, 0x91, 0x90, 0x01, 0}, 7, 0x30);
	check_nonsense(
	    (uint8_t[]){0x18, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x7F, 1, 0}, 11, 0);
	check_nonsense((uint8_t[]){0x08, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x7F, 0}, 10, 0);
	check_nonsense((uint8_t[]){0}, 1, 0);
	check_nonsense((uint8_t[]){0x88}, 1, 0);
}

/* Packed lists that are cut off or wild end without harm. */
static void test_packed_nonsense(void **state)
{
	uint8_t bytes[64];
	struct run_cursor cursor;
	struct run run;

	(void)state;
	for (unsigned fill = 0; fill < 256; fill++) {
		memset(bytes, (int)fill, sizeof(bytes));
		for (size_t length = 0; length <= sizeof(bytes); length++) {
			size_t n = 0;

			run_cursor_start(&cursor, bytes, length);
			while (run_cursor_next(&cursor, &run))
				assert_true(n++ < length);
		}
	}
}

static const char song[142] =
    "F# F# G A A G F# E D D E F# F# E E F# F# G A A G F# E D D E F# E D D E E F# D E F# G F# D E "
    "F# G F# E D E A F# F# G A A G F# E D D E F# E D D";
static const uint8_t packed_song[59] = {0x38, 0xb0, 0x88, 0x46, 0x23, 0x20, 0x00, 0x20, 0x47, 0x20,
    0x41, 0x00, 0x10, 0xa2, 0x47, 0x01, 0xa0, 0x45, 0x20, 0x44, 0x00, 0x08, 0x45, 0x01, 0x50, 0x79,
    0x00, 0xc0, 0x45, 0x20, 0x05, 0x24, 0x13, 0x88, 0x05, 0xb4, 0x02, 0x4a, 0x44, 0xef, 0x03, 0x58,
    0x02, 0x8c, 0x09, 0x16, 0x01, 0x48, 0x45, 0x00, 0xbe, 0x00, 0x9e, 0x00, 0x04, 0x01, 0x18, 0x90,
    0x00};

static void test_published_lznt1(void **state)
{
	uint8_t out[200];
	size_t made;

	(void)state;
	assert_true(lznt1_decode(packed_song, sizeof(packed_song), out, sizeof(out), &made));
	assert_int_equal(made, sizeof(song));
	assert_memory_equal(out, song, sizeof(song));
	/* Exactly enough room is enough, less is not. */
	assert_true(lznt1_decode(packed_song, sizeof(packed_song), out, sizeof(song), &made));
	assert_int_equal(made, sizeof(song));
	assert_false(lznt1_decode(packed_song, sizeof(packed_song), out, sizeof(song) - 1, &made));
}

/*
 * A chunk of random literals and references that reach back as far as they can; returns its length.
 * Unlike a compressor it uses every length and distance that there is.
 */
static size_t random_chunk(uint8_t *chunk, size_t made_limit)
{
	size_t at = 2, made = 0;

	while (made + 8 * 20 < made_limit) {
		size_t flags = at++;

		chunk[flags] = 0;
		for (unsigned i = 0; i < 8; i++) {
			unsigned bits = 4;

			if (made < 4 || rand() % 3 == 0) {
				chunk[at++] = (uint8_t)rand();
				made++;
				continue;
			}
			while (made > (size_t)1 << bits)
				bits++;
			{
				unsigned length = (unsigned)rand() % 16 & (0xFFFFu >> bits);
				unsigned distance = (unsigned)rand() % (unsigned)made;
				unsigned word = distance << (16 - bits) | length;

				chunk[flags] |= (uint8_t)(1 << i);
				chunk[at++] = (uint8_t)word;
				chunk[at++] = (uint8_t)(word >> 8);
				made += length + 3;
			}
		}
	}
	chunk[0] = (uint8_t)(at - 3);
	chunk[1] = (uint8_t)((at - 3) >> 8 | 0xB0);
	return at;
}

/* libfwnt decodes the same, and refuses nothing that we take. */
static void test_lznt1_against_libfwnt(void **state)
{
	static uint8_t in[3 * 8192], ours[3 * 4096], theirs[3 * 4096];

	(void)state;
	srand(7);
	for (unsigned round = 0; round < 300; round++) {
		size_t made = 0, got = sizeof(theirs), length;

		length = random_chunk(in, 200 + (size_t)rand() % 3800);
		in[length] = in[length + 1] = 0;
		memset(ours, 0, sizeof(ours));
		memset(theirs, 0, sizeof(theirs));
		assert_true(lznt1_decode(in, length + 2, ours, sizeof(ours), &made));
		assert_int_equal(libfwnt_lznt1_decompress(in, length, theirs, &got, NULL), 1);
		assert_int_equal(made, got);
		assert_memory_equal(ours, theirs, made);
	}
}

/* Chunks: a short one in the middle is filled up, a stored one is copied, a zero header ends it. */
static void test_chunks(void **state)
{
	uint8_t in[2 * sizeof(packed_song) + 4096 + 4] = {0}, out[3 * 4096];
	size_t made, at = 0;

	(void)state;
	memcpy(in, packed_song, sizeof(packed_song));
	at += sizeof(packed_song);
	in[at++] = 0xFF; /* 4,096 bytes as they are */
	in[at++] = 0x3F;
	memset(in + at, 'x', 4096);
	at += 4096;
	memcpy(in + at, packed_song, sizeof(packed_song));
	at += sizeof(packed_song);
	assert_true(at + 2 == sizeof(in));
	memset(out, 0xEE, sizeof(out));
	assert_true(lznt1_decode(in, sizeof(in), out, sizeof(out), &made));
	assert_int_equal(made, 2 * 4096 + sizeof(song));
	assert_memory_equal(out, song, sizeof(song));
	for (size_t i = sizeof(song); i < 4096; i++)
		assert_int_equal(out[i], 0);
	assert_int_equal(out[4096], 'x');
	assert_int_equal(out[8191], 'x');
	assert_memory_equal(out + 8192, song, sizeof(song));
}

/* Every single-byte change is either refused or gives some output, within bounds. */
static void test_damaged_lznt1(void **state)
{
	uint8_t *in = malloc(sizeof(packed_song)), *out = malloc(4096);
	size_t made, refused = 0;

	(void)state;
	for (size_t i = 0; i < sizeof(packed_song); i++) {
		for (unsigned value = 0; value < 256; value++) {
			memcpy(in, packed_song, sizeof(packed_song));
			in[i] = (uint8_t)value;
			refused += !lznt1_decode(in, sizeof(packed_song), out, 4096, &made);
			assert_true(made <= 4096);
		}
	}
	assert_true(refused > 0);
	for (size_t length = 2; length < sizeof(packed_song); length++)
		assert_false(lznt1_decode(packed_song, length, out, 4096, &made));
	free(in);
	free(out);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_documented_examples),
	    cmocka_unit_test(test_nonsense),
	    cmocka_unit_test(test_packed_nonsense),
	    cmocka_unit_test(test_published_lznt1),
	    cmocka_unit_test(test_lznt1_against_libfwnt),
	    cmocka_unit_test(test_chunks),
	    cmocka_unit_test(test_damaged_lznt1),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
