/*
 * What was read of a drive while nothing was wrong with it, kept in memory up to a bound: should it
 * fail later, that goes into the store (disk/salvage.h) without being asked for again.
 */
#ifndef DISK_EARLY_H
#define DISK_EARLY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct salvage;

struct early {
	struct early_piece *items; /* as they came */
	size_t count, capacity;
	size_t room; /* bytes that may be kept still */
};

/* All zeros: nothing is kept. */
void early_free(struct early *early);

/* Keeps a copy. What there is no room or memory for is not kept. */
void early_add(struct early *early, uint64_t offset, const void *data, size_t length);

/* Puts all of it into the store and is empty then; nothing is kept from then on. */
void early_give(struct early *early, struct salvage *salvage);

#endif
