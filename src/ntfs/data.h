/*
 * The bytes of a stream: resident, in runs, sparse, compressed by the file system (LZNT1), or
 * compressed by the old system (see wof.h).
 *
 * Source: linux-ntfs documentation "Data runs", "Compression"; [MS-XCA] section 2.5 (LZNT1).
 */
#ifndef NTFS_DATA_H
#define NTFS_DATA_H

#include "disk/hole.h"
#include "ntfs/catalogue.h"

/* Can the bytes be had at all, and if not, why? */
enum content {
	CONTENT_READABLE,
	/* A cloud file, or one with a tag that is not known: its bytes may lie elsewhere, too. */
	CONTENT_CLOUD_ONLY,        /* without any run of its own */
	CONTENT_CLOUD_PART,        /* with some of its runs */
	CONTENT_ENCRYPTED,         /* by the file system */
	CONTENT_SYSTEM_COMPRESSED, /* by the old system, in a way that cannot be decoded */
	CONTENT_DEDUPLICATED,      /* reparse tag of the server's deduplication */
	CONTENT_DAMAGED,           /* nothing of its run list, or of its reparse point, is usable */
};
enum content data_content(const struct catalogue *catalogue, const struct stream *stream);

/*
 * The ranges of a stream, in bytes, that have no clusters of their own (for a cloud file: the parts
 * that are only in the cloud). Added to *missing.
 */
void data_missing(
    const struct catalogue *catalogue, const struct stream *stream, struct holes *missing);

/*
 * The stream whose clusters hold the bytes of `stream`: itself, or the carrier of a
 * system-compressed file.
 */
const struct stream *data_carrier(const struct catalogue *catalogue, const struct stream *stream);

struct data_reader;

/*
 * Opens a stream for reading from its start to its end. NULL when memory runs out. Reading a stream
 * that is CONTENT_CLOUD_PART gives zeros where nothing is stored, listed by data_missing().
 */
struct data_reader *data_open(const struct catalogue *catalogue, const struct stream *stream);
void data_close(struct data_reader *reader);

/*
 * Reads the next `length` bytes, fewer only at the end. Returns how many (0 at the end). Large
 * requests (a multiple of 64 KiB, up to some MiB) become large reads of the drive. Unreadable bytes
 * are zero and added to *holes by their offset in the stream, at the drive's sector size, or a
 * whole compression unit or chunk where that cannot be decoded.
 */
size_t data_read(struct data_reader *reader, void *buffer, size_t length, struct holes *holes);

/*
 * How many of the next bytes are known to be zero without reading (a sparse range), at most
 * `length`; 0 when the next byte has to be read. data_skip() passes over them.
 */
uint64_t data_sparse(struct data_reader *reader, uint64_t length);
void data_skip(struct data_reader *reader, uint64_t length);
/*
 * How many of the next bytes, at most `length`, come before a sparse range that is worth to be told
 * apart: reading no further leaves that to data_sparse(). 0 only at the end, or where it begins.
 */
#define DATA_SPARSE_GAP UINT64_C(65536) /* bytes */
uint64_t data_dense(const struct data_reader *reader, uint64_t length);

/*
 * The whole stream at once, in `arena`, when it is not larger than `limit`; NULL otherwise and when
 * memory runs out. Not NULL for an empty stream.
 */
uint8_t *data_load(const struct catalogue *catalogue, const struct stream *stream, size_t limit,
    struct arena *arena, size_t *length, struct holes *holes);

/*
 * The runs of a stream, in `arena`, in order (sparse and lost ones too). Returns their number; 0
 * for resident data, and with *runs NULL when memory runs out.
 */
size_t data_runs(const struct catalogue *catalogue, const struct stream *stream,
    struct arena *arena, struct run **runs);

#endif
