/*
 * Numbers in raw bytes: little-endian, as nearly every structure on an old drive stores them, and
 * big-endian (_be).
 *
 * No alignment is needed. The caller has checked that the bytes are there.
 */
#ifndef BASE_BYTES_H
#define BASE_BYTES_H

#include <stdint.h>

static inline uint16_t get_u16(const void *bytes)
{
	const uint8_t *b = bytes;

	return (uint16_t)(b[0] | b[1] << 8);
}

static inline uint32_t get_u32(const void *bytes)
{
	const uint8_t *b = bytes;

	return (uint32_t)get_u16(b) | (uint32_t)get_u16(b + 2) << 16;
}

static inline uint64_t get_u64(const void *bytes)
{
	const uint8_t *b = bytes;

	return (uint64_t)get_u32(b) | (uint64_t)get_u32(b + 4) << 32;
}

static inline uint16_t get_u16_be(const void *bytes)
{
	const uint8_t *b = bytes;

	return (uint16_t)(b[0] << 8 | b[1]);
}

static inline uint32_t get_u32_be(const void *bytes)
{
	const uint8_t *b = bytes;

	return (uint32_t)b[0] << 24 | (uint32_t)b[1] << 16 | (uint32_t)b[2] << 8 | b[3];
}

static inline uint64_t get_u64_be(const void *bytes)
{
	const uint8_t *b = bytes;

	return (uint64_t)get_u32_be(b) << 32 | get_u32_be(b + 4);
}

static inline void put_u16(void *bytes, uint16_t value)
{
	uint8_t *b = bytes;

	b[0] = (uint8_t)value;
	b[1] = (uint8_t)(value >> 8);
}

static inline void put_u32(void *bytes, uint32_t value)
{
	put_u16(bytes, (uint16_t)value);
	put_u16((uint8_t *)bytes + 2, (uint16_t)(value >> 16));
}

static inline void put_u64(void *bytes, uint64_t value)
{
	put_u32(bytes, (uint32_t)value);
	put_u32((uint8_t *)bytes + 4, (uint32_t)(value >> 32));
}

#endif
