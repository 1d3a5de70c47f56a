/*
 * Compound files: a small file system of streams in one file, as jump lists and installer packages
 * (.msi) are.
 *
 * Source: [MS-CFB] 2.1 to 2.6. Names and the tree of storages are not searched but listed: every
 * directory entry in use counts.
 */
#ifndef SYSTEM_COMPOUND_H
#define SYSTEM_COMPOUND_H

#include "base/arena.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum compound_kind {
	COMPOUND_UNUSED = 0,
	COMPOUND_STORAGE = 1,
	COMPOUND_STREAM = 2,
	COMPOUND_ROOT = 5,
};

struct compound_entry {
	const char *name; /* inner text */
	uint32_t first;   /* sector, of the small ones when the stream is small */
	uint64_t size;    /* bytes */
	enum compound_kind kind;
};

struct compound {
	const uint8_t *data; /* the whole file; the caller's */
	size_t length;
	unsigned sector_shift;
	uint32_t cutoff; /* streams below it lie in small sectors */
	uint32_t *next;  /* by sector: the one that follows */
	size_t n_sectors;
	uint32_t *small_next;
	size_t n_small;
	const uint8_t *small; /* the small sectors' bytes */
	size_t small_length;
	struct compound_entry *entries;
	size_t n_entries;
};

/* False when it is no compound file, or memory runs out. What it holds belongs to `arena`. */
bool compound_open(
    const uint8_t *data, size_t length, struct arena *arena, struct compound *compound);

/* The stream of that name (ignoring case), or NULL. */
const struct compound_entry *compound_find(const struct compound *compound, const char *name);

/*
 * The bytes of a stream, in `arena`, as many as its chain of sectors has, at most its size. NULL
 * when it has none, is larger than `limit`, or memory runs out.
 */
uint8_t *compound_load(const struct compound *compound, const struct compound_entry *entry,
    size_t limit, struct arena *arena, size_t *length);

#endif
