/* From a file's pieces to its entries and streams: see piece.h. */
#include "ntfs/piece.h"

#include "base/utf.h"
#include "ntfs/reparse.h"
#include "ntfs/wof.h"

#include <stdlib.h>
#include <string.h>

#define MAX_DOS_NAMES 16u /* of one file; the file system allows one */
#define MAX_LOOK_BACK 64u /* names of a file that a further one is compared with */

/* The records of a file: those that its list names, and those that are there. */
struct membership {
	uint32_t *named, *present; /* sorted */
	size_t n_named, n_present;
};

static int compare_numbers(const void *a, const void *b)
{
	uint32_t x, y;

	memcpy(&x, a, sizeof(x));
	memcpy(&y, b, sizeof(y));
	return (x > y) - (x < y);
}

static bool contains(const uint32_t *numbers, size_t count, uint32_t number)
{
	return count > 0 &&
	       bsearch(&number, numbers, count, sizeof(*numbers), compare_numbers) != NULL;
}

static bool membership_fill(struct membership *membership, const struct piece *items, size_t count)
{
	membership->named = malloc((count + 1) * sizeof(uint32_t));
	membership->present = malloc((count + 1) * sizeof(uint32_t));
	if (membership->named == NULL || membership->present == NULL)
		return false;
	for (size_t i = 0; i < count; i++) {
		if (items[i].kind == PIECE_REFERENCE)
			membership->named[membership->n_named++] = items[i].parent.record;
		else if (items[i].kind == PIECE_RECORD)
			membership->present[membership->n_present++] = items[i].record;
	}
	qsort(membership->named, membership->n_named, sizeof(uint32_t), compare_numbers);
	qsort(membership->present, membership->n_present, sizeof(uint32_t), compare_numbers);
	return true;
}

/*
 * Compares the attribute list with the extension records that were found. A record that the list
 * does not name is a leftover of something older and is dropped (unless the list itself is
 * damaged); data whose record is missing becomes a piece that says so.
 */
static void check_members(
    struct builder *builder, struct node *node, struct piece *items, size_t count)
{
	struct membership membership = {0};
	bool list_is_whole = (node->flags & NODE_DAMAGED) == 0;

	if (!membership_fill(&membership, items, count)) {
		builder->failed = true;
		count = 0;
	}
	for (size_t i = 0; i < count; i++) {
		struct piece *piece = &items[i];

		if (piece->kind == PIECE_REFERENCE) {
			if (contains(
				membership.present, membership.n_present, piece->parent.record))
				continue;
			node->flags |= NODE_DAMAGED;
			if (piece->type == ATTR_DATA) {
				piece->kind = PIECE_DATA;
				piece->flags = PIECE_MISSING;
				piece->end = piece->lowest;
			}
			continue;
		}
		if (piece->kind == PIECE_RECORD && (piece->flags & PIECE_BROKEN) != 0)
			node->flags |= NODE_DAMAGED;
		if (piece->record != piece->base && list_is_whole &&
		    !contains(membership.named, membership.n_named, piece->record))
			piece->kind = PIECE_RECORD;
	}
	free(membership.named);
	free(membership.present);
}

/* --- names ---------------------------------------------------------------------------------------
 */

void builder_add_entry(
    struct builder *builder, uint32_t node, uint32_t name, struct reference parent)
{
	struct catalogue *catalogue = builder->catalogue;
	struct node *of = &catalogue->nodes[node];

	if (catalogue->n_entries >= NONE - 1 ||
	    !array_reserve(&catalogue->entries, &catalogue->entries_capacity,
		catalogue->n_entries + 1, sizeof(*catalogue->entries)) ||
	    !array_reserve(&builder->parent_sequences, &builder->parents_capacity,
		catalogue->n_entries + 1, sizeof(*builder->parent_sequences))) {
		builder->failed = true;
		return;
	}
	if (of->n_entries == 0)
		of->first_entry = (uint32_t)catalogue->n_entries;
	builder->parent_sequences[catalogue->n_entries] = parent.sequence;
	catalogue->entries[catalogue->n_entries++] = (struct entry){
	    .node = node,
	    .parent = parent.record,
	    .name = name,
	    .short_name = NONE,
	};
	of->n_entries++;
}

/* Has the node this name in this folder already? Only some are compared: links can be many. */
static bool has_name(const struct catalogue *catalogue, const struct piece *piece)
{
	const struct node *node = &catalogue->nodes[piece->base];

	for (uint32_t i = node->n_entries; i > 0 && node->n_entries - i < MAX_LOOK_BACK; i--) {
		const struct entry *entry = &catalogue->entries[node->first_entry + i - 1];

		if (entry->parent == piece->parent.record &&
		    strcmp(catalogue->names + entry->name, catalogue->names + piece->name) == 0)
			return true;
	}
	return false;
}

/*
 * A folder has one name only: a second one could lead in circles. No file has as many as the count
 * can hold, or the same one twice.
 */
static void add_name(struct builder *builder, const struct piece *piece)
{
	struct node *node = &builder->catalogue->nodes[piece->base];

	if (((node->flags & NODE_FOLDER) != 0 && node->n_entries > 0) ||
	    node->n_entries == UINT16_MAX || has_name(builder->catalogue, piece)) {
		node->flags |= NODE_DAMAGED;
		return;
	}
	builder_add_entry(builder, piece->base, piece->name, piece->parent);
}

/* Gives the 8.3 name to the long one beside it. False when there is none. */
static bool add_short_name(struct builder *builder, const struct piece *piece)
{
	struct catalogue *catalogue = builder->catalogue;
	const struct node *node = &catalogue->nodes[piece->base];

	for (uint32_t i = 0; i < node->n_entries; i++) {
		struct entry *entry = &catalogue->entries[node->first_entry + i];

		if (entry->parent == piece->parent.record && entry->short_name == NONE) {
			entry->short_name = piece->name;
			return true;
		}
	}
	return false;
}

static void assemble_names(struct builder *builder, const struct piece *items, size_t count)
{
	unsigned n_short = 0;

	/* The name that can have an 8.3 name beside it comes first, so that the pair finds itself.
	 */
	for (size_t i = 0; i < count; i++) {
		if (items[i].kind == PIECE_NAME && items[i].space == NAMESPACE_WIN32)
			add_name(builder, &items[i]);
	}
	for (size_t i = 0; i < count; i++) {
		if (items[i].kind == PIECE_NAME && items[i].space == NAMESPACE_DOS &&
		    (n_short++ >= MAX_DOS_NAMES || !add_short_name(builder, &items[i])))
			add_name(builder, &items[i]);
	}
	for (size_t i = 0; i < count; i++) {
		if (items[i].kind == PIECE_NAME && items[i].space != NAMESPACE_WIN32 &&
		    items[i].space != NAMESPACE_DOS)
			add_name(builder, &items[i]);
	}
}

/* --- streams -------------------------------------------------------------------------------------
 */

static int compare_data(const void *a, const void *b, void *names)
{
	const struct piece *x = a, *y = b;
	int order;

	if (x->kind != y->kind)
		return x->kind == PIECE_DATA ? -1 : y->kind == PIECE_DATA ? 1 : 0;
	if (x->kind != PIECE_DATA)
		return (x->order > y->order) - (x->order < y->order);
	order = x->name == y->name ? 0 : strcmp((char *)names + x->name, (char *)names + y->name);
	if (order == 0)
		order = (x->lowest > y->lowest) - (x->lowest < y->lowest);
	return order != 0 ? order : (x->order > y->order) - (x->order < y->order);
}

/* Copies packed runs into the catalogue, as the stream's own. */
static bool store_runs(
    struct builder *builder, struct stream *stream, const uint8_t *packed, size_t length)
{
	struct catalogue *catalogue = builder->catalogue;

	if (!array_reserve(
		&catalogue->runs, &catalogue->runs_capacity, catalogue->runs_length + length, 1)) {
		builder->failed = true;
		return false;
	}
	stream->location = catalogue->runs_length;
	if (length > 0)
		memcpy(catalogue->runs + catalogue->runs_length, packed, length);
	catalogue->runs_length += length;
	return true;
}

/* Joins the run lists of a stream's pieces. Returns where they end; gaps are lost. */
static uint64_t join_runs(struct builder *builder, const struct pieces *from,
    const struct piece *items, size_t count, struct stream *stream)
{
	struct run_list list = {0};
	uint64_t end;

	for (size_t i = 0; i < count; i++) {
		const struct piece *piece = &items[i];
		struct run_cursor cursor;
		struct run run;

		if ((piece->flags & (PIECE_BROKEN | PIECE_MISSING)) != 0)
			stream->flags |= STREAM_DAMAGED;
		if ((piece->flags & PIECE_MISSING) != 0)
			continue;
		end = run_list_end(&list);
		if (piece->lowest != end)
			stream->flags |= STREAM_DAMAGED;
		if (piece->lowest < end)
			continue; /* two records claim the same part: the first one stays */
		run_list_add(&list, RUN_LOST, piece->lowest - end);
		stream->allocated += piece->clusters * builder->catalogue->volume->cluster_size;
		run_cursor_start(&cursor, from->runs.data + piece->runs, piece->runs_length);
		while (run_cursor_next(&cursor, &run))
			run_list_add(&list, run.lcn, run.length);
	}
	end = run_list_end(&list);
	buf_clear(&builder->join);
	runs_pack(&builder->join, list.items, list.count);
	if (list.failed || builder->join.failed)
		builder->failed = true;
	else
		store_runs(builder, stream, builder->join.data, builder->join.length);
	run_list_free(&list);
	return end;
}

/*
 * Sizes against clusters. A size that the volume could not even hold is nonsense, and what would
 * follow it is a hole of any length: then only what has clusters counts.
 */
static void check_size(const struct volume *volume, struct stream *stream, uint64_t end)
{
	uint64_t room =
	    end <= INT64_MAX / volume->cluster_size ? end * volume->cluster_size : INT64_MAX;

	if (stream->size > room) {
		stream->flags |= STREAM_DAMAGED;
		if (stream->size > volume->clusters * volume->cluster_size)
			stream->size = room;
	}
	if (stream->initialized > stream->size)
		stream->initialized = stream->size;
}

/* One stream out of the pieces [0, count), which have the same name. */
static void add_stream(
    struct builder *builder, const struct pieces *from, const struct piece *items, size_t count)
{
	struct catalogue *catalogue = builder->catalogue;
	const struct volume *volume = catalogue->volume;
	struct node *node = &catalogue->nodes[items->base];
	bool has_start = items->lowest == 0 && (items->flags & PIECE_MISSING) == 0;
	struct stream *stream;
	uint64_t end;

	if (node->n_streams == UINT16_MAX) {
		node->flags |= NODE_DAMAGED;
		return;
	}
	if (catalogue->n_streams >= NONE - 1 ||
	    !array_reserve(&catalogue->streams, &catalogue->streams_capacity,
		catalogue->n_streams + 1, sizeof(*catalogue->streams))) {
		builder->failed = true;
		return;
	}
	if (node->n_streams == 0)
		node->first_stream = (uint32_t)catalogue->n_streams;
	node->n_streams++;
	stream = &catalogue->streams[catalogue->n_streams++];
	*stream = (struct stream){
	    .node = items->base,
	    .name = items->name,
	    .size = items->size,
	    .initialized = items->initialized,
	    .flags = items->stream_flags,
	    .location = items->runs,
	};
	if ((stream->flags & STREAM_RESIDENT) != 0)
		return;
	if ((stream->flags & STREAM_COMPRESSED) != 0)
		stream->unit_shift = items->unit_shift;
	if (count == 1 && has_start && items->flags == 0) {
		stream->allocated = items->clusters * volume->cluster_size;
		end = items->end;
		store_runs(builder, stream, from->runs.data + items->runs, items->runs_length);
	} else {
		end = join_runs(builder, from, items, count, stream);
	}
	if (!has_start) {
		/* The piece with the sizes is missing. */
		stream->size =
		    end <= INT64_MAX / volume->cluster_size ? end * volume->cluster_size : 0;
		stream->initialized = stream->size;
		stream->flags |= STREAM_DAMAGED;
	}
	check_size(volume, stream, end);
	if ((stream->flags & STREAM_DAMAGED) != 0)
		node->flags |= NODE_DAMAGED;
}

/* Does `piece` go on with the stream that `start` begins? */
static bool goes_on(
    const struct catalogue *catalogue, const struct piece *start, const struct piece *piece)
{
	return piece->kind == PIECE_DATA && piece->lowest > 0 &&
	       ((start->stream_flags | piece->stream_flags) & STREAM_RESIDENT) == 0 &&
	       strcmp(catalogue->names + start->name, catalogue->names + piece->name) == 0;
}

/*
 * Damage to a name or a type can give a file two streams of one name. Which is the true one nobody
 * can tell, so both are kept, the second and further ones under a made-up name.
 */
static void rename_twin(struct builder *builder, struct piece *piece, unsigned number)
{
	struct catalogue *catalogue = builder->catalogue;
	const char *name = catalogue->names + piece->name;
	struct buf text = {0};

	buf_printf(&text, "%s[data %u]", name, number);
	piece->name = text.failed ? NONE : pool_add_text(catalogue, buf_text(&text));
	buf_free(&text);
	if (piece->name == NONE) {
		builder->failed = true;
		piece->name = 0;
	}
	catalogue->nodes[piece->base].flags |= NODE_DAMAGED;
}

static void assemble_streams(
    struct builder *builder, const struct pieces *from, struct piece *items, size_t count)
{
	const struct catalogue *catalogue = builder->catalogue;
	uint32_t last_name = NONE;
	unsigned number = 1;

	if (count > 1)
		qsort_r(items, count, sizeof(*items), compare_data, builder->catalogue->names);
	for (size_t i = 0; i < count && items[i].kind == PIECE_DATA;) {
		uint32_t name = items[i].name;
		size_t n = 1;

		while (i + n < count && goes_on(catalogue, &items[i], &items[i + n]))
			n++;
		number = last_name != NONE && strcmp(catalogue->names + last_name,
						  catalogue->names + name) == 0
			     ? number + 1
			     : 1;
		if (number > 1)
			rename_twin(builder, &items[i], number);
		last_name = name;
		add_stream(builder, from, items + i, n);
		i += n;
	}
}

/*
 * A system-compressed file has one content, however the file system keeps it: the stream with the
 * compressed bytes becomes the carrier of the unnamed one. Where the latter has clusters for all
 * its bytes, somebody has written it anew, and the two have nothing to do with each other.
 */
static void find_carrier(struct catalogue *catalogue, struct node *node, enum wof_method method)
{
	struct stream *streams;

	if (node->reparse_tag != REPARSE_WOF || method == WOF_NONE || node->n_streams < 2)
		return;
	streams = &catalogue->streams[node->first_stream];
	if (*catalogue_name(catalogue, streams[0].name) != 0 || streams[0].size == 0 ||
	    (streams[0].flags & (STREAM_RESIDENT | STREAM_ENCRYPTED | STREAM_COMPRESSED)) != 0 ||
	    streams[0].allocated >= streams[0].size)
		return;
	for (uint32_t i = 1; i < node->n_streams; i++) {
		if (!utf_equal_fold(catalogue_name(catalogue, streams[i].name), WOF_STREAM) ||
		    !wof_is_plausible(method, streams[0].size, streams[i].size))
			continue;
		streams[0].flags |= STREAM_CARRIED;
		streams[0].flags &= (uint16_t)~STREAM_SPARSE;
		streams[0].initialized = streams[0].size;
		streams[0].method = (uint8_t)method;
		streams[i].flags |= STREAM_CARRIER;
		return;
	}
}

/* --- all of it -----------------------------------------------------------------------------------
 */

static void add_clusters(struct node *node, uint64_t clusters)
{
	uint64_t sum = node->other_clusters + clusters;

	node->other_clusters = sum < UINT32_MAX ? (uint32_t)sum : UINT32_MAX;
}

void pieces_assemble(struct builder *builder, struct pieces *from, size_t first, size_t count)
{
	enum wof_method method = WOF_NONE;
	struct piece *items;
	struct node *node;

	if (count == 0)
		return;
	items = from->items + first;
	node = &builder->catalogue->nodes[items->base];
	if (from == &builder->waiting)
		check_members(builder, node, items, count);
	assemble_names(builder, items, count);
	for (size_t i = 0; i < count; i++) {
		if (items[i].kind == PIECE_REPARSE) {
			node->reparse_tag = (uint32_t)items[i].size;
			method = (enum wof_method)items[i].method;
		} else if (items[i].kind == PIECE_OWNER && node->owner == 0) {
			node->owner = items[i].name;
		} else if (items[i].kind == PIECE_OTHER) {
			add_clusters(node, items[i].clusters);
		}
		if (items[i].kind == PIECE_OTHER && (items[i].flags & PIECE_BROKEN) != 0)
			node->flags |= NODE_DAMAGED;
	}
	assemble_streams(builder, from, items, count);
	if (!builder->failed)
		find_carrier(builder->catalogue, node, method);
}
