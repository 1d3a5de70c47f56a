/*
 * Joining deflate streams: see deflate_join.h.
 *
 * The walk below only counts bits. A table that is looked up by the next 11 bits says how many of
 * them to skip: for a length with its extra bits, and for as many literals as fit whole into the 11
 * bits, since what they are does not matter.
 */
#include "extract/deflate_join.h"

#include "base/bytes.h"

#include <stdbool.h>
#include <string.h>

#define LITERALS 288
#define DISTANCES 32
#define LONGEST_CODE 15

#define LITERAL_BITS 11
#define DISTANCE_BITS 8
#define LITERAL_MASK ((UINT64_C(1) << LITERAL_BITS) - 1)
#define DISTANCE_MASK ((UINT64_C(1) << DISTANCE_BITS) - 1)
#define LENGTH_CODE_BITS 7 /* the code for code lengths: none is longer */

/* What a table says: how many bits to skip, and what comes after. Just a number: go on. */
#define SKIP 0x3F
#define DISTANCE 0x40 /* it was a length: a distance follows */
#define END 0x80      /* it was the end of the block */
#define FAR 0x100     /* no code, or one that is longer than the table is wide */

/* A code too long for the table. */
struct long_code {
	uint16_t code; /* first bit lowest, as it stands in the stream */
	uint8_t length;
	uint16_t entry;
};

struct walk {
	const uint8_t *stream;
	uint64_t at, end; /* bits */
	uint64_t last;    /* where the header of the last block stands */
	uint16_t literals[1 << LITERAL_BITS];
	uint16_t distances[1 << DISTANCE_BITS];
	uint16_t lengths[1 << LENGTH_CODE_BITS]; /* the symbol in the bits from 6 on */
	struct long_code long_literals[LITERALS], long_distances[DISTANCES];
	size_t n_long_literals, n_long_distances;
};

/* At least 57 bits from where the walk is; behind the end they come out of the room there. */
static uint64_t peek(const struct walk *walk)
{
	return get_u64(walk->stream + walk->at / 8) >> walk->at % 8;
}

static uint32_t take(struct walk *walk, unsigned count)
{
	uint32_t bits = (uint32_t)(peek(walk) & ((UINT64_C(1) << count) - 1));

	walk->at += count;
	return bits;
}

/* --- tables --- */

static uint32_t reversed(uint32_t code, unsigned length)
{
	uint32_t result = 0;

	for (; length > 0; length--, code >>= 1)
		result = result << 1 | (code & 1);
	return result;
}

/*
 * Fills a table of `bits` bits from the code lengths (RFC 1951, 3.2.2); entries[symbol] is added to
 * the length. Codes that are longer go into `far`. False when there are more codes than the lengths
 * allow.
 */
static bool fill_table(uint16_t *table, unsigned bits, const uint8_t *lengths, size_t n_symbols,
    const uint16_t *entries, struct long_code *far, size_t *n_far)
{
	uint32_t count[LONGEST_CODE + 1] = {0}, next[LONGEST_CODE + 2] = {0};

	for (size_t i = 0; i < n_symbols; i++)
		count[lengths[i]]++;
	count[0] = 0;
	for (unsigned length = 1; length <= LONGEST_CODE; length++) {
		next[length + 1] = (next[length] + count[length]) << 1;
		if (next[length] + count[length] > UINT32_C(1) << length)
			return false;
	}
	for (size_t i = 0; i < (size_t)1 << bits; i++)
		table[i] = FAR;
	*n_far = 0;
	for (size_t i = 0; i < n_symbols; i++) {
		unsigned length = lengths[i];
		uint32_t code;

		if (length == 0)
			continue;
		code = reversed(next[length]++, length);
		if (length > bits)
			far[(*n_far)++] = (struct long_code){(uint16_t)code, (uint8_t)length,
			    (uint16_t)(entries[i] + length)};
		else
			for (size_t at = code; at < (size_t)1 << bits; at += (size_t)1 << length)
				table[at] = (uint16_t)(entries[i] + length);
	}
	return true;
}

/*
 * A literal whose code leaves bits over takes the literals in those with it. From the highest index
 * down, so that what an entry refers to is still a single symbol.
 */
static void chain_literals(uint16_t *table)
{
	for (uint32_t i = (1 << LITERAL_BITS) - 1; i > 0; i--) {
		uint32_t skip = table[i] & SKIP;
		uint16_t behind;

		if (table[i] > SKIP)
			continue;
		behind = table[i >> skip];
		while (behind <= SKIP && skip + behind <= LITERAL_BITS) {
			skip += behind;
			behind = table[i >> skip];
		}
		table[i] = (uint16_t)skip;
	}
}

/* Extra bits of the length symbols from 257 and the distance symbols (RFC 1951, 3.2.5). */
static unsigned length_extra(unsigned symbol)
{
	return symbol < 265 || symbol == 285 ? 0 : (symbol - 261) / 4;
}

static unsigned distance_extra(unsigned symbol)
{
	return symbol < 4 ? 0 : (symbol - 2) / 2;
}

static bool fill_tables(struct walk *walk, const uint8_t *lengths, size_t n_literals,
    size_t n_distances)
{
	uint16_t entries[LITERALS];

	for (unsigned i = 0; i < LITERALS; i++)
		entries[i] = i < 256 ? 0 :
		    i == 256 ? END :
		    i < 286 ? (uint16_t)(DISTANCE + length_extra(i)) : FAR;
	if (!fill_table(walk->literals, LITERAL_BITS, lengths, n_literals, entries,
		walk->long_literals, &walk->n_long_literals))
		return false;
	chain_literals(walk->literals);
	for (unsigned i = 0; i < DISTANCES; i++)
		entries[i] = i < 30 ? (uint16_t)distance_extra(i) : FAR;
	return fill_table(walk->distances, DISTANCE_BITS, lengths + n_literals, n_distances,
	    entries, walk->long_distances, &walk->n_long_distances);
}

/* The fixed codes (RFC 1951, 3.2.6). */
static bool fixed_tables(struct walk *walk)
{
	uint8_t lengths[LITERALS + DISTANCES];

	memset(lengths, 8, 144);
	memset(lengths + 144, 9, 112);
	memset(lengths + 256, 7, 24);
	memset(lengths + 280, 8, 8);
	memset(lengths + LITERALS, 5, DISTANCES);
	return fill_tables(walk, lengths, LITERALS, DISTANCES);
}

/* The code lengths of a dynamic block (RFC 1951, 3.2.7): n of them. */
static bool take_lengths(struct walk *walk, uint8_t *lengths, size_t n)
{
	size_t i = 0;

	while (i < n && walk->at <= walk->end) {
		uint16_t entry = walk->lengths[peek(walk) & ((1 << LENGTH_CODE_BITS) - 1)];
		unsigned symbol = entry >> 6;
		uint8_t value = 0;
		size_t repeat = 1;

		if (entry == FAR)
			return false;
		walk->at += entry & SKIP;
		if (symbol < 16) {
			value = (uint8_t)symbol;
		} else if (symbol == 16) {
			if (i == 0)
				return false;
			value = lengths[i - 1];
			repeat = 3 + take(walk, 2);
		} else {
			repeat = symbol == 17 ? 3 + take(walk, 3) : 11 + take(walk, 7);
		}
		if (repeat > n - i)
			return false;
		memset(lengths + i, value, repeat);
		i += repeat;
	}
	return i == n;
}

static bool dynamic_tables(struct walk *walk)
{
	static const uint8_t order[19] = {16, 17, 18, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14,
	    1, 15};
	uint8_t lengths[LITERALS + DISTANCES] = {0}, code_lengths[19] = {0};
	uint16_t entries[19];
	struct long_code none[19];
	size_t n_literals = 257 + take(walk, 5), n_distances = 1 + take(walk, 5), n_none;
	size_t n_codes = 4 + take(walk, 4);

	if (n_literals > LITERALS)
		return false;
	for (size_t i = 0; i < n_codes; i++)
		code_lengths[order[i]] = (uint8_t)take(walk, 3);
	for (unsigned i = 0; i < 19; i++)
		entries[i] = (uint16_t)(i << 6);
	/* Symbol 4 with its length is not FAR: lengths are not 0. */
	return walk->at <= walk->end &&
	    fill_table(walk->lengths, LENGTH_CODE_BITS, code_lengths, 19, entries, none, &n_none) &&
	    take_lengths(walk, lengths, n_literals + n_distances) &&
	    fill_tables(walk, lengths, n_literals, n_distances);
}

/* --- the walk --- */

/* The entry of a long code; FAR: there is none. */
static uint16_t find_long(const struct long_code *codes, size_t count, uint64_t bits)
{
	for (size_t i = 0; i < count; i++)
		if ((bits & ((1u << codes[i].length) - 1)) == codes[i].code)
			return codes[i].entry;
	return FAR;
}

/*
 * From behind the tables to behind the end of the block. A load of 57 bits is good for up to three
 * looks into the tables: literals (11 bits at most), literals or a length (20), a distance (28).
 */
static bool skip_symbols(struct walk *walk)
{
	const uint8_t *stream = walk->stream;
	uint64_t at = walk->at, end = walk->end;
	uint16_t entry = 0;

	while ((entry & (END | FAR)) == 0 && at <= end) {
		uint64_t bits = get_u64(stream + at / 8) >> at % 8;

		entry = walk->literals[bits & LITERAL_MASK];
		if (entry <= SKIP) {
			at += entry;
			bits >>= entry;
			entry = walk->literals[bits & LITERAL_MASK];
		}
		if ((entry & FAR) != 0)
			entry = find_long(walk->long_literals, walk->n_long_literals, bits);
		at += entry & SKIP;
		if ((entry & DISTANCE) == 0)
			continue;
		bits >>= entry & SKIP;
		entry = walk->distances[bits & DISTANCE_MASK];
		if ((entry & FAR) != 0)
			entry = find_long(walk->long_distances, walk->n_long_distances, bits);
		at += entry & SKIP;
	}
	walk->at = at;
	return (entry & END) != 0 && at <= end;
}

static bool skip_stored(struct walk *walk)
{
	uint32_t sizes;

	walk->at = (walk->at + 7) / 8 * 8;
	if (walk->at + 32 > walk->end)
		return false;
	sizes = get_u32(walk->stream + walk->at / 8);
	walk->at += 32 + 8 * (uint64_t)(sizes & 0xFFFF);
	return (sizes & 0xFFFF) == (~sizes >> 16 & 0xFFFF) && walk->at <= walk->end;
}

/* To the end of the last block. */
static bool walk_blocks(struct walk *walk)
{
	bool is_last = false;

	while (!is_last) {
		bool good;

		if (walk->at + 3 > walk->end)
			return false;
		walk->last = walk->at;
		is_last = take(walk, 1) != 0;
		switch (take(walk, 2)) {
		case 0:
			good = skip_stored(walk);
			break;
		case 1:
			good = fixed_tables(walk) && skip_symbols(walk);
			break;
		case 2:
			good = dynamic_tables(walk) && skip_symbols(walk);
			break;
		default:
			good = false;
		}
		if (!good)
			return false;
	}
	return (walk->at + 7) / 8 == walk->end / 8;
}

size_t deflate_open_end(uint8_t *stream, size_t length)
{
	struct walk walk = {.stream = stream, .end = (uint64_t)length * 8};

	memset(stream + length, 0, DEFLATE_OPEN_ROOM);
	if (!walk_blocks(&walk))
		return 0;
	stream[walk.last / 8] &= (uint8_t)~(1u << walk.last % 8);
	/* The header of a stored block is three zeros, and zeros lead to the next whole byte. */
	if (walk.at % 8 != 0)
		stream[walk.at / 8] &= (uint8_t)((1u << walk.at % 8) - 1);
	length = (size_t)((walk.at + 3 + 7) / 8);
	memcpy(stream + length, "\0\0\xFF\xFF", 4);
	return length + 4;
}

/* --- stored blocks --- */

size_t deflate_stored_size(size_t length)
{
	size_t blocks = length / DEFLATE_STORED_MOST + (length % DEFLATE_STORED_MOST != 0);

	return length + (blocks == 0 ? 1 : blocks) * DEFLATE_STORED_HEADER;
}

void deflate_stored_header(uint8_t header[DEFLATE_STORED_HEADER], uint16_t length, int is_last)
{
	header[0] = is_last ? 1 : 0;
	put_u16(header + 1, length);
	put_u16(header + 3, (uint16_t)~length);
}
