/*
 * Marvin32, the hash that seals each entry of a log of Windows 8.1 and later.
 *
 * Sources: regf specification, section "Log entries", notes 1-3 (what is hashed, with which seed);
 * the rounds as in the open SymCrypt library's description of Marvin32.
 */
#include "hive/internal.h"

static uint32_t rotate(uint32_t value, unsigned by)
{
	return value << by | value >> (32 - by);
}

static void mix(uint32_t *low, uint32_t *high, uint32_t word)
{
	*low += word;
	*high ^= *low;
	*low = rotate(*low, 20) + *high;
	*high = rotate(*high, 9) ^ *low;
	*low = rotate(*low, 27) + *high;
	*high = rotate(*high, 19);
}

uint64_t marvin32(uint64_t seed, const void *data, size_t length)
{
	const uint8_t *bytes = data;
	uint32_t low = (uint32_t)seed, high = (uint32_t)(seed >> 32), last = 0x80;
	size_t whole = length / 4 * 4;

	for (size_t i = 0; i < whole; i += 4)
		mix(&low, &high, get_u32(bytes + i));
	for (size_t i = length; i > whole; i--)
		last = last << 8 | bytes[i - 1];
	mix(&low, &high, last);
	mix(&low, &high, 0);
	return (uint64_t)high << 32 | low;
}
