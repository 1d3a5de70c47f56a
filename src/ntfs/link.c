/* Linking the entries of a catalogue into a tree: see piece.h. */
#include "ntfs/piece.h"

#include <stdio.h>
#include <stdlib.h>

#define EXTEND 11u        /* record number of $Extend */
#define LAST_RESERVED 23u /* records 16 to 23 are kept back by the file system */

/* What is known of the way from a folder up to the root. */
enum way { WAY_UNKNOWN, WAY_WALKED, WAY_ROOT, WAY_SYSTEM };

/* A folder whose record was lost is still known by its children: it becomes a node without a name.
 */
static void revive_folder(struct node *node, uint16_t sequence)
{
	if (node->flags == NODE_DAMAGED)
		*node = (struct node){
		    .flags = NODE_IN_USE | NODE_DAMAGED | NODE_NO_TIMES, .sequence = sequence};
	if ((node->flags & NODE_DAMAGED) != 0 && node->n_entries == 0 && node->n_streams == 0 &&
	    node->sequence == sequence)
		node->flags |= NODE_FOLDER;
}

/* Without the root nothing could be found, so there always is one. */
static void revive_root(struct builder *builder)
{
	struct reference itself = {.record = NODE_ROOT};
	struct catalogue *catalogue = builder->catalogue;
	struct node *root = &catalogue->nodes[NODE_ROOT];
	uint32_t name;

	if (catalogue->n_nodes <= NODE_ROOT)
		return;
	if ((root->flags & NODE_IN_USE) == 0)
		root->flags = NODE_DAMAGED | NODE_NO_TIMES;
	root->flags |= NODE_IN_USE | NODE_FOLDER;
	if (root->n_entries > 0)
		return;
	name = pool_add_text(catalogue, ".");
	if (name == NONE)
		builder->failed = true;
	else
		builder_add_entry(builder, NODE_ROOT, name, itself);
}

/* A parent that is not in use, or another file by now, or no folder, is none. */
static void check_parent(struct builder *builder, uint32_t index)
{
	struct catalogue *catalogue = builder->catalogue;
	struct entry *entry = &catalogue->entries[index];
	uint16_t sequence = builder->parent_sequences[index];
	struct node *parent;

	if (entry->parent < catalogue->n_nodes) {
		parent = &catalogue->nodes[entry->parent];
		revive_folder(parent, sequence);
		if ((parent->flags & NODE_IN_USE) != 0 && (parent->flags & NODE_FOLDER) != 0 &&
		    (sequence == 0 || parent->sequence == 0 || sequence == parent->sequence))
			return;
	}
	entry->parent = NONE;
	catalogue->nodes[entry->node].flags |= NODE_LOST;
}

static void add_made_up_name(struct builder *builder, uint32_t number)
{
	struct reference none = {.record = NONE};
	char text[32];
	uint32_t name;

	snprintf(text, sizeof(text), "record %u", (unsigned)number);
	name = pool_add_text(builder->catalogue, text);
	if (name == NONE) {
		builder->failed = true;
		return;
	}
	builder_add_entry(builder, number, name, none);
	builder->catalogue->nodes[number].flags |= NODE_LOST | NODE_DAMAGED;
}

/* A file in use without any name was damaged; the file system's own may be nameless. */
static void name_the_nameless(struct builder *builder)
{
	struct catalogue *catalogue = builder->catalogue;

	for (uint32_t i = 0; i < catalogue->n_nodes && !builder->failed; i++) {
		struct node *node = &catalogue->nodes[i];

		if ((node->flags & NODE_IN_USE) == 0 || node->n_entries > 0)
			continue;
		if (i <= LAST_RESERVED && (node->flags & NODE_DAMAGED) == 0)
			node->flags |= NODE_SYSTEM;
		else
			add_made_up_name(builder, i);
	}
}

static uint32_t parent_of(const struct catalogue *catalogue, uint32_t node)
{
	const struct node *of = &catalogue->nodes[node];

	return of->n_entries == 0 ? NONE : catalogue->entries[of->first_entry].parent;
}

/*
 * Walks up from a folder until something known, then marks the whole way down from there. A way
 * that meets itself is cut where it does, so that every walk ends.
 */
static void walk_up(struct catalogue *catalogue, uint8_t *ways, uint32_t folder)
{
	uint32_t at = folder;
	uint8_t way = WAY_ROOT;

	while (at != NONE && ways[at] == WAY_UNKNOWN) {
		uint32_t parent = parent_of(catalogue, at);

		ways[at] = WAY_WALKED;
		if (parent != NONE && ways[parent] == WAY_WALKED) {
			catalogue->entries[catalogue->nodes[at].first_entry].parent = NONE;
			catalogue->nodes[at].flags |= NODE_LOST;
			parent = NONE;
		}
		at = parent;
	}
	if (at != NONE)
		way = ways[at];
	for (at = folder; at != NONE && ways[at] == WAY_WALKED; at = parent_of(catalogue, at))
		ways[at] = way;
}

/*
 * Is every name of the node under $Extend? What was deleted while it was open keeps a name there
 * until it is closed; a file that has another name is still its owner's.
 */
static bool is_all_system(
    const struct catalogue *catalogue, const uint8_t *ways, const struct node *node)
{
	for (uint32_t i = 0; i < node->n_entries; i++) {
		uint32_t parent = catalogue->entries[node->first_entry + i].parent;

		if (parent == NONE || ways[parent] != WAY_SYSTEM)
			return false;
	}
	return true;
}

/* Marks folders, and with them what is in them. */
static bool mark_ways(struct catalogue *catalogue)
{
	uint8_t *ways = calloc(catalogue->n_nodes + 1, 1);

	if (ways == NULL)
		return false;
	if (NODE_ROOT < catalogue->n_nodes)
		ways[NODE_ROOT] = WAY_ROOT;
	if (EXTEND < catalogue->n_nodes)
		ways[EXTEND] = WAY_SYSTEM;
	for (uint32_t i = 0; i < catalogue->n_entries; i++) {
		struct entry *entry = &catalogue->entries[i];

		if (entry->parent == NONE || entry->node == NODE_ROOT || entry->node == EXTEND)
			continue;
		walk_up(catalogue, ways, entry->parent);
	}
	for (uint32_t i = 0; i < catalogue->n_nodes; i++) {
		struct node *node = &catalogue->nodes[i];

		if (node->n_entries > 0 && i != NODE_ROOT && is_all_system(catalogue, ways, node))
			node->flags |= NODE_SYSTEM;
	}
	free(ways);
	for (uint32_t i = 0; i < catalogue->n_nodes && i < NODE_FIRST_USER; i++)
		catalogue->nodes[i].flags |= NODE_SYSTEM;
	return true;
}

/* Sorts by counting: how many children each parent has, then each entry to its place. */
static bool sort_children(struct catalogue *catalogue)
{
	size_t n_parents = catalogue->n_nodes + 1; /* the last one stands for NONE */
	uint32_t *starts = calloc(n_parents + 1, sizeof(*starts));
	uint32_t *children = malloc((catalogue->n_entries + 1) * sizeof(*children));

	if (starts == NULL || children == NULL) {
		free(starts);
		free(children);
		return false;
	}
	/* Through the nodes, so that the order within a parent is that of the record numbers. */
	for (uint32_t pass = 0; pass < 2; pass++) {
		for (size_t n = 0; n < catalogue->n_nodes; n++) {
			const struct node *node = &catalogue->nodes[n];

			for (uint32_t i = 0; n != NODE_ROOT && i < node->n_entries; i++) {
				uint32_t index = node->first_entry + i;
				uint32_t parent = catalogue->entries[index].parent;
				size_t slot = parent == NONE ? n_parents - 1 : parent;

				if (pass == 0)
					starts[slot + 1]++;
				else
					children[starts[slot]++] = index;
			}
		}
		for (size_t i = 0; pass == 0 && i < n_parents; i++)
			starts[i + 1] += starts[i];
	}
	catalogue->n_children = starts[n_parents - 1];
	catalogue->children = children;
	free(starts);
	return true;
}

void builder_link(struct builder *builder)
{
	struct catalogue *catalogue = builder->catalogue;

	revive_root(builder);
	for (uint32_t i = 0; i < catalogue->n_entries; i++)
		check_parent(builder, i);
	name_the_nameless(builder);
	if (builder->failed)
		return;
	/* The root's own entry leads to itself: nothing may hang it below something else. */
	if (NODE_ROOT < catalogue->n_nodes && catalogue->nodes[NODE_ROOT].n_entries > 0)
		catalogue->entries[catalogue->nodes[NODE_ROOT].first_entry].parent = NODE_ROOT;
	if (!mark_ways(catalogue) || !sort_children(catalogue))
		builder->failed = true;
}
