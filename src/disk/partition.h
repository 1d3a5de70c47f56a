/*
 * Partition tables: GPT with its backup, MBR with extended partitions, or none.
 *
 * Sources: UEFI Specification 2.10, chapter 5 (GUID Partition Table) and section 5.2.1 (legacy
 * MBR); extended partitions: common practice since MS-DOS 3.3, no standard.
 */
#ifndef DISK_PARTITION_H
#define DISK_PARTITION_H

#include "base/arena.h"
#include "base/finding.h"
#include "base/guid.h"
#include "disk/sealed.h"
#include "disk/source.h"

enum table_kind {
	TABLE_NONE, /* the whole drive is one volume, or nothing was recognised */
	TABLE_MBR,
	TABLE_GPT,
	/*
	 * The table is lost, or an MBR leads to nothing, and volumes were found by their boot
	 * sectors: numbered as they lie.
	 */
	TABLE_LOST,
};

struct ldm; /* ldm.h */

struct partition {
	/*
	 * As the table counts them, from 1; logical partitions from 5; 0 for a drive without a
	 * table.
	 */
	unsigned number;
	uint64_t offset;  /* bytes from the start of the drive; always inside the drive */
	uint64_t length;  /* bytes, more than 0; may reach over the end of a truncated image */
	uint8_t mbr_type; /* MBR only */
	struct guid type; /* GPT only */
	struct guid id;   /* GPT and dynamic disks: the partition's or volume's own GUID */
	const char *name; /* GPT only: inner text; "" otherwise */
};

struct table {
	enum table_kind kind;
	uint32_t sector_size;    /* the size that the table was written for */
	bool from_backup;        /* GPT: the main table was broken */
	uint32_t disk_signature; /* MBR; a GPT drive's protective MBR has one too, mostly 0 */
	struct guid disk_id;     /* GPT */
	struct partition *items; /* by offset; extended partitions themselves are not listed */
	size_t count;
	enum sealed sealed; /* nothing was recognised, and it looks encrypted or locked as a whole */
	/*
	 * Not NULL: a dynamic disk. The volumes that it describes and that lie in one piece stand
	 * among the items, under their own GUIDs, instead of the partitions that hold them.
	 */
	const struct ldm *dynamic;
};

/*
 * Reads the table, trying the drive's sector size and then 512 and 4,096. Damage becomes findings
 * with the drive's path as subject. A drive whose first sector is the boot sector of a file system
 * is TABLE_NONE with one entry that covers everything, unless a table in that sector leads to other
 * file systems. Without a table, the places where volumes
 * usually begin are looked at; where nothing at all is recognised there is no entry. False only
 * when memory runs out.
 */
bool table_read(struct source *source, struct arena *arena, struct findings *findings,
    struct table *table, struct error *error);

/* "GPT", "MBR", "none", "lost". */
const char *table_kind_name(enum table_kind kind);
/* Known partition types in words ("EFI system", "recovery", ...), or NULL. */
const char *partition_type_name(const struct table *table, const struct partition *partition);
/* Recovery, EFI and reserved partitions belong to the old system and hold nobody's files. */
bool partition_is_system(const struct table *table, const struct partition *partition);

enum filesystem {
	FILESYSTEM_NONE, /* nothing recognised */
	FILESYSTEM_NTFS,
	FILESYSTEM_FAT,
	FILESYSTEM_EXFAT,
	FILESYSTEM_REFS,
	FILESYSTEM_ENCRYPTED, /* a volume encrypted by the old system: "-FVE-FS-" */
	FILESYSTEM_EXT, /* ext2, ext3, ext4 */
	FILESYSTEM_OTHER,
};

/*
 * Recognises a file system by its first sectors (for NTFS also by the backup at the volume's end).
 */
enum filesystem filesystem_recognise(struct source *source, uint64_t offset, uint64_t length);
/* "NTFS", "FAT", "exFAT", "ReFS", "encrypted", "ext", "other", "none". */
const char *filesystem_name(enum filesystem filesystem);

#endif
