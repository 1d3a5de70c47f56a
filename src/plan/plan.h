/*
 * The plan: for every stream, folder and link of every catalogue, take, leave or why not, and where
 * in the archive it goes.
 *
 * The decision comes from two things that are easy to read: areas (whose and what a folder is: a
 * person's place, a profile, the old system, a program, outside), which every folder inherits from
 * its parent, and the rules table (rules.h), which names what is left inside them.
 */
#ifndef PLAN_PLAN_H
#define PLAN_PLAN_H

#include "base/arena.h"
#include "base/buf.h"
#include "base/error.h"
#include "system/survey.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Why something is taken, left, or cannot be had. The names are stable: reason_name(). */
enum reason {
	/* taken */
	REASON_PLACE,
	REASON_PROFILE,
	REASON_SETTINGS,
	REASON_SHARED,
	REASON_OUTSIDE,
	REASON_CHANGED,
	REASON_ADDED,
	REASON_DELETED,
	REASON_KEYS,
	/* left */
	REASON_SYSTEM,
	REASON_FILE_SYSTEM,
	REASON_PROGRAM,
	REASON_PAGE_FILE,
	REASON_CACHE,
	REASON_TEMPORARY,
	REASON_LOG,
	REASON_CRASH_DUMP,
	REASON_INSTALLER_LEFTOVER,
	REASON_RECYCLE_BIN,
	REASON_ZONE_MARK,
	REASON_LINK,
	REASON_SERVICE_PROFILE,
	REASON_NOT_ASKED,
	REASON_PASSWORDS,
	REASON_OFFERED,
	/* cannot be had */
	REASON_CLOUD_ONLY,
	REASON_CLOUD_PART,
	REASON_ENCRYPTED,
	REASON_SYSTEM_COMPRESSED,
	REASON_DEDUPLICATED,
	REASON_READ_ERROR,
	REASON_DAMAGED,
	REASON_COUNT,
};
const char *reason_name(enum reason reason);     /* "zone-mark" */
const char *reason_sentence(enum reason reason); /* for people */

enum state {
	STATE_TAKEN,
	STATE_PARTIAL,
	STATE_UNREADABLE,
	STATE_ABSENT,
	STATE_INCOMPLETE,
	STATE_LOCKED,
	STATE_LEFT,
	STATE_SAME,
	STATE_COUNT,
};
const char *state_name(enum state state);

enum item_kind {
	ITEM_FILE, /* a stream */
	ITEM_FOLDER,
	ITEM_LINK,
};

/* What of a file stands in the archive. */
enum item_form {
	FORM_CONTENT, /* its bytes */
	/* Of a huge sparse file only the ranges that hold data, behind each other. */
	FORM_RANGES,
	FORM_ENCRYPTED, /* its sectors as they lie on the drive, encrypted by the file system */
	FORM_ENCRYPTED_RANGES, /* of a huge sparse one only those that hold data */
	FORM_KEY,              /* the key stream of such a file */
	FORM_COUNT,
};
/* "data-ranges", "encrypted-data", "encrypted-key"; a dot and this end the name in the archive. */
const char *form_name(enum item_form form); /* NULL for FORM_CONTENT */
static inline bool form_is_encrypted(enum item_form form)
{
	return form == FORM_ENCRYPTED || form == FORM_ENCRYPTED_RANGES;
}
static inline bool form_is_ranges(enum item_form form)
{
	return form == FORM_RANGES || form == FORM_ENCRYPTED_RANGES;
}

/*
 * A group is what shares archive files: one person's place, one person's settings, one shared place
 * of an old system, one volume's files outside every profile; and what a person encrypted, with
 * what opens it.
 */
struct group {
	const char
	    *key; /* unique and safe as a file name: "mara-documents", "shared-music", "drive-D" */
	const char *folder; /* in the archive: "data/FERNHILL-PC/mara/Documents" */
	size_t system;      /* index in survey.systems, SIZE_MAX: of a drive */
	size_t person;      /* index in its persons, SIZE_MAX: shared */
	/*
	 * role, "settings", "registry", "sealed", "recycle-bin", "other" (the last two also of what is
	 * shared), "outside"
	 */
	const char *place;
	bool is_sealed; /* paths below its folder are the old ones, with the volume in front */
	bool is_bin;    /* paths below its folder are those from before the things were deleted */
};

/* One line of the record to be. */
struct item {
	uint32_t volume; /* index in survey.volumes */
	uint32_t entry;  /* index in its catalogue's entries: the name this item goes by */
	/*
	 * Index in its catalogue's streams; NONE for folders and links, and for a damaged file of
	 * which no stream is known (unreadable, or left).
	 */
	uint32_t stream;
	/*
	 * Index in plan.groups. What is left has one too when it is a person's or shared, otherwise
	 * NONE. A folder that is taken has NONE when it is nobody's and all that is taken in it
	 * goes elsewhere
	 * (\Users, whose profiles are persons in the archive): it has no path there.
	 */
	uint32_t group;
	uint32_t base; /* node of the folder that stands for the group's folder: paths are relative
			  to it */
	uint8_t kind;  /* enum item_kind */
	uint8_t state; /* as planned: taken, left, absent, incomplete, unreadable, locked, same */
	uint8_t reason;
	uint8_t form; /* enum item_form */
};

/*
 * What the command line asks for.
 *
 * With --person only what is that person's: nothing shared and nothing outside the profiles. --take
 * adds to that, and takes what rules leave; but never the file system's own, links, download marks,
 * or what cannot be had. Patterns are those of pattern.h on old paths with the volume's letter or
 * name in front: "D:\Photos\**"; a folder means everything in it; one that starts with a separator
 * counts on every volume; one without any separator is compared with names alone ("*.vdi").
 */
struct plan_options {
	const char *const *persons; /* --person: account, full or folder name; none: everybody */
	size_t n_persons;
	const char *const *takes; /* --take patterns on old paths, case ignored */
	size_t n_takes;
	const char *const *leaves; /* --leave patterns; they win over --take */
	size_t n_leaves;
};

/* One of several names in a folder that differ only in case, or would in the archive. */
struct twin {
	uint32_t volume, entry;
	uint32_t stream; /* NONE: the entry's own name */
	uint32_t number; /* from 2; the first is not listed */
};

/* What something that was deleted is called in the archive, below its group's folder. */
struct bin_path {
	const char *folder; /* "Desktop/", in the archive's own form; "" where there is none */
	const char *name;   /* inner text */
	unsigned number;    /* of several that were called so, from 2; less: the first */
};

struct plan {
	struct arena arena;
	const struct survey *survey;
	/* Each person's places, the rest of the profile and settings; what is shared; then drives.
	 */
	struct group *groups;
	size_t n_groups, groups_capacity;
	/*
	 * Sorted by group, then folder by folder in the order of the old names' bytes, a folder
	 * before what is in it; items that are left come last, by volume and path in the same
	 * order.
	 */
	struct item *items;
	size_t n_items, items_capacity;
	struct twin *twins; /* sorted by volume, entry, stream */
	size_t n_twins, twins_capacity;
	struct bin_path *bin_paths; /* one for each of survey.deleted */
	uint64_t bytes_taken; /* logical bytes of what is taken */
	size_t n_taken;
};

/*
 * Decides for everything in the survey. False with *error when a named person does not exist
 * (STATUS_USAGE) or memory runs out. plan_free() is needed in either case.
 */
bool plan_make(struct plan *plan, const struct survey *survey, const struct plan_options *options,
    struct findings *findings, struct error *error);
void plan_free(struct plan *plan);

/* Appends the item's old path "\Users\mara\x.txt" (without volume and stream). */
void plan_old_path(const struct plan *plan, const struct item *item, struct buf *path);

/*
 * Appends the old path, with its drive, that a deleted thing had, or something in one; false, and nothing
 * appended, for what was not deleted and where it is not told.
 */
bool plan_was(const struct plan *plan, const struct item *item, struct buf *path);

/*
 * Appends the item's path in the archive, every name mapped by names.h: "data/FERNHILL-PC/mara/
 * Documents/x.txt"; a named stream is a file beside its file.
 */
void plan_archive_path(const struct plan *plan, const struct item *item, struct buf *path);

#endif
