/* What of a stream can be had, and where its bytes are: see data.h. */
#include "ntfs/data.h"

#include "ntfs/reparse.h"
#include "ntfs/runs.h"

const struct stream *data_carrier(const struct catalogue *catalogue, const struct stream *stream)
{
	const struct node *node = &catalogue->nodes[stream->node];

	if ((stream->flags & STREAM_CARRIED) == 0)
		return stream;
	for (uint32_t i = 0; i < node->n_streams; i++) {
		const struct stream *other = &catalogue->streams[node->first_stream + i];

		if ((other->flags & STREAM_CARRIER) != 0)
			return other;
	}
	return stream;
}

/* How the clusters that the size needs are made up. */
struct cover {
	uint64_t real, sparse, lost; /* clusters */
};

static struct cover get_cover(const struct catalogue *catalogue, const struct stream *stream)
{
	uint64_t cluster = catalogue->volume->cluster_size;
	uint64_t need = stream->size / cluster + (stream->size % cluster != 0);
	struct run_cursor cursor;
	struct cover cover = {0};
	struct run run;

	run_cursor_stream(&cursor, catalogue, stream);
	while (run_cursor_next(&cursor, &run) && run.vcn < need) {
		uint64_t length = run.length < need - run.vcn ? run.length : need - run.vcn;

		if (run.lcn == RUN_SPARSE)
			cover.sparse += length;
		else if (run.lcn == RUN_LOST)
			cover.lost += length;
		else
			cover.real += length;
	}
	cover.lost += need - (cover.real + cover.sparse + cover.lost);
	return cover;
}

void data_missing(
    const struct catalogue *catalogue, const struct stream *stream, struct holes *missing)
{
	uint64_t cluster = catalogue->volume->cluster_size;
	uint64_t unit = UINT64_C(1) << (stream->unit_shift & 15);
	struct run_cursor cursor;
	struct run run;

	if ((stream->flags & STREAM_RESIDENT) != 0 || (stream->flags & STREAM_CARRIED) != 0)
		return;
	run_cursor_stream(&cursor, catalogue, stream);
	while (run_cursor_next(&cursor, &run)) {
		/* In a compressed stream only units without any cluster are missing. */
		uint64_t first = (run.vcn + unit - 1) / unit * unit * cluster;
		uint64_t end = (run.vcn + run.length) * cluster;

		if (end >= stream->size)
			end = stream->size;
		else
			end = end / (unit * cluster) * (unit * cluster);
		if (run.lcn == RUN_SPARSE && first < end)
			holes_add(missing, first, end - first);
	}
}

/*
 * Is there a reparse point whose tag could not be read? What is sparse then may be anything: a file
 * in the cloud, or one that the old system compressed.
 */
static bool has_unknown_tag(const struct node *node)
{
	return node != NULL && node->reparse_tag == 0 &&
	       (node->attributes & ATTRIBUTE_REPARSE_POINT) != 0;
}

/* Does the old system say that some of the file lies elsewhere? */
static bool is_marked_away(const struct node *node)
{
	return node != NULL &&
	       (node->attributes & (ATTRIBUTE_OFFLINE | ATTRIBUTE_RECALL_ON_OPEN |
				       ATTRIBUTE_RECALL_ON_DATA_ACCESS)) != 0;
}

/*
 * A file that was put into a sync folder may be sparse by itself, like any other. The marks above
 * are how programs are told that a file of the cloud family is not all there
 * (CfGetPlaceholderStateFromAttributeTag in Windows' documentation); without any of them, and not
 * set free for removal, it is. That counts only where something of it is there, and where the
 * attributes are not second-hand.
 */
static bool is_sparse_by_itself(const struct node *node, const struct cover *cover)
{
	return node != NULL && reparse_is_cloud_file(node->reparse_tag) && cover->real > 0 &&
	       !is_marked_away(node) &&
	       (node->attributes & ATTRIBUTE_UNPINNED) == 0 &&
	       (node->flags & (NODE_NO_TIMES | NODE_DAMAGED)) == 0;
}

enum content data_content(const struct catalogue *catalogue, const struct stream *stream)
{
	const struct node *node = catalogue_node(catalogue, stream->node);
	bool is_main = *catalogue_name(catalogue, stream->name) == 0;
	enum reparse_kind kind = REPARSE_KIND_NONE;
	struct cover cover;

	if ((stream->flags & STREAM_ENCRYPTED) != 0)
		return CONTENT_ENCRYPTED;
	if ((stream->flags & STREAM_CARRIED) != 0)
		return data_content(catalogue, data_carrier(catalogue, stream));
	if ((stream->flags & STREAM_RESIDENT) != 0 || stream->size == 0)
		return CONTENT_READABLE;
	if (node != NULL && is_main)
		kind = reparse_kind(node->reparse_tag);
	cover = get_cover(catalogue, stream);
	if (cover.real == 0 && cover.sparse == 0)
		return CONTENT_DAMAGED;
	if (cover.sparse == 0)
		return CONTENT_READABLE; /* it has clusters of its own for every byte */
	if (kind == REPARSE_KIND_NONE && is_main && has_unknown_tag(node)) {
		if (cover.real == 0)
			return CONTENT_DAMAGED;
		kind = REPARSE_KIND_OTHER;
	}
	if (kind == REPARSE_KIND_NONE && is_main && is_marked_away(node))
		kind = REPARSE_KIND_OTHER;
	if (is_sparse_by_itself(node, &cover))
		return CONTENT_READABLE;
	switch (kind) {
	case REPARSE_KIND_WOF:
		return CONTENT_SYSTEM_COMPRESSED;
	case REPARSE_KIND_DEDUP:
		return CONTENT_DEDUPLICATED;
	case REPARSE_KIND_CLOUD:
	case REPARSE_KIND_OTHER:
		/* Whoever set a tag that is not known may keep the bytes elsewhere, too. */
		if (cover.real == 0)
			return CONTENT_CLOUD_ONLY;
		if (stream->unit_shift == 0)
			return CONTENT_CLOUD_PART;
		break;
	default:
		return CONTENT_READABLE;
	}
	/* A compressed cloud file: sparse clusters are missing data only where a whole unit has
	 * none. */
	{
		struct holes missing = {0};
		bool is_part;

		data_missing(catalogue, stream, &missing);
		is_part = missing.count > 0 || missing.failed;
		holes_free(&missing);
		return is_part ? CONTENT_CLOUD_PART : CONTENT_READABLE;
	}
}
