/*
 * LZNT1: how the file system compresses a file's data. Private to src/ntfs.
 *
 * Source: [MS-XCA] section 2.5 (LZNT1 algorithm details).
 */
#ifndef NTFS_LZNT1_H
#define NTFS_LZNT1_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/*
 * Decodes chunks from `in` until their end mark, the end of `in`, or a full `out`. *produced says
 * how many bytes of `out` were written. False when the data is malformed; *produced is then what
 * came out of the chunks before the bad one.
 */
bool lznt1_decode(
    const uint8_t *in, size_t in_length, uint8_t *out, size_t out_length, size_t *produced);

#endif
