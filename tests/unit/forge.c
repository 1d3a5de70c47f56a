/* A survey made by hand: see forge.h. */
#include "forge.h"

#include "base/buf.h"
#include "base/utf.h"

#include <stdlib.h>
#include <string.h>

void forge_start(struct forge *forge)
{
	memset(forge, 0, sizeof(*forge));
	forge->survey.volumes = forge->survey_volumes;
	forge->survey.systems = forge->systems;
}

void forge_free(struct forge *forge)
{
	for (size_t v = 0; v < forge->survey.n_volumes; v++) {
		struct forge_volume *volume = &forge->volumes[v];

		for (size_t i = 0; i < volume->n_nodes; i++) {
			for (size_t n = 0; n < volume->nodes[i].n_names; n++)
				free(volume->nodes[i].names[n].name);
			for (size_t s = 0; s < volume->nodes[i].n_streams; s++)
				free(volume->nodes[i].streams[s].name);
		}
		free(volume->nodes);
		free(volume->catalogue.nodes);
		free(volume->catalogue.entries);
		free(volume->catalogue.streams);
		free(volume->catalogue.names);
		free(volume->catalogue.children);
	}
	arena_free(&forge->survey.arena);
}

struct forge_node *forge_node(struct forge *forge, size_t volume, uint32_t node)
{
	return &forge->volumes[volume].nodes[node];
}

static uint32_t add_node(struct forge *forge, size_t volume, uint16_t flags)
{
	struct forge_volume *of = &forge->volumes[volume];
	struct forge_node *node;

	if (!array_reserve(&of->nodes, &of->capacity, of->n_nodes + 1, sizeof(*of->nodes)))
		abort();
	node = &of->nodes[of->n_nodes];
	memset(node, 0, sizeof(*node));
	node->node.flags = (uint16_t)(NODE_IN_USE | flags);
	node->node.created = node->node.modified = node->node.changed = FORGE_TIME;
	return (uint32_t)of->n_nodes++;
}

static void add_name(struct forge *forge, size_t volume, uint32_t node, uint32_t parent,
    const char *name, size_t length)
{
	struct forge_node *of = forge_node(forge, volume, node);

	if (of->n_names == FORGE_NAMES)
		abort();
	of->names[of->n_names].parent = parent;
	of->names[of->n_names++].name = strndup(name, length);
}

void forge_stream(
    struct forge *forge, size_t volume, uint32_t node, const char *name, uint64_t size)
{
	struct forge_node *of = forge_node(forge, volume, node);

	if (of->n_streams == FORGE_STREAMS)
		abort();
	of->streams[of->n_streams].name = strdup(name);
	of->streams[of->n_streams].flags = STREAM_RESIDENT;
	of->streams[of->n_streams++].size = size;
}

size_t forge_volume(struct forge *forge, const char *name)
{
	size_t index = forge->survey.n_volumes++;
	struct survey_volume *volume = &forge->survey_volumes[index];

	volume->filesystem = FILESYSTEM_NTFS;
	volume->volume = &forge->volumes[index].volume;
	volume->volume->catalogue = &forge->volumes[index].catalogue;
	forge->volumes[index].catalogue.volume = volume->volume;
	volume->volume->cluster_size = 4096;
	volume->name = name;
	volume->letter = name[1] == ':' && !name[2] ? name[0] : 0;
	/* Records 0 to 15 are the file system's own; the root lies in itself. */
	for (uint32_t i = 0; i < 16; i++) {
		add_node(forge, index, i == NODE_ROOT ? NODE_FOLDER | NODE_SYSTEM : NODE_SYSTEM);
		add_name(forge, index, i, NODE_ROOT, i == NODE_ROOT ? "." : "$Own",
		    i == NODE_ROOT ? 1 : 4);
		if (i != NODE_ROOT)
			forge_stream(forge, index, i, "", 4096);
	}
	return index;
}

static uint32_t find_child(
    const struct forge *forge, size_t volume, uint32_t folder, const char *name, size_t length)
{
	const struct forge_volume *of = &forge->volumes[volume];

	for (uint32_t i = 16; i < of->n_nodes; i++)
		for (size_t n = 0; n < of->nodes[i].n_names; n++)
			if (of->nodes[i].names[n].parent == folder &&
			    strlen(of->nodes[i].names[n].name) == length &&
			    memcmp(of->nodes[i].names[n].name, name, length) == 0)
				return i;
	return NONE;
}

/* The folder of the path's last name, made when it is not there; *last is that name. */
static uint32_t make_parents(
    struct forge *forge, size_t volume, const char *path, const char **last)
{
	uint32_t folder = NODE_ROOT;

	while (*path == '\\')
		path++;
	for (const char *end; (end = strchr(path, '\\')) != NULL; path = end + 1) {
		size_t length = (size_t)(end - path);
		uint32_t next = find_child(forge, volume, folder, path, length);

		if (next == NONE) {
			next = add_node(forge, volume, NODE_FOLDER);
			add_name(forge, volume, next, folder, path, length);
		}
		folder = next;
	}
	*last = path;
	return folder;
}

static uint32_t add_at(struct forge *forge, size_t volume, const char *path, uint16_t flags)
{
	const char *last;
	uint32_t folder = make_parents(forge, volume, path, &last);
	uint32_t node = find_child(forge, volume, folder, last, strlen(last));

	if (node != NONE)
		return node;
	node = add_node(forge, volume, flags);
	add_name(forge, volume, node, folder, last, strlen(last));
	return node;
}

uint32_t forge_folder(struct forge *forge, size_t volume, const char *path)
{
	return add_at(forge, volume, path, NODE_FOLDER);
}

uint32_t forge_file(struct forge *forge, size_t volume, const char *path, uint64_t size)
{
	uint32_t node = add_at(forge, volume, path, 0);

	forge_stream(forge, volume, node, "", size);
	return node;
}

uint32_t forge_link(struct forge *forge, size_t volume, const char *path, uint32_t tag, bool folder)
{
	uint32_t node = add_at(forge, volume, path, folder ? NODE_FOLDER : 0);

	forge_node(forge, volume, node)->node.reparse_tag = tag;
	forge_node(forge, volume, node)->node.attributes = ATTRIBUTE_REPARSE_POINT;
	return node;
}

void forge_name(struct forge *forge, size_t volume, uint32_t node, const char *path)
{
	const char *last;
	uint32_t folder = make_parents(forge, volume, path, &last);

	add_name(forge, volume, node, folder, last, strlen(last));
}

uint32_t forge_lost(struct forge *forge, size_t volume, const char *name, bool folder)
{
	uint32_t node = add_node(forge, volume, folder ? NODE_FOLDER | NODE_LOST : NODE_LOST);

	add_name(forge, volume, node, NONE, name, strlen(name));
	if (!folder)
		forge_stream(forge, volume, node, "", 1);
	return node;
}

/* --- putting a catalogue together --- */

static uint32_t add_text(struct catalogue *catalogue, const char *text)
{
	size_t length = strlen(text) + 1, at = catalogue->names_length;

	if (!array_reserve(&catalogue->names, &catalogue->names_capacity, at + length, 1))
		abort();
	memcpy(catalogue->names + at, text, length);
	catalogue->names_length += length;
	return (uint32_t)at;
}

static void lay_out_node(struct catalogue *catalogue, struct forge_node *from, uint32_t number)
{
	struct node *node = &catalogue->nodes[number];

	*node = from->node;
	node->first_entry = (uint32_t)catalogue->n_entries;
	node->n_entries = (uint16_t)from->n_names;
	node->first_stream = (uint32_t)catalogue->n_streams;
	node->n_streams = (uint16_t)from->n_streams;
	for (size_t i = 0; i < from->n_names; i++)
		catalogue->entries[catalogue->n_entries++] = (struct entry){.node = number,
		    .parent = from->names[i].parent,
		    .name = add_text(catalogue, from->names[i].name),
		    .short_name = NONE};
	for (size_t i = 0; i < from->n_streams; i++)
		catalogue->streams[catalogue->n_streams++] = (struct stream){.node = number,
		    .size = from->streams[i].size,
		    .initialized = from->streams[i].size,
		    .name = add_text(catalogue, from->streams[i].name),
		    .flags = from->streams[i].flags};
}

static int by_parent(const void *a, const void *b, void *context)
{
	const struct catalogue *catalogue = context;
	const uint32_t *one = a, *two = b;
	uint32_t x = catalogue->entries[*one].parent, y = catalogue->entries[*two].parent;

	if (x != y)
		return x < y ? -1 : 1;
	return *one < *two ? -1 : *one > *two;
}

static void lay_out(struct forge_volume *volume)
{
	struct catalogue *catalogue = &volume->catalogue;

	catalogue->nodes = calloc(volume->n_nodes, sizeof(*catalogue->nodes));
	catalogue->n_nodes = volume->n_nodes;
	catalogue->entries = calloc(volume->n_nodes * FORGE_NAMES, sizeof(*catalogue->entries));
	catalogue->streams = calloc(volume->n_nodes * FORGE_STREAMS, sizeof(*catalogue->streams));
	add_text(catalogue, "");
	for (uint32_t i = 0; i < volume->n_nodes; i++)
		lay_out_node(catalogue, &volume->nodes[i], i);
	catalogue->children = calloc(catalogue->n_entries, sizeof(uint32_t));
	catalogue->n_children = catalogue->n_entries;
	for (uint32_t i = 0; i < catalogue->n_entries; i++)
		catalogue->children[i] = i;
	qsort_r(catalogue->children, catalogue->n_children, sizeof(uint32_t), by_parent, catalogue);
}

void forge_finish(struct forge *forge)
{
	for (size_t v = 0; v < forge->survey.n_volumes; v++)
		lay_out(&forge->volumes[v]);
}

/* --- what the survey learned --- */

struct location forge_at(const struct forge *forge, const char *path)
{
	for (size_t v = 0; v < forge->survey.n_volumes; v++) {
		const char *name = forge->survey_volumes[v].name;
		size_t length = strlen(name);

		if (strncmp(path, name, length) == 0 && path[length] == '\\')
			return (struct location){v, catalogue_lookup(&forge->volumes[v].catalogue,
							NODE_ROOT, path + length)};
	}
	return (struct location){SIZE_MAX, NONE};
}

static struct location below(const struct forge *forge, size_t volume, const char *path)
{
	return (struct location){
	    volume, catalogue_lookup(&forge->volumes[volume].catalogue, NODE_ROOT, path)};
}

size_t forge_system(struct forge *forge, size_t volume, const char *key)
{
	size_t index = forge->survey.n_systems++;
	struct old_system *system = &forge->systems[index];

	*system = (struct old_system){.volume = volume,
	    .windows_path = "\\Windows",
	    .container = NODE_ROOT,
	    .letter = 'C',
	    .product = "",
	    .edition = "",
	    .version = "",
	    .build = "",
	    .computer = key,
	    .key = key,
	    .zone_name = "",
	    .letters = forge->letters,
	    .n_letters = forge->survey.n_volumes,
	    .persons = forge->persons[index],
	    .shared = forge->shared[index],
	    .programs = forge->programs};
	for (size_t v = 0; v < forge->survey.n_volumes; v++)
		forge->letters[v] = (struct letter){
		    .letter = forge->survey_volumes[v].letter, .volume = v, .what = ""};
	system->windows = below(forge, volume, "\\Windows").node;
	system->public_profile = below(forge, volume, "\\Users\\Public");
	system->profiles = below(forge, volume, "\\Users");
	system->default_profile = below(forge, volume, "\\Users\\Default");
	return index;
}

size_t forge_person(struct forge *forge, size_t system, const char *account, const char *path)
{
	struct old_system *of = &forge->systems[system];
	size_t index = of->n_persons++;

	of->persons[index] = (struct person){.sid = "",
	    .account = account,
	    .full_name = "",
	    .domain = "",
	    .folder = account,
	    .path = path,
	    .key = account,
	    .profile = forge_at(forge, path),
	    .places = forge->places[system][index]};
	return index;
}

struct place *forge_place(struct forge *forge, size_t system, size_t person, const char *role,
    const char *folder, const char *path, enum place_status status)
{
	struct old_system *of = &forge->systems[system];
	struct place *place = person == SIZE_MAX
				  ? &of->shared[of->n_shared++]
				  : &of->persons[person].places[of->persons[person].n_places++];

	*place = (struct place){.role = role,
	    .folder = folder,
	    .status = status,
	    .path = path,
	    .from = "default",
	    .at = forge_at(forge, path),
	    .leftover = {SIZE_MAX, NONE},
	    .offline = {SIZE_MAX, NONE}};
	return place;
}
