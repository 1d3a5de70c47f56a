/*
 * Joining deflate streams that were made apart from each other into one.
 *
 * libdeflate is fast because it sees a whole buffer and makes a whole stream of it: its last block
 * is marked as the last (BFINAL), and ends anywhere within the last byte. Chunks that several
 * threads compress at a time become one stream when every chunk but the last loses that mark and
 * gets an empty stored block behind it, which leads to the next whole byte: the form that a
 * "synchronising flush" has in a stream that is made in one piece. Where the mark stands and in
 * which bit the stream ends can only be known by following its codes from the beginning; nothing
 * has to be put out for that, so it takes a sixth of the time that compressing took (measured with
 * texts and programs). zlib can flush, but takes half as long again as both together.
 *
 * Source: RFC 1951, 3.2.3 (blocks), 3.2.4 (stored blocks), 3.2.5 to 3.2.7 (codes).
 */
#ifndef EXTRACT_DEFLATE_JOIN_H
#define EXTRACT_DEFLATE_JOIN_H

#include <stddef.h>
#include <stdint.h>

/* What an opened stream is longer than before, at most. */
#define DEFLATE_OPEN_GROWTH 5
/* Bytes that may be read and written behind the stream. */
#define DEFLATE_OPEN_ROOM 32

/*
 * Makes the whole stream of `length` bytes one that goes on: another stream can be put right behind
 * it. DEFLATE_OPEN_ROOM bytes behind the stream must be there. Returns the new length; 0 when the
 * stream is damaged, or does not end in its last byte.
 */
size_t deflate_open_end(uint8_t *stream, size_t length);

/* Bytes that `length` bytes take in stored blocks; at least one block. */
size_t deflate_stored_size(size_t length);

/* The longest stored block, and the length of its header when it begins in a whole byte. */
#define DEFLATE_STORED_MOST 65535
#define DEFLATE_STORED_HEADER 5
void deflate_stored_header(uint8_t header[DEFLATE_STORED_HEADER], uint16_t length, int is_last);

#endif
