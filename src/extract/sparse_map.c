/* Where a sparse stream holds data: see sparse_map.h. */
#include "extract/sparse_map.h"

#include "extract/items.h"

#define SMALLEST_GAP UINT64_C(65536) /* bytes: a smaller one costs more than it saves */
#define MOST_RANGES 4096

/* Adds a range of data, joined to the last one where the gap between is small. */
static size_t add_range(struct hole *map, size_t count, uint64_t start, uint64_t end)
{
	if (count > 0 && start - (map[count - 1].offset + map[count - 1].length) < SMALLEST_GAP) {
		map[count - 1].length = end - map[count - 1].offset;
		return count;
	}
	map[count] = (struct hole){start, end - start};
	return count + 1;
}

bool sparse_map(const struct plan *plan, const struct item *item, struct arena *arena,
    const struct hole **map, size_t *n_map)
{
	const struct catalogue *catalogue = item_catalogue(plan, item);
	const struct stream *stream = item_stream(plan, item);
	uint64_t cluster = catalogue->volume->cluster_size;
	uint64_t stored = 0;
	struct hole *ranges;
	struct run *runs;
	size_t n_runs, count = 0;

	*map = NULL;
	*n_map = 0;
	if (item->form != FORM_CONTENT || (stream->flags & STREAM_SPARSE) == 0 ||
	    (stream->flags & (STREAM_COMPRESSED | STREAM_RESIDENT)) != 0)
		return true;
	n_runs = data_runs(catalogue, stream, arena, &runs);
	ranges = arena_array(arena, n_runs + 1, sizeof(*ranges));
	if (ranges == NULL)
		return false;
	for (size_t i = 0; i < n_runs; i++) {
		uint64_t start, end;

		if (runs[i].lcn == RUN_SPARSE || runs[i].vcn >= stream->size / cluster + 1)
			continue;
		start = runs[i].vcn * cluster;
		end = runs[i].length > stream->size / cluster ? stream->size :
								start + runs[i].length * cluster;
		end = end > stream->size ? stream->size : end;
		if (start >= end || (count > 0 && start < ranges[count - 1].offset +
			    ranges[count - 1].length))
			continue;
		count = add_range(ranges, count, start, end);
	}
	for (size_t i = 0; i < count; i++)
		stored += ranges[i].length;
	if (count > MOST_RANGES || stream->size - stored < SMALLEST_GAP)
		return true;
	*map = ranges;
	*n_map = count;
	return true;
}
