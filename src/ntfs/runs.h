/*
 * Run lists: where the clusters of a stream lie. Private to src/ntfs.
 *
 * On the volume a run list is "mapping pairs"; in the catalogue it is packed once more, joined over
 * all records that hold a part of it, checked, and free of anything that could lead out of the
 * volume.
 *
 * Source: linux-ntfs documentation, "Data runs".
 */
#ifndef NTFS_RUNS_H
#define NTFS_RUNS_H

#include "base/buf.h"
#include "ntfs/volume.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/*
 * No stream and no volume has more clusters than this (the file system itself stops at 2^32), so
 * that sums and offsets in bytes never overflow.
 */
#define RUNS_MAX_CLUSTERS (UINT64_C(1) << 41)

struct run_list {
	struct run *items;
	size_t count, capacity;
	bool failed; /* memory ran out */
};
void run_list_free(struct run_list *list);

/* Adds `length` clusters at `lcn` behind the last run, joined with it when they touch. */
void run_list_add(struct run_list *list, uint64_t lcn, uint64_t length);
/* First cluster behind the last run. */
uint64_t run_list_end(const struct run_list *list);

/*
 * Appends the runs of one attribute's mapping pairs. The runs must end at `end` (the highest VCN +
 * 1) when that is not 0; `clusters` is the volume's number of clusters. From the first senseless
 * pair on everything up to `end` becomes RUN_LOST. False when something was senseless.
 */
bool runs_decode(
    struct run_list *list, const uint8_t *pairs, size_t length, uint64_t end, uint64_t clusters);

/* Appends a packed form that ends itself. */
void runs_pack(struct buf *packed, const struct run *runs, size_t count);

/* Goes over a packed run list. */
struct run_cursor {
	const uint8_t *at, *end;
	uint64_t vcn, lcn;
};
void run_cursor_start(struct run_cursor *cursor, const uint8_t *packed, size_t length);
bool run_cursor_next(struct run_cursor *cursor, struct run *run);
/* From the first run of a stream that is not resident. */
struct stream;
void run_cursor_stream(
    struct run_cursor *cursor, const struct catalogue *catalogue, const struct stream *stream);

#endif
