/*
 * Holes: ranges that could not be read. A sorted list without overlaps, in bytes.
 */
#ifndef DISK_HOLE_H
#define DISK_HOLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct hole {
	uint64_t offset;
	uint64_t length;
};

struct holes {
	struct hole *items; /* ascending, joined where they touch */
	size_t count, capacity;
	bool failed; /* memory ran out: the list is not complete */
};

/* All zeros is a valid empty list. */
void holes_free(struct holes *holes);
void holes_clear(struct holes *holes);
void holes_add(struct holes *holes, uint64_t offset, uint64_t length);
void holes_add_all(struct holes *holes, const struct holes *more);
/* Takes [offset, offset + length) out. */
void holes_remove(struct holes *holes, uint64_t offset, uint64_t length);
/* Adds to *both what lies in both lists. */
void holes_common(const struct holes *one, const struct holes *other, struct holes *both);
/* The first hole with bytes at or behind `offset`, or NULL. Valid until the next change. */
const struct hole *holes_next(const struct holes *holes, uint64_t offset);
/* Does [offset, offset + length) meet a hole? */
bool holes_meet(const struct holes *holes, uint64_t offset, uint64_t length);
uint64_t holes_total(const struct holes *holes); /* bytes */

#endif
