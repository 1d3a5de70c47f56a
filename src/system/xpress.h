/*
 * XPRESS with Huffman codes, as one stream of any length: what run traces of newer old systems are
 * packed with.
 *
 * Each 65,536 bytes of output begin with a table of code lengths of their own, and matches reach
 * back into the blocks before; libwim's decoder knows only single blocks. Source: [MS-XCA] 2.1 and
 * 2.2.
 */
#ifndef SYSTEM_XPRESS_H
#define SYSTEM_XPRESS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/*
 * Unpacks until `out` is full. False when the input is malformed or ends before that, or memory
 * runs out; `out` may hold anything then.
 */
bool xpress_decode(const uint8_t *in, size_t in_length, uint8_t *out, size_t out_length);

#endif
