/*
 * Drives that belong to a set: recognised by what stands on the drive, never assembled.
 *
 * A member of a mirror is a whole copy and is read as a plain drive. Of a striped or spanned set, a
 * set with parity or a storage pool nothing is whole on one drive; such a member is named with what
 * its owner can do. Everything here is read from the drive and may be hostile.
 *
 * Sources of the layouts stand at each reader: set_rst.c, set_ddf.c, set_marks.c, ldm.h. Storage
 * pools: Microsoft's documentation of PARTITION_INFORMATION_GPT (their partition type).
 */
#ifndef DISK_SETS_H
#define DISK_SETS_H

#include "base/finding.h"
#include "disk/drives.h"
#include "disk/partition.h"
#include "disk/source.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum set_kind {
	SET_NONE,
	SET_RST, /* Intel Matrix Storage, Rapid Storage */
	SET_DDF, /* Common RAID Disk Data Format */
	SET_NVIDIA,
	SET_PROMISE,
	SET_SILICON,
	SET_VIA,
	SET_JMICRON,
	SET_LSI,
	SET_HIGHPOINT,
	SET_ADAPTEC,
	SET_LINUX,   /* Linux software RAID, over whole drives */
	SET_DYNAMIC, /* dynamic disk of the old system */
	SET_POOL,    /* storage pool of the old system */
};

enum set_level {
	SET_UNKNOWN,
	SET_MIRROR,
	SET_STRIPE, /* also mirrors of stripes */
	SET_PARITY,
	SET_SPAN,
	SET_SPARE,
	SET_SINGLE, /* every volume lies whole on one drive */
};

struct set {
	enum set_kind kind;
	enum set_level level;
	char name[96];       /* as its maker called it, "" when it has none; any bytes */
	char id[96];         /* equal for all members of a set; "" when not known */
	unsigned member;     /* from 1; 0: not known which */
	unsigned members;    /* drives of the whole set; 0: not known */
	uint64_t generation; /* grows with every change of the set's description */
	uint64_t data_size;  /* bytes from the drive's start that the set uses; 0: not known */
	bool readable_alone;
	bool behind;     /* a copy that was not up to date when the set was last used */
	bool leftover;   /* volumes lie whole on the drive, so it no longer belongs to such a set */
	char others[96]; /* further volumes of the set that lie elsewhere on its drives, or "" */
};

/*
 * Looks for the signs of a set. `serial` is the drive's serial number, "" when unknown: some sets
 * name their members by it. `table` is the drive's table. SET_NONE when there is no sign.
 */
void set_recognise(
    struct source *source, const char *serial, const struct table *table, struct set *set);

/*
 * The same for a drive that is looked at. A set says more than table_read() could know: what that
 * said of an empty or sealed drive is taken back, in the findings and in the table.
 */
void set_learn(struct source *source, const struct drive *drive, struct table *table,
    struct findings *findings, struct set *set);

/*
 * May this partition of a member be read? In a set that is not readable from one drive an NTFS
 * volume counts when it lies whole on the drive: the copy of its boot sector stands where its size
 * says.
 */
bool set_shows_whole(
    const struct set *set, struct source *source, const struct partition *partition);

/* --- in words --- */

/* "rst", "dynamic-disk", "storage-pool", ... */
const char *set_kind_name(enum set_kind kind);
/* "mirror", "stripe", "parity", "span", "spare", "single", "unknown". */
const char *set_level_name(enum set_level level);

/* One drive among those that are looked at together. */
struct set_member {
	const char *path;
	const struct set *set;
	const struct table *table;
	bool failing;  /* better not the one to be read */
	bool left_out; /* filled in (SETS_CHOSEN): another copy of the same mirror is read */
};

/* What the drives are looked at for. */
enum set_use {
	SETS_LISTED, /* nobody's files are read */
	SETS_NAMED,  /* all of them are read */
	SETS_CHOSEN, /* nobody named them: of several copies of one mirror one is read */
};

/* Says what the sets mean, as findings with the drives' paths as subjects. */
void sets_say(
    struct set_member *members, size_t count, enum set_use use, struct findings *findings);

/* --- the readers, each in its own file; true when the sign is there and *set is filled in --- */

bool set_read_rst(struct source *source, const char *serial, struct set *set);
bool set_read_ddf(struct source *source, struct set *set);
bool set_read_marks(struct source *source, struct set *set);

/* Copies at most `length` bytes up to a NUL into the text, without spaces at the end. */
void set_text(char *out, size_t size, const void *bytes, size_t length);

#endif
