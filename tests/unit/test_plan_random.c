/*
 * Tests of the plan on random, senseless catalogues: files as parents, lost folders, names that
 * collide, several names, streams called like files.
 *
 * What must hold, whatever a drive holds: every stream of every name has exactly one item; no two
 * archive paths are the same ignoring case; no path leaves the archive. There is no source outside.
 */
#include "unit.h"

#include "base/locale.h"
#include "base/utf.h"
#include "ntfs/reparse.h"
#include "scene.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROUNDS 400
#define NODES 60

static const char *const names[] = {"a", "A", "a.txt", "A.TXT", "b", "..", ".", "CON",
    "a.txt.stream-s", "a.txt.stream-S", "a.stream-s", "a%7E2", "a%7E2.txt", "[no folder]", "Temp",
    "x:y", "x%3Ay", "x%3ay", "s", "AppData", "Documents", "Users", "a.", "a. ", "\xED\xA0\x80",
    "Zone.Identifier"};

static const char *random_name(void)
{
	return names[(size_t)rand() % (sizeof(names) / sizeof(names[0]))];
}

/* Reparse tags now and then. */
static uint32_t random_tag(void)
{
	switch (rand() % 20) {
	case 0:
		return REPARSE_MOUNT_POINT;
	case 1:
		return REPARSE_CLOUD;
	case 2:
		return REPARSE_APPEXECLINK;
	default:
		return 0;
	}
}

/* A parent that may be anything: the root, a person's folder, another file, itself, none. */
static uint32_t random_parent(const struct forge *forge, size_t volume)
{
	unsigned kind = (unsigned)rand() % 10;

	if (kind < 3)
		return NODE_ROOT;
	if (kind == 3)
		return NONE;
	return 16 + (uint32_t)rand() % (uint32_t)(forge->volumes[volume].n_nodes - 16);
}

static void add_random_node(struct forge *forge, size_t volume)
{
	char path[64];
	uint32_t node;
	size_t n_names = rand() % 8 == 0 ? 2 : 1, n_streams = (size_t)rand() % 3;
	bool is_folder = rand() % 3 == 0;

	snprintf(path, sizeof(path), "\\made %u", (unsigned)forge->volumes[volume].n_nodes);
	node = is_folder ? forge_folder(forge, volume, path) : forge_file(forge, volume, path, 1);
	forge_node(forge, volume, node)->node.reparse_tag = random_tag();
	for (size_t i = 0; i < n_streams; i++)
		forge_stream(forge, volume, node, random_name(), 1);
	for (size_t i = 0; i < n_names; i++) {
		if (i > 0)
			forge_name(forge, volume, node, "\\more");
		free(forge_node(forge, volume, node)->names[i].name);
		forge_node(forge, volume, node)->names[i].name = strdup(random_name());
		forge_node(forge, volume, node)->names[i].parent = random_parent(forge, volume);
	}
}

/* A catalogue cuts loops of folders: each way up ends at the root or is lost. */
static void cut_loops(struct forge *forge, size_t volume)
{
	for (uint32_t i = 16; i < forge->volumes[volume].n_nodes; i++) {
		uint32_t at = i;

		for (size_t steps = 0; at != NONE && at != NODE_ROOT; steps++) {
			if (steps > forge->volumes[volume].n_nodes) {
				forge_node(forge, volume, i)->names[0].parent = NONE;
				break;
			}
			at = forge_node(forge, volume, at)->names[0].parent;
		}
	}
}

/* The file system allows no two equal names in one folder, nor two equal streams of a file. */
static void mend_names(struct forge *forge, size_t volume)
{
	struct forge_volume *of = &forge->volumes[volume];

	for (size_t i = 16; i < of->n_nodes * FORGE_NAMES; i++) {
		struct forge_node *node = &of->nodes[i / FORGE_NAMES];
		char *name =
		    i % FORGE_NAMES < node->n_names ? node->names[i % FORGE_NAMES].name : NULL;

		for (size_t k = 16; k < i && name; k++) {
			struct forge_node *other = &of->nodes[k / FORGE_NAMES];

			if (k % FORGE_NAMES < other->n_names &&
			    other->names[k % FORGE_NAMES].parent ==
				node->names[i % FORGE_NAMES].parent &&
			    strcmp(other->names[k % FORGE_NAMES].name, name) == 0) {
				char fresh[80];

				snprintf(fresh, sizeof(fresh), "%s%u", name, (unsigned)i);
				free(name);
				node->names[i % FORGE_NAMES].name = strdup(fresh);
				break;
			}
		}
	}
	for (size_t i = 16; i < of->n_nodes; i++)
		for (size_t s = 0; s < of->nodes[i].n_streams; s++)
			for (size_t k = 0; k < s; k++)
				if (strcmp(of->nodes[i].streams[k].name,
					of->nodes[i].streams[s].name) == 0) {
					free(of->nodes[i].streams[s].name);
					of->nodes[i].streams[s].name =
					    strdup(s == 1 ? "first" : "second");
				}
}

static int compare_texts(const void *a, const void *b)
{
	return utf_compare_fold(*(char *const *)a, *(char *const *)b);
}

static void check_path(const char *path)
{
	assert_int_equal(strncmp(path, "data/", 5), 0);
	assert_true(utf_is_clean(path));
	for (const char *at = path; *at; at++)
		if (*at == '/')
			assert_false(at[1] == 0 || at[1] == '/' || strncmp(at, "/./", 3) == 0 ||
				     strncmp(at, "/../", 4) == 0 || strcmp(at, "/..") == 0 ||
				     strcmp(at, "/.") == 0);
}

static void check_paths(const struct scene *scene)
{
	char **paths = calloc(scene->plan.n_items, sizeof(*paths));
	size_t count = 0;

	for (size_t i = 0; i < scene->plan.n_items; i++) {
		struct buf path = {0};

		if (scene->plan.items[i].state == STATE_LEFT || scene->plan.items[i].group == NONE)
			continue;
		plan_archive_path(&scene->plan, &scene->plan.items[i], &path);
		check_path(buf_text(&path));
		paths[count++] = strdup(buf_text(&path));
		buf_free(&path);
	}
	qsort(paths, count, sizeof(*paths), compare_texts);
	for (size_t i = 1; i < count; i++)
		if (utf_equal_fold(paths[i - 1], paths[i]))
			fail_msg("two archive paths: %s and %s", paths[i - 1], paths[i]);
	for (size_t i = 0; i < count; i++)
		free(paths[i]);
	free(paths);
}

static int compare_items(const void *a, const void *b)
{
	const struct item *one = a, *two = b;

	if (one->volume != two->volume)
		return one->volume < two->volume ? -1 : 1;
	if (one->entry != two->entry)
		return one->entry < two->entry ? -1 : 1;
	return one->stream < two->stream ? -1 : one->stream > two->stream;
}

/* Once each: a folder or link by itself, and every stream; of links, empty unnamed streams may
 * lack. */
static void check_complete(const struct scene *scene)
{
	struct item *items = calloc(scene->plan.n_items, sizeof(*items));

	memcpy(items, scene->plan.items, scene->plan.n_items * sizeof(*items));
	qsort(items, scene->plan.n_items, sizeof(*items), compare_items);
	for (size_t i = 1; i < scene->plan.n_items; i++)
		assert_true(compare_items(&items[i - 1], &items[i]) != 0);
	for (uint32_t v = 0; v < 2; v++) {
		const struct catalogue *catalogue = &scene->forge.volumes[v].catalogue;

		for (uint32_t e = 0; e < catalogue->n_entries; e++) {
			const struct node *node = &catalogue->nodes[catalogue->entries[e].node];
			size_t names_seen = 0;

			for (uint32_t s = 0; s < node->n_streams; s++) {
				struct item key = {
				    .volume = v, .entry = e, .stream = node->first_stream + s};

				if (!(node->flags & NODE_FOLDER) &&
				    !bsearch(&key, items, scene->plan.n_items, sizeof(key),
					compare_items))
					fail_msg("no item for stream %u of entry %u", s, e);
			}
			for (size_t i = 0; i < scene->plan.n_items; i++)
				names_seen += items[i].volume == v && items[i].entry == e;
			assert_true(names_seen > 0);
		}
	}
	free(items);
}

static void test_random(void **state)
{
	(void)state;
	for (unsigned round = 0; round < ROUNDS; round++) {
		struct scene scene;

		srand(round);
		scene_start(&scene);
		for (int i = 0; i < NODES; i++)
			add_random_node(&scene.forge, (size_t)rand() % 2);
		for (size_t v = 0; v < 2; v++) {
			cut_loops(&scene.forge, v);
			mend_names(&scene.forge, v);
		}
		scene_settle(&scene);
		scene_make(&scene, NULL);
		check_complete(&scene);
		check_paths(&scene);
		scene_end(&scene);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_random),
	};

	assert_true(locale_use_utf8(NULL));
	return cmocka_run_group_tests(tests, NULL, NULL);
}
