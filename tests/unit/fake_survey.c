/* A survey made by hand: see fake_survey.h. */
#include "fake_survey.h"

#include "base/buf.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

#define FAKE_NODES 400

void fake_start(struct fake *fake)
{
	memset(fake, 0, sizeof(*fake));
	fake->survey.drives = fake->drives;
	fake->survey.volumes = fake->volumes;
}

size_t fake_volume(struct fake *fake)
{
	size_t v = fake->survey.n_volumes++;
	struct catalogue *catalogue = &fake->catalogues[v];

	fake->survey.n_drives++;
	fake->drives[v].about.path = "drive";
	fake->volumes[v].drive = v;
	fake->volumes[v].partition = &fake->partitions[v];
	fake->volumes[v].filesystem = FILESYSTEM_NTFS;
	fake->volumes[v].volume = &fake->ntfs[v];
	fake->volumes[v].name = "volume";
	fake->ntfs[v].label = "";
	fake->ntfs[v].catalogue = catalogue;
	catalogue->volume = &fake->ntfs[v];
	catalogue->nodes = calloc(FAKE_NODES, sizeof(*catalogue->nodes));
	catalogue->entries = calloc(FAKE_NODES, sizeof(*catalogue->entries));
	catalogue->streams = calloc(FAKE_NODES, sizeof(*catalogue->streams));
	catalogue->children = calloc(FAKE_NODES, sizeof(*catalogue->children));
	catalogue->names = calloc(1, 65536);
	catalogue->names_length = 1;
	catalogue->n_nodes = NODE_FIRST_USER;
	catalogue->nodes[NODE_ROOT].flags = NODE_IN_USE | NODE_FOLDER;
	/* The root's own name, in itself, as on a real volume. */
	catalogue->entries[0] = (struct entry){NODE_ROOT, NODE_ROOT, 0, NONE};
	catalogue->n_entries = 1;
	catalogue->nodes[NODE_ROOT].n_entries = 1;
	return v;
}

/* Keeps children sorted by parent; the root is not its own child. */
static void sort_children(struct catalogue *catalogue)
{
	catalogue->n_children = 0;
	for (uint32_t parent = 0; parent < catalogue->n_nodes; parent++)
		for (uint32_t i = 1; i < catalogue->n_entries; i++)
			if (catalogue->entries[i].parent == parent)
				catalogue->children[catalogue->n_children++] = i;
}

static uint32_t add(struct catalogue *catalogue, uint32_t parent, const char *name, size_t length)
{
	uint32_t node = (uint32_t)catalogue->n_nodes++;
	uint32_t entry = (uint32_t)catalogue->n_entries++;

	assert(node < FAKE_NODES);
	memcpy(catalogue->names + catalogue->names_length, name, length);
	catalogue->entries[entry] =
	    (struct entry){node, parent, (uint32_t)catalogue->names_length, NONE};
	catalogue->names_length += length + 1;
	catalogue->nodes[node].first_entry = entry;
	catalogue->nodes[node].n_entries = 1;
	catalogue->nodes[node].flags = NODE_IN_USE;
	sort_children(catalogue);
	return node;
}

static uint32_t add_path(struct fake *fake, size_t volume, const char *path)
{
	struct catalogue *catalogue = &fake->catalogues[volume];
	uint32_t node = NODE_ROOT;

	while (*path) {
		size_t length = strcspn(path, "\\");
		char name[256];
		uint32_t entry;

		memcpy(name, path, length);
		name[length] = '\0';
		entry = catalogue_child(catalogue, node, name);
		catalogue->nodes[node].flags |= NODE_FOLDER;
		node = entry == NONE ? add(catalogue, node, name, length)
				     : catalogue->entries[entry].node;
		path += length + (path[length] == '\\');
	}
	return node;
}

uint32_t fake_folder(struct fake *fake, size_t volume, const char *path)
{
	uint32_t node = add_path(fake, volume, path);

	fake->catalogues[volume].nodes[node].flags |= NODE_FOLDER;
	return node;
}

uint32_t fake_file(struct fake *fake, size_t volume, const char *path, uint64_t size)
{
	struct catalogue *catalogue = &fake->catalogues[volume];
	uint32_t node = add_path(fake, volume, path);
	struct stream *stream = &catalogue->streams[catalogue->n_streams];

	stream->size = stream->initialized = size;
	stream->node = node;
	stream->flags = STREAM_RESIDENT;
	catalogue->nodes[node].first_stream = (uint32_t)catalogue->n_streams++;
	catalogue->nodes[node].n_streams = 1;
	return node;
}

void fake_end(struct fake *fake)
{
	for (size_t v = 0; v < fake->survey.n_volumes; v++) {
		free(fake->catalogues[v].nodes);
		free(fake->catalogues[v].entries);
		free(fake->catalogues[v].streams);
		free(fake->catalogues[v].children);
		free(fake->catalogues[v].names);
	}
	free(fake->survey.systems);
	arena_free(&fake->survey.arena);
}
