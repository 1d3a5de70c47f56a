/* Where the bytes of a stream lie: see extents.h. */
#include "ntfs/extents.h"

#include "ntfs/data.h"
#include "ntfs/runs.h"

#define BEHIND_TABLE (UINT64_C(1) << 63)

static bool is_in_table(const struct stream *stream)
{
	return (stream->flags & STREAM_RESIDENT) != 0;
}

static bool is_on_drive(const struct run *run)
{
	return run->lcn != RUN_SPARSE && run->lcn != RUN_LOST;
}

uint64_t extents_place(const struct catalogue *catalogue, const struct stream *stream)
{
	const struct volume *volume = catalogue->volume;
	struct run_cursor cursor;
	struct run run;

	if (stream->size == 0)
		return 0;
	stream = data_carrier(catalogue, stream);
	if (is_in_table(stream))
		return 1 + (stream->location >> 16);
	run_cursor_stream(&cursor, catalogue, stream);
	while (run_cursor_next(&cursor, &run))
		if (is_on_drive(&run))
			return BEHIND_TABLE | (volume->offset + run.lcn * volume->cluster_size);
	return 0;
}

bool extents_visit(const struct catalogue *catalogue, const struct stream *stream, uint64_t from,
    uint64_t to, bool (*visit)(void *context, uint64_t offset, uint64_t length), void *context)
{
	const struct volume *volume = catalogue->volume;
	uint64_t cluster = volume->cluster_size, first, end;
	struct run_cursor cursor;
	struct run run;

	if ((stream->flags & STREAM_CARRIED) != 0) {
		/* Which of the carrier's bytes a part of the file needs, only its own table tells. */
		stream = data_carrier(catalogue, stream);
		from = 0;
		to = stream->size;
	}
	if (is_in_table(stream))
		return true;
	/* What was never written is not read either. */
	if (to > stream->initialized)
		to = stream->initialized;
	if (from >= to)
		return true;
	first = from / cluster;
	end = (to - 1) / cluster + 1;
	if ((stream->flags & STREAM_COMPRESSED) != 0 && stream->unit_shift < 32) {
		uint64_t unit = UINT64_C(1) << stream->unit_shift;

		first -= first % unit;
		end += (unit - end % unit) % unit;
	}
	run_cursor_stream(&cursor, catalogue, stream);
	while (run_cursor_next(&cursor, &run) && run.vcn < end) {
		uint64_t skip = run.vcn < first ? first - run.vcn : 0;
		uint64_t stop = run.length < end - run.vcn ? run.length : end - run.vcn;

		if (skip >= stop || !is_on_drive(&run))
			continue;
		if (!visit(context, volume->offset + (run.lcn + skip) * cluster,
			(stop - skip) * cluster))
			return false;
	}
	return true;
}
