/* XPRESS with Huffman codes: see xpress.h. */
#include "system/xpress.h"

#include "base/bytes.h"

#include <stdlib.h>
#include <string.h>

#define BLOCK 65536u
#define N_SYMBOLS 512u
#define LONGEST 15u /* bits of a code */
#define TABLE_BYTES (N_SYMBOLS / 2)
#define WORDS_BEHIND 2u /* words that are read ahead of their use, and so beyond the end */

struct decoder {
	const uint8_t *in;
	size_t length, at;
	unsigned beyond; /* words asked for beyond the end */
	uint32_t bits;   /* the next bits, highest first */
	int ahead;       /* how many there are beyond 16 */
	uint16_t
	    codes[1u << LONGEST]; /* by the next 15 bits: symbol * 16 + length, 0 for no code */
};

static uint32_t next_word(struct decoder *decoder)
{
	uint32_t word;

	if (decoder->length - decoder->at < 2) {
		decoder->at = decoder->length;
		decoder->beyond++;
		return 0;
	}
	word = get_u16(decoder->in + decoder->at);
	decoder->at += 2;
	return word;
}

static void use_bits(struct decoder *decoder, unsigned count)
{
	decoder->bits = count < 32 ? decoder->bits << count : 0;
	decoder->ahead -= (int)count;
	if (decoder->ahead < 0) {
		decoder->bits |= next_word(decoder) << -decoder->ahead;
		decoder->ahead += 16;
	}
}

/* Reads the table and the first bits of a block. False when the lengths make no set of codes. */
static bool start_block(struct decoder *decoder)
{
	const uint8_t *lengths = decoder->in + decoder->at;
	uint32_t next = 0;

	if (decoder->length - decoder->at < TABLE_BYTES)
		return false;
	for (unsigned length = 1; length <= LONGEST; length++)
		for (unsigned symbol = 0; symbol < N_SYMBOLS; symbol++) {
			uint32_t count = 1u << (LONGEST - length);

			if ((lengths[symbol / 2] >> (symbol % 2 * 4) & 0xF) != length)
				continue;
			if (count > (1u << LONGEST) - next)
				return false;
			while (count-- > 0)
				decoder->codes[next++] = (uint16_t)(symbol << 4 | length);
		}
	memset(decoder->codes + next, 0, ((1u << LONGEST) - next) * sizeof(*decoder->codes));
	decoder->at += TABLE_BYTES;
	decoder->bits = next_word(decoder) << 16;
	decoder->bits |= next_word(decoder);
	decoder->ahead = 16;
	return true;
}

/* The length of a match: longer ones are continued in bytes of their own between the words. */
static bool match_length(struct decoder *decoder, unsigned symbol, size_t *length)
{
	*length = symbol & 0xF;
	if (*length == 15) {
		if (decoder->at >= decoder->length)
			return false;
		*length = decoder->in[decoder->at++];
		if (*length == 255) {
			if (decoder->length - decoder->at < 2)
				return false;
			*length = get_u16(decoder->in + decoder->at);
			decoder->at += 2;
			if (*length == 0) {
				if (decoder->length - decoder->at < 4)
					return false;
				*length = get_u32(decoder->in + decoder->at);
				decoder->at += 4;
			}
			if (*length < 15)
				return false;
			*length -= 15;
		}
		*length += 15;
	}
	*length += 3;
	return true;
}

/* One literal or match. False when it makes no sense. */
static bool decode_one(struct decoder *decoder, uint8_t *out, size_t *at, size_t end)
{
	uint16_t code = decoder->codes[decoder->bits >> (32 - LONGEST)];
	unsigned symbol = code >> 4, reach;
	size_t length, offset;

	if (code == 0)
		return false;
	use_bits(decoder, code & 0xF);
	if (symbol < 256) {
		out[(*at)++] = (uint8_t)symbol;
		return true;
	}
	symbol -= 256;
	reach = symbol >> 4;
	if (!match_length(decoder, symbol, &length))
		return false;
	offset = ((size_t)1 << reach) + (reach ? decoder->bits >> (32 - reach) : 0);
	use_bits(decoder, reach);
	if (offset > *at || length > end - *at)
		return false;
	while (length-- > 0) {
		out[*at] = out[*at - offset];
		(*at)++;
	}
	return true;
}

bool xpress_decode(const uint8_t *in, size_t in_length, uint8_t *out, size_t out_length)
{
	struct decoder *decoder = malloc(sizeof(*decoder));
	size_t at = 0;
	bool good = decoder != NULL;

	if (good)
		*decoder = (struct decoder){.in = in, .length = in_length};
	while (good && at < out_length) {
		size_t end = at + BLOCK;

		good = start_block(decoder);
		while (good && at < end && at < out_length)
			good = decoder->beyond <= WORDS_BEHIND &&
			       decode_one(decoder, out, &at, out_length);
	}
	free(decoder);
	return good;
}
