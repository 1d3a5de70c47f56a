/* Counting in a map of bits; see bits.h. */
#include "base/bits.h"

#include <string.h>

uint64_t bits_count_zeros(const uint8_t *bytes, uint64_t count)
{
	uint64_t ones = 0, whole = count / 64, word;
	unsigned rest = (unsigned)(count % 64);

	for (uint64_t i = 0; i < whole; i++) {
		memcpy(&word, bytes + 8 * i, sizeof(word));
		ones += (unsigned)__builtin_popcountll(word);
	}
	bytes += 8 * whole;
	for (; rest >= 8; rest -= 8)
		ones += (unsigned)__builtin_popcount(*bytes++);
	if (rest > 0)
		ones += (unsigned)__builtin_popcount(*bytes & ((1u << rest) - 1));
	return count - ones;
}
