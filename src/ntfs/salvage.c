/*
 * Names for lost records: see piece.h.
 *
 * The record of a file is gone, but its folder's index still says what it was called and how long
 * it was. So the loss can be named, and what was in a lost folder stays in its place.
 */
#include "ntfs/piece.h"

#include "base/bytes.h"
#include "ntfs/index.h"

#include <stdlib.h>

/* What the indexes say of lost records. */
struct recalled {
	uint32_t node;
	uint32_t name; /* in the pool */
	struct reference folder;
	uint16_t sequence;
	uint8_t space;
	bool is_folder;
	uint32_t attributes, order;
	uint64_t size;
	int64_t times[4]; /* created, modified, changed, accessed */
};

struct salvage {
	struct builder *builder;
	struct recalled *items;
	size_t count, capacity;
};

/* Is it a node of which the record, or at least every name, is missing? */
static bool is_nameless(const struct node *node)
{
	return (node->flags & NODE_DAMAGED) != 0 && node->n_entries == 0;
}

static bool recall(void *context, const struct index_name *name)
{
	struct salvage *salvage = context;
	struct catalogue *catalogue = salvage->builder->catalogue;
	struct recalled *item;

	if (name->file.record >= catalogue->n_nodes || name->file.record == NODE_ROOT ||
	    !is_nameless(&catalogue->nodes[name->file.record]))
		return true;
	if (!array_reserve(&salvage->items, &salvage->capacity, salvage->count + 1, sizeof(*item)))
		return false;
	item = &salvage->items[salvage->count];
	*item = (struct recalled){
	    .node = name->file.record,
	    .sequence = name->file.sequence,
	    .name = pool_add(catalogue, name->name, name->name_units),
	    .folder = name->folder,
	    .space = name->space,
	    .is_folder = name->is_folder,
	    .attributes = name->attributes,
	    .order = (uint32_t)salvage->count,
	    .size = name->size,
	};
	for (size_t i = 0; i < 4; i++)
		item->times[i] = (int64_t)get_u64(name->times + 8 * i);
	salvage->count++;
	return item->name != NONE;
}

/* By node, and long names before 8.3 names. */
static int compare(const void *a, const void *b)
{
	const struct recalled *x = a, *y = b;
	int x_short = x->space == NAMESPACE_DOS, y_short = y->space == NAMESPACE_DOS;

	if (x->node != y->node)
		return x->node < y->node ? -1 : 1;
	if (x_short != y_short)
		return x_short - y_short;
	return (x->order > y->order) - (x->order < y->order);
}

/* A node for a record that was lost altogether. */
static void revive(struct node *node, const struct recalled *item)
{
	if ((node->flags & NODE_IN_USE) != 0)
		return;
	*node = (struct node){
	    .flags = NODE_IN_USE | NODE_DAMAGED | NODE_NO_TIMES,
	    .sequence = item->sequence,
	    .attributes = item->attributes,
	    .created = item->times[0],
	    .modified = item->times[1],
	    .changed = item->times[2],
	    .accessed = item->times[3],
	};
	if (item->is_folder)
		node->flags |= NODE_FOLDER;
}

/* Its data, all of it out of reach. */
static void add_lost_stream(struct builder *builder, const struct recalled *item)
{
	const struct volume *volume = builder->catalogue->volume;
	struct piece piece = {
	    .base = item->node,
	    .kind = PIECE_DATA,
	    .flags = PIECE_BROKEN,
	    .size = item->size,
	    .initialized = item->size,
	};
	struct pieces *now = &builder->now;
	struct piece *added;
	struct run run = {.lcn = RUN_LOST};

	/* More than the volume holds is nonsense, or sparse: then the size is not known. */
	if (piece.size > volume->clusters * volume->cluster_size)
		piece.size = piece.initialized = 0;
	run.length = (piece.size + volume->cluster_size - 1) / volume->cluster_size;
	piece.end = run.length;
	pieces_clear(now);
	runs_pack(&now->runs, &run, run.length > 0 ? 1 : 0);
	piece.runs_length = now->runs.length;
	added = pieces_add(now);
	if (added == NULL || now->runs.failed) {
		builder->failed = true;
		return;
	}
	*added = piece;
	pieces_assemble(builder, now, 0, 1);
}

static void add_short(struct catalogue *catalogue, const struct recalled *item)
{
	const struct node *node = &catalogue->nodes[item->node];

	for (uint32_t i = 0; i < node->n_entries; i++) {
		struct entry *entry = &catalogue->entries[node->first_entry + i];

		if (entry->parent == item->folder.record && entry->short_name == NONE) {
			entry->short_name = item->name;
			return;
		}
	}
}

/* The names [0, count) of one node. */
static void rename_node(struct builder *builder, const struct recalled *items, size_t count)
{
	struct node *node = &builder->catalogue->nodes[items->node];

	revive(node, items);
	for (size_t i = 0; i < count && node->n_entries < UINT16_MAX; i++) {
		/* A number that two files had, one after the other: the first answer counts. */
		if (node->sequence != items[i].sequence ||
		    ((node->flags & NODE_FOLDER) != 0 && node->n_entries > 0 &&
			items[i].space != NAMESPACE_DOS))
			continue;
		if (items[i].space == NAMESPACE_DOS && node->n_entries > 0)
			add_short(builder->catalogue, &items[i]);
		else
			builder_add_entry(builder, items->node, items[i].name, items[i].folder);
	}
	if (node->n_entries == 0)
		return;
	builder->named++;
	if ((node->flags & NODE_FOLDER) == 0 && node->n_streams == 0)
		add_lost_stream(builder, items);
}

void builder_recall_names(struct builder *builder)
{
	struct catalogue *catalogue = builder->catalogue;
	struct salvage salvage = {.builder = builder};
	/* All indexes together are part of the volume. */
	uint64_t budget = catalogue->volume->clusters * catalogue->volume->cluster_size;
	bool goes_on = true, needed = false;

	for (size_t i = 0; !needed && i < catalogue->n_nodes; i++)
		needed = is_nameless(&catalogue->nodes[i]);
	for (uint32_t i = 0; needed && goes_on && i < catalogue->n_nodes; i++) {
		uint16_t flags = catalogue->nodes[i].flags;

		if ((flags & NODE_IN_USE) != 0 && (flags & NODE_FOLDER) != 0)
			goes_on = index_names(catalogue->volume, i, &budget, recall, &salvage);
	}
	if (!goes_on)
		builder->failed = true;
	if (salvage.count > 1)
		qsort(salvage.items, salvage.count, sizeof(*salvage.items), compare);
	for (size_t i = 0; i < salvage.count && !builder->failed;) {
		size_t n = 1;

		while (i + n < salvage.count && salvage.items[i + n].node == salvage.items[i].node)
			n++;
		rename_node(builder, salvage.items + i, n);
		i += n;
	}
	free(salvage.items);
}
