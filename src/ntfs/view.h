/*
 * Ways to read a stream: its content, what lies in its clusters, or only what of it is there.
 *
 * Sources: linux-ntfs documentation, "Data runs"; that the file system encrypts in sectors of 512
 * bytes, and the last one whole: [MS-EFSR] 2.2.2.1.3 (data segments).
 */
#ifndef NTFS_VIEW_H
#define NTFS_VIEW_H

#include "ntfs/data.h"

#define VIEW_SECTOR 512u /* bytes that are encrypted together */

enum view {
	VIEW_CONTENT = 0, /* its bytes: data.h */
	/* Of an encrypted stream: its sectors as they lie on the drive, the last one whole. */
	VIEW_RAW = 1,
	/* Of a sparse stream: the ranges that hold data, one behind the other. */
	VIEW_RANGES = 2,
	VIEW_RAW_RANGES = 3, /* both */
};

/* Bytes that the view has. */
uint64_t view_size(const struct catalogue *catalogue, const struct stream *stream, enum view view);

/*
 * The ranges of the content, or with VIEW_RAW of the sectors, that hold data; what lies between and
 * behind them was never written, and reads as zero. Added to *ranges, in bytes.
 */
void view_ranges(const struct catalogue *catalogue, const struct stream *stream, enum view view,
    struct holes *ranges);

struct view_reader;

/* Opens a stream for reading from its start. NULL when memory runs out. */
struct view_reader *view_open(
    const struct catalogue *catalogue, const struct stream *stream, enum view view);
void view_close(struct view_reader *reader); /* NULL is allowed */

/*
 * As data_read(), data_sparse(), data_dense(), data_skip(); holes are offsets in the stream in
 * every view.
 */
size_t view_read(struct view_reader *reader, void *buffer, size_t length, struct holes *holes);
uint64_t view_sparse(struct view_reader *reader, uint64_t length);
uint64_t view_dense(const struct view_reader *reader, uint64_t length);
void view_skip(struct view_reader *reader, uint64_t length);

#endif
