/*
 * Inside the partition tables: what gpt.c and mbr.c share with partition.c. Not for other parts.
 */
#ifndef DISK_TABLE_H
#define DISK_TABLE_H

#include "disk/partition.h"

/* What one attempt at a table works with. */
struct table_job {
	struct source *source;
	struct arena *arena;
	struct findings *findings;
	uint32_t sector_size; /* of this attempt */
	uint64_t size;        /* of the drive, bytes */
	bool no_memory;
};

/* How much of a table could be proven by its checksums; ascending. */
enum table_grade {
	GRADE_NONE,    /* no table */
	GRADE_ENTRIES, /* the header is sound, the entries are not what it promises */
	GRADE_HEADER,  /* the header is damaged, the entries are what it promises */
	GRADE_SOUND,
};

struct gpt_header {
	uint64_t own, other; /* sectors where this header and its twin lie */
	uint64_t entries_sector;
	uint32_t entry_count, entry_size, entries_crc;
	struct guid disk_id;
};

/* Looks at the header in one sector. Fills *header unless the grade is GRADE_NONE. */
enum table_grade gpt_check(struct table_job *job, uint64_t sector, struct gpt_header *header);

/* Does "EFI PART" stand there, in whatever state? */
bool gpt_has_signature(struct table_job *job, uint64_t sector);

/* Takes the entries into *table, which gets sector_size, kind and disk_id too. */
void gpt_take(struct table_job *job, const struct gpt_header *header, struct table *table);

enum mbr_kind {
	MBR_NONE,       /* no signature, or flags and ranges that no table has */
	MBR_PROTECTIVE, /* an entry of type EE */
	MBR_DOUBTFUL,   /* could be a table, or a boot sector of something unknown */
	MBR_ORDINARY,
};

/* Looks at the first sector of the drive (512 bytes are enough for every sector size). */
enum mbr_kind mbr_check(const uint8_t *sector);
/* How many of the four entries begin with a file system, counting in sectors of this job's size. */
unsigned mbr_score(struct table_job *job, const uint8_t *sector);
void mbr_take(struct table_job *job, const uint8_t *sector, struct table *table);

/* Makes a list of the volumes that are found without a table, if there are any. */
void lost_take(struct table_job *job, struct table *table);

/*
 * Adds to a table, whose partitions are in their order, the volumes that stand between them and are
 * listed nowhere; they get the next free numbers and stand at the end of the list.
 */
void lost_take_between(struct table_job *job, struct table *table);

/*
 * How long the volume that begins at `offset` says it is, in bytes; 0 where none begins, or it does
 * not say. False when its boot sector cannot be read.
 */
bool lost_length(struct table_job *job, uint64_t offset, uint64_t *length);

/* Compares the table with what the volumes say themselves, and mends it; see mend.c. */
void table_mend(struct table_job *job, struct table *table);

/* Does a file system begin at one of the partitions? */
bool table_leads_anywhere(struct table_job *job, const struct table *table);

/* By offset, then by number. */
void table_sort(struct table *table);

/*
 * The file system whose boot sector is the first sector at `offset`; no other signs are looked at.
 */
enum filesystem filesystem_of_boot_sector(struct source *source, uint64_t offset);

/*
 * Adds a partition of `count` sectors from sector `start`, unless it lies outside the drive (a
 * finding) or memory runs out. NULL then.
 */
struct partition *table_add(struct table_job *job, struct table *table, size_t *capacity,
    unsigned number, uint64_t start, uint64_t count);

#endif
