/*
 * System compression: files that the overlay filter of newer old systems compressed. Private to
 * src/ntfs.
 *
 * Such a file has a reparse point, no clusters of its own, and a stream "WofCompressedData" with
 * its bytes: a table of offsets, then the chunks one behind the other. A chunk stands for a fixed
 * number of bytes (the last one for what is left) and is compressed by itself; one that would not
 * have shrunk is stored as it is.
 *
 * Sources: WOF_EXTERNAL_INFO and FILE_PROVIDER_EXTERNAL_INFO_V1 (Windows driver documentation) for
 * the reparse data; [MS-XCA] 2.1 and 2.2 (XPRESS with Huffman codes); the "Windows Imaging File
 * Format" white paper for table and chunks of a compressed resource, which the stream is laid out
 * like (that it is: common practice, no source).
 */
#ifndef NTFS_WOF_H
#define NTFS_WOF_H

#include "disk/hole.h"
#include "ntfs/catalogue.h"

#define WOF_STREAM "WofCompressedData"

/* How a file is compressed: 1 + the number that the reparse data give it. */
enum wof_method {
	WOF_NONE, /* not in a way that can be decoded: another provider, version or algorithm */
	WOF_XPRESS_4K,
	WOF_LZX, /* chunks of 32 KiB */
	WOF_XPRESS_8K,
	WOF_XPRESS_16K,
};

/* From the whole reparse data, header included. */
enum wof_method wof_method(const uint8_t *data, size_t length);

/* Bytes that a whole chunk stands for; 0 for WOF_NONE. */
uint32_t wof_chunk_size(enum wof_method method);

/* Decodes one chunk. False when it is malformed; `out` may hold anything then. */
struct wimlib_decompressor;
struct wimlib_decompressor *wof_decoder_open(enum wof_method method); /* NULL: no memory */
void wof_decoder_close(struct wimlib_decompressor *decoder);
bool wof_decode(struct wimlib_decompressor *decoder, const uint8_t *in, size_t in_length,
    uint8_t *out, size_t out_length);

/* Can `carrier` hold the table and all chunks of a file of `size` bytes? */
bool wof_is_plausible(enum wof_method method, uint64_t size, uint64_t carrier_size);

struct wof_reader;

/* Opens the file of `size` bytes whose chunks lie in `carrier`. NULL when memory runs out. */
struct wof_reader *wof_open(const struct catalogue *catalogue, const struct stream *carrier,
    enum wof_method method, uint64_t size);
void wof_close(struct wof_reader *reader); /* NULL is allowed */

/*
 * Reads up to `length` bytes at `position` (which is inside the file), as far as one chunk goes;
 * returns how many. A chunk that cannot be read or decoded is zero, and a hole of its length.
 * Positions that go forward are fast.
 */
size_t wof_read(struct wof_reader *reader, uint64_t position, uint8_t *buffer, size_t length,
    struct holes *holes);

#endif
