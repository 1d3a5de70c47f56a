/*
 * Dynamic disks: the old system's own table of volumes behind (MBR type 42, or a GPT partition of
 * its own) the ordinary partition table. Volumes that lie in one piece on this drive, also as one
 * copy of a mirror, are found by it; others are named.
 *
 * Sources: the Linux-NTFS project's "LDM documentation" (PRIVHEAD, TOCBLOCK, VMDB, VBLK; Microsoft
 * has published none) and the kernel's documentation, Documentation/admin-guide/ldm.rst; on GPT
 * drives the first structure lies in the last sector of the metadata partition (libldm).
 */
#ifndef DISK_LDM_H
#define DISK_LDM_H

#include "base/arena.h"
#include "base/guid.h"
#include "disk/sets.h"
#include "disk/source.h"

/* A volume with at least one piece on this drive. */
struct ldm_volume {
	const char *name; /* "Volume1"; any bytes */
	struct guid id;   /* what the old system's list of letters knows it by */
	uint32_t object;  /* number within the group */
	enum set_level level;
	unsigned drives; /* over how many its pieces lie */
	bool is_whole;   /* one piece here is the whole volume */
	uint64_t offset; /* of that piece, bytes from the drive's start; inside the drive */
	uint64_t length;
	uint64_t size; /* of the volume, bytes */
};

struct ldm {
	char group[40];    /* name of the disk group */
	char group_id[40]; /* its GUID as text */
	unsigned drives;   /* in the group; 0: the database could not be read */
	uint64_t generation;
	struct ldm_volume *volumes;
	size_t count;
};

/*
 * Reads the description whose first structure (PRIVHEAD) lies in this sector of the drive. NULL
 * when it is not there or memory runs out; damage leaves volumes out.
 */
struct ldm *ldm_read(
    struct source *source, struct arena *arena, uint32_t sector_size, uint64_t sector);

/* A dynamic disk in the terms of sets. */
void ldm_to_set(const struct ldm *ldm, struct set *set);

#endif
