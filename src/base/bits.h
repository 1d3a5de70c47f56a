/*
 * Counting in a map of bits, the form in which file systems note which clusters are in use.
 */
#ifndef BASE_BITS_H
#define BASE_BITS_H

#include <stdint.h>

/* How many of the first `count` bits are zero; bit 0 of a byte comes first. */
uint64_t bits_count_zeros(const uint8_t *bytes, uint64_t count);

#endif
