/*
 * Records that were found on a volume and may be of its table, and which of them are believed.
 * Private to src/ntfs; see table_rest.h.
 *
 * They come in stretches: one behind the other on the volume as in the table. The image of another
 * drive has such stretches too. What tells them apart is the folders that the files lie in: those
 * of another volume are not there under that number, or in another sequence; and what lies in the
 * root, which every volume has, is known by its name from the root's index. So stretches are
 * believed by the folders that are known, then others by the folders in those, and so on. Where
 * nothing is said about any of that, the places of the files have to be free of other files, and to
 * be more than could be so by chance.
 */
#ifndef NTFS_TABLE_FINDS_H
#define NTFS_TABLE_FINDS_H

#include "disk/hole.h"
#include "ntfs/catalogue.h"
#include "ntfs/record.h"

struct stretch {
	uint64_t at;           /* on the volume, bytes */
	uint64_t first, count; /* record numbers */
	size_t first_fact, n_facts;
	uint64_t named, misnamed; /* records that name what is there, or is not */
	uint64_t placed, misplaced; /* runs where a file of this volume may lie, or may not */
	bool is_believed;
};

/* What one record says of another one. */
struct fact {
	uint32_t number; /* of the record */
	uint16_t sequence;
	bool is_folder;
	bool of_folder;         /* the other one is its folder; else its base record */
	struct reference other; /* record UINT32_MAX: it says nothing */
	uint64_t name; /* a hash of sequence, folder and name */
};

/* A missing record in the root's index. */
struct listed {
	uint32_t number;
	uint64_t name;
};

struct finds {
	const struct catalogue *known;
	const struct holes *gaps; /* record numbers that are missing */
	uint64_t record_size;
	struct stretch *items;
	size_t count, capacity;
	struct fact *facts;
	size_t n_facts, facts_capacity;
	struct listed *listed; /* by number */
	size_t n_listed, listed_capacity;
	size_t *believed; /* stretches, by their first number */
	size_t n_believed, believed_capacity;
	uint64_t covered; /* records in stretches that will be believed, as far as that is sure yet */
	bool goes_on;     /* the last stretch may */
	bool no_memory;
};
void finds_free(struct finds *finds);

/* Reads the root's index. `known`, `gaps` and `record_size` are set. False: no memory. */
bool finds_learn_root(struct finds *finds);

/*
 * A record that could be number `number` was found at a place of the volume; places only grow. The
 * stretch that it belongs to, or NULL: no memory, or there are too many.
 */
struct stretch *finds_add(
    struct finds *finds, uint64_t at, uint64_t number, const struct record *record);
/* What is found next does not lie in one piece with what came before. */
void finds_break(struct finds *finds);

/*
 * Decides. `chance`: how likely it is that a place taken by chance is one where a file of this
 * volume may lie; 1 where that is not known.
 */
void finds_believe(struct finds *finds, double chance);

#endif
