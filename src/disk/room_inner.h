/*
 * What the readers of room.h share: checked reading inside one volume. Private to src/disk.
 */
#ifndef DISK_ROOM_INNER_H
#define DISK_ROOM_INNER_H

#include "base/buf.h"
#include "disk/room.h"

/* Bytes that are read at once while counting. */
#define ROOM_PIECE 65536u
/* Most bytes of a map or table that are counted. */
#define ROOM_COUNT_MAX (UINT64_C(64) << 20)
/* Most entries of a root folder that are looked at. */
#define ROOM_ENTRIES_MAX 65536u
#define ROOM_ENTRY 32u

struct room_volume {
	struct source *source;
	uint64_t offset, length;
	struct arena *arena;
	int64_t begun; /* seconds of moment_now() */
};

/* Reads inside the volume. False: outside of it, or a hole. */
bool room_bytes(const struct room_volume *volume, uint64_t at, void *out, size_t length);

/* May more be read, only to count? Asked before every piece. */
bool room_may_count(const struct room_volume *volume);

/* The buffer's text in the volume's arena, without spaces at its end. NULL: no memory. */
const char *room_label(const struct room_volume *volume, struct buf *text);

/*
 * A table of 32-bit entries that say which cluster follows which, as FAT32 and exFAT have it.
 */
struct room_chain {
	const struct room_volume *volume;
	uint64_t table;   /* offset in the volume, bytes */
	uint32_t entries; /* clusters 2 to entries + 1 exist */
	uint32_t mask;    /* the bits of an entry that count */
	uint64_t heap;    /* offset of cluster 2, bytes */
	uint32_t cluster; /* size, bytes */
	bool broken;      /* it led nowhere, or into a hole, at least once */
	uint32_t window_first;
	bool window_good;
	uint8_t window[4096];
};

/* The cluster behind `cluster`; 0 at the chain's end, also where it breaks off. */
uint32_t room_chain_next(struct room_chain *chain, uint32_t cluster);

/* Calls for every 32 bytes of a folder; false from it ends the walk. */
typedef bool room_entry(void *context, const uint8_t *entry);

/* Walks the folder in the chain from `first`. False when a part of it could not be read. */
bool room_walk_chain(struct room_chain *chain, uint32_t first, room_entry *each, void *context);

/* Walks `count` entries at one place. */
bool room_walk(const struct room_volume *volume, uint64_t at, uint32_t count, room_entry *each,
    void *context, bool *ended);

void room_read_fat(const struct room_volume *volume, struct room *room);
void room_read_exfat(const struct room_volume *volume, struct room *room);
void room_read_ext(const struct room_volume *volume, struct room *room);

#endif
