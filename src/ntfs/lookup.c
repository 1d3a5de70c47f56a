/* Finding things in a catalogue: see catalogue.h. */
#include "ntfs/catalogue.h"

#include "base/utf.h"

#include <string.h>

#define MAX_DEPTH 1024u /* folders in one path */

const struct node *catalogue_node(const struct catalogue *catalogue, uint32_t node)
{
	if (node >= catalogue->n_nodes || (catalogue->nodes[node].flags & NODE_IN_USE) == 0)
		return NULL;
	return &catalogue->nodes[node];
}

uint64_t catalogue_clusters(const struct catalogue *catalogue, uint32_t node)
{
	const struct node *of = catalogue_node(catalogue, node);
	uint64_t bytes = 0;

	if (of == NULL)
		return 0;
	for (uint32_t i = 0; i < of->n_streams; i++)
		bytes += catalogue->streams[of->first_stream + i].allocated;
	return bytes / catalogue->volume->cluster_size + of->other_clusters;
}

/* The first child whose parent is not below `folder`. */
static size_t lower_bound(const struct catalogue *catalogue, uint64_t folder)
{
	size_t low = 0, high = catalogue->n_children;

	while (low < high) {
		size_t middle = low + (high - low) / 2;

		if (catalogue->entries[catalogue->children[middle]].parent < folder)
			low = middle + 1;
		else
			high = middle;
	}
	return low;
}

size_t catalogue_children(
    const struct catalogue *catalogue, uint32_t folder, const uint32_t **first)
{
	size_t start = lower_bound(catalogue, folder);

	*first = catalogue->children + start;
	return lower_bound(catalogue, (uint64_t)folder + 1) - start;
}

uint32_t catalogue_child(const struct catalogue *catalogue, uint32_t folder, const char *name)
{
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, folder, &children);
	uint32_t folded = NONE, by_short = NONE;

	for (size_t i = 0; i < count; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const char *own = catalogue_name(catalogue, entry->name);

		if (strcmp(own, name) == 0)
			return children[i];
		if (folded == NONE && utf_equal_fold(own, name))
			folded = children[i];
		if (by_short == NONE && entry->short_name != NONE &&
		    utf_equal_fold(catalogue_name(catalogue, entry->short_name), name))
			by_short = children[i];
	}
	return folded != NONE ? folded : by_short;
}

uint32_t catalogue_lookup(const struct catalogue *catalogue, uint32_t folder, const char *path)
{
	uint32_t node = folder;

	if (catalogue_node(catalogue, node) == NULL)
		return NONE;
	while (*path != 0 && node != NONE) {
		size_t length = strcspn(path, "\\/");
		char name[1024]; /* 255 units are at most 765 bytes */
		uint32_t entry;

		if (length >= sizeof(name))
			return NONE;
		if (length > 0) {
			memcpy(name, path, length);
			name[length] = 0;
			entry = catalogue_child(catalogue, node, name);
			node = entry == NONE ? NONE : catalogue->entries[entry].node;
		}
		path += length;
		if (*path != 0)
			path++;
	}
	return node;
}

void catalogue_path(const struct catalogue *catalogue, uint32_t entry, struct buf *path)
{
	uint32_t way[MAX_DEPTH];
	size_t depth = 0;
	bool is_lost = false;

	while (depth < MAX_DEPTH && entry < catalogue->n_entries &&
	       catalogue->entries[entry].node != NODE_ROOT) {
		uint32_t parent = catalogue->entries[entry].parent;
		const struct node *folder = catalogue_node(catalogue, parent);

		way[depth++] = entry;
		if (folder == NULL)
			is_lost = true;
		if (folder == NULL || parent == NODE_ROOT || folder->n_entries == 0)
			break;
		entry = folder->first_entry;
	}
	if (is_lost)
		buf_add_text(path, "\\" CATALOGUE_LOST_FOLDER);
	if (depth == 0)
		buf_add_text(path, "\\");
	while (depth > 0) {
		buf_add_byte(path, '\\');
		buf_add_text(
		    path, catalogue_name(catalogue, catalogue->entries[way[--depth]].name));
	}
}

void catalogue_node_path(const struct catalogue *catalogue, uint32_t node, struct buf *path)
{
	const struct node *of = catalogue_node(catalogue, node);

	if (of == NULL || of->n_entries == 0)
		buf_add_text(path, "\\");
	else
		catalogue_path(catalogue, of->first_entry, path);
}

const struct stream *catalogue_stream(
    const struct catalogue *catalogue, uint32_t node, const char *name)
{
	const struct node *of = catalogue_node(catalogue, node);

	if (of == NULL)
		return NULL;
	for (uint32_t i = 0; i < of->n_streams; i++) {
		const struct stream *stream = &catalogue->streams[of->first_stream + i];

		if (utf_equal_fold(catalogue_name(catalogue, stream->name), name))
			return stream;
	}
	return NULL;
}
