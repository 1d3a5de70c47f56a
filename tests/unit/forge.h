/*
 * A survey made by hand, in memory: volumes with files, old systems, persons and places, for tests
 * that need no drive.
 *
 * First all files, then forge_finish(), then what refers to folders (persons, places).
 */
#ifndef UNIT_FORGE_H
#define UNIT_FORGE_H

#include "ntfs/catalogue.h"
#include "system/survey.h"

#define FORGE_NAMES 4
#define FORGE_STREAMS 8
#define FORGE_VOLUMES 4
#define FORGE_TIME INT64_C(131000000000000000) /* a day in 2016 */
#define FORGE_DAY (INT64_C(86400) * 10000000)

struct forge_node {
	struct node node;
	size_t n_names, n_streams;
	struct {
		uint32_t parent;
		char *name;
	} names[FORGE_NAMES];
	struct {
		char *name;
		uint64_t size;
		uint16_t flags;
	} streams[FORGE_STREAMS];
};

struct forge_volume {
	struct volume volume;
	struct catalogue catalogue;
	struct forge_node *nodes;
	size_t n_nodes, capacity;
};

struct forge {
	struct survey survey;
	struct forge_volume volumes[FORGE_VOLUMES];
	struct survey_volume survey_volumes[FORGE_VOLUMES];
	struct old_system systems[2];
	struct person persons[2][8];
	struct place places[2][8][24];
	struct place shared[2][8];
	struct program programs[8];
	struct letter letters[FORGE_VOLUMES];
};

void forge_start(struct forge *forge);
void forge_free(struct forge *forge);

/* Adds a volume called "C:", or by a name without a letter. Returns its index. */
size_t forge_volume(struct forge *forge, const char *name);

/*
 * Adds what stands at the path, with the folders above it; returns its node. Paths: "\Users\mara".
 * A file has an unnamed stream of `size` bytes. Times are FORGE_TIME.
 */
uint32_t forge_folder(struct forge *forge, size_t volume, const char *path);
uint32_t forge_file(struct forge *forge, size_t volume, const char *path, uint64_t size);
/* A junction or another folder or file with this reparse tag. */
uint32_t forge_link(
    struct forge *forge, size_t volume, const char *path, uint32_t tag, bool folder);
/* A further name, in an existing or new folder. */
void forge_name(struct forge *forge, size_t volume, uint32_t node, const char *path);
void forge_stream(
    struct forge *forge, size_t volume, uint32_t node, const char *name, uint64_t size);
/* Under a parent that is not there. */
uint32_t forge_lost(struct forge *forge, size_t volume, const char *name, bool folder);
struct forge_node *forge_node(struct forge *forge, size_t volume, uint32_t node);

/* Puts the catalogues together. */
void forge_finish(struct forge *forge);

/* Adds the old system on the volume with "\Windows" and the usual folders. Returns its index. */
size_t forge_system(struct forge *forge, size_t volume, const char *key);
/* Adds a person whose profile lies at the path; account, folder and key are `account`. */
size_t forge_person(struct forge *forge, size_t system, const char *account, const char *path);
/* Adds a place at "C:\Users\mara\Documents" (also of a volume without letter: "Old:\x"). */
struct place *forge_place(struct forge *forge, size_t system, size_t person, const char *role,
    const char *folder, const char *path, enum place_status status);
struct location forge_at(const struct forge *forge, const char *path);

#endif
