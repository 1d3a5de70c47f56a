/* LZNT1: see lznt1.h. */
#include "ntfs/lznt1.h"

#include "base/bytes.h"

#include <string.h>

#define CHUNK_SIZE 4096u

/* Copies `length` bytes from `distance` bytes back; the ranges may overlap, which repeats a
 * pattern. */
static void copy_back(uint8_t *to, size_t distance, size_t length)
{
	const uint8_t *from = to - distance;

	if (distance >= length) {
		memcpy(to, from, length);
		return;
	}
	while (length-- > 0)
		*to++ = *from++;
}

/*
 * Decodes the flag groups of one compressed chunk. Returns the bytes made, or SIZE_MAX. How many
 * bits of a two-byte word the distance has depends on how far the chunk has come: as many as reach
 * back to its start, at least four.
 */
static size_t decode_chunk(const uint8_t *in, size_t in_length, uint8_t *out, size_t room)
{
	const uint8_t *end = in + in_length;
	unsigned bits = 4;
	size_t made = 0;

	while (in < end) {
		unsigned flags = *in++;

		for (unsigned i = 0; i < 8 && in < end; i++, flags >>= 1) {
			unsigned word;
			size_t distance, length;

			if ((flags & 1) == 0) {
				if (made == room)
					return SIZE_MAX;
				out[made++] = *in++;
				continue;
			}
			if (end - in < 2)
				return SIZE_MAX;
			word = get_u16(in);
			in += 2;
			while (made > (size_t)1 << bits)
				bits++;
			distance = (word >> (16 - bits)) + 1;
			length = (word & (0xFFFFu >> bits)) + 3;
			if (distance > made || length > room - made)
				return SIZE_MAX;
			copy_back(out + made, distance, length);
			made += length;
		}
	}
	return made;
}

bool lznt1_decode(
    const uint8_t *in, size_t in_length, uint8_t *out, size_t out_length, size_t *produced)
{
	size_t done = 0, chunk_start = 0;

	*produced = 0;
	while (in_length >= 2 && chunk_start < out_length) {
		unsigned header = get_u16(in);
		size_t size = (header & 0xFFF) + 1, made;
		size_t room = out_length - chunk_start;

		if (header == 0)
			break;
		if ((header >> 12 & 7) != 3 || size > in_length - 2)
			return false;
		if (room > CHUNK_SIZE)
			room = CHUNK_SIZE;
		/* A chunk always stands for 4,096 bytes: a short one before this ends in zeros. */
		memset(out + done, 0, chunk_start - done);
		if ((header & 0x8000) != 0) {
			made = decode_chunk(in + 2, size, out + chunk_start, room);
			if (made == SIZE_MAX)
				return false;
		} else {
			if (size > room)
				return false;
			memcpy(out + chunk_start, in + 2, size);
			made = size;
		}
		done = chunk_start + made;
		*produced = done;
		chunk_start += CHUNK_SIZE;
		in += 2 + size;
		in_length -= 2 + size;
	}
	return true;
}
