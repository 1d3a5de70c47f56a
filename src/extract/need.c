/* How much room a job takes: see need.h. */
#include "extract/need.h"

#include "extract/bookmark_files.h"
#include "extract/items.h"

/*
 * Bytes that are written for one file beside its content and the paths: a line of the record is
 * some 450 bytes long, its two lines in the proof have 132, and the proof's own archive repeats
 * those.
 */
#define RECORD_LINE 512u
#define PROOF_LINES 300u
/* And of the journal, which goes at the very end; twice where the file may be the same as another. */
#define JOURNAL_LINES 256u
/* How often a path is written: in the record (backslashes doubled), in the proof, in the archive.
 */
#define OLD_PATHS 2u
#define NEW_PATHS 7u

/* Small files of the job: record, proof, journal... */
#define PAPERS 16u

static bool is_stored(const struct item *item)
{
	return item->kind != ITEM_LINK && item->group != NONE && item_is_wanted(item);
}

static uint64_t round_up(uint64_t size, uint64_t unit)
{
	return (size / unit + (size % unit != 0)) * unit;
}

/* Of the content; what is sparse takes nothing, where the destination can leave it out. */
static uint64_t content(const struct plan *plan, const struct item *item, enum format format,
    const struct destination *destination)
{
	const struct stream *stream = item_stream(plan, item);
	bool is_sparse = (stream->flags & STREAM_SPARSE) != 0 &&
			 (stream->flags & STREAM_COMPRESSED) == 0 &&
			 stream->allocated < stream->size;
	bool left_out = format != FORMAT_FOLDER || !destination->stores_zeros;

	if (item->form != FORM_CONTENT)
		return item_stored_size(plan, item);
	if (is_sparse && left_out)
		return stream->allocated + stream->size / 1000;
	return stream->size;
}

/* What the format adds to one entry. */
static uint64_t frame(enum format format, uint64_t size)
{
	switch (format) {
	case FORMAT_ZIP:
		return 512 + size / 2000; /* as in writer_cost() */
	case FORMAT_TAR:
		return 4608;
	case FORMAT_FOLDER:
		/* A file record and an entry in the folder's index; FAT: up to 22 entries. */
		return 2048;
	}
	return 0;
}

static uint64_t of_item(const struct plan *plan, const struct item *item, enum format format,
    const struct destination *destination, struct buf *path)
{
	const struct stream *stream = item_stream(plan, item);
	uint64_t total = RECORD_LINE, size;

	buf_clear(path);
	plan_old_path(plan, item, path);
	total += OLD_PATHS * path->length;
	if (!is_stored(item))
		return total;
	buf_clear(path);
	plan_archive_path(plan, item, path);
	size = stream == NULL ? 0 : content(plan, item, format, destination);
	/* A page of what is in it; favourites share one. */
	if (bookmark_file_kind(plan, item) != BOOKMARK_FILE_NO)
		total += size + destination->cluster;
	total += PROOF_LINES + JOURNAL_LINES + NEW_PATHS * path->length + frame(format, size);
	if (format == FORMAT_FOLDER)
		size = item->kind == ITEM_FOLDER ? destination->cluster
						 : round_up(size, destination->cluster);
	return total + size;
}

bool need_of(const struct plan *plan, enum format format, uint64_t limit,
    const struct destination *destination, struct need *need)
{
	uint64_t total = 1 << 20, files = PAPERS;
	struct buf path = {0};
	bool good;

	for (size_t i = 0; i < plan->n_items; i++) {
		total += of_item(plan, &plan->items[i], format, destination, &path);
		files += format == FORMAT_FOLDER && is_stored(&plan->items[i]);
	}
	if (format != FORMAT_FOLDER)
		files += plan->n_groups;
	if (format != FORMAT_FOLDER && limit != 0)
		files += total / limit + 2 * need_pieces(plan, limit);
	/* Every part and paper ends inside a cluster; and the file system's own tables grow. */
	if (format != FORMAT_FOLDER)
		total += files * destination->cluster;
	total += PAPERS * destination->cluster + total / 200;
	good = !path.failed;
	buf_free(&path);
	*need = (struct need){total, files};
	return good;
}

uint64_t need_pieces(const struct plan *plan, uint64_t limit)
{
	uint64_t count = 0;

	for (size_t i = 0; i < plan->n_items; i++)
		if (is_stored(&plan->items[i]) && item_stream(plan, &plan->items[i]) != NULL &&
		    item_stored_size(plan, &plan->items[i]) > limit)
			count++;
	return count;
}
