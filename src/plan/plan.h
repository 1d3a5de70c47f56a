/*
 * The plan: for every stream, folder and link of every catalogue, take, leave or why not, and where in
 * the archive it goes.
 *
 * The decision comes from two things that are easy to read: areas (whose and what a folder is: a
 * person's place, a profile, the old system, a program, outside), which every folder inherits from its
 * parent, and the rules table (rules.h), which names what is left inside them.
 */
#ifndef PLAN_PLAN_H
#define PLAN_PLAN_H

#include "base/arena.h"
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
	ITEM_FILE,   /* a stream */
	ITEM_FOLDER,
	ITEM_LINK,
};

/*
 * A group is what shares archive files: one person's place, one person's settings, the shared
 * places of an old system, one volume's files outside every profile.
 */
struct group {
	const char *key;     /* unique and safe as a file name: "mara-documents", "shared", "drive-D" */
	const char *folder;  /* in the archive: "data/FERNHILL-PC/mara/Documents" */
	size_t system;       /* index in survey.systems, SIZE_MAX: of a drive */
	size_t person;       /* index in its persons, SIZE_MAX: shared */
	const char *place;   /* role, "settings", "other", "shared", "outside" */
};

/* One line of the record to be. */
struct item {
	uint32_t volume;  /* index in survey.volumes */
	uint32_t entry;   /* index in its catalogue's entries: the name this item goes by */
	uint32_t stream;  /* index in its catalogue's streams; NONE for folders and links */
	uint32_t group;   /* index in plan.groups; NONE when it is nobody's (left) */
	uint32_t base;    /* node of the folder that stands for the group's folder: paths are relative to it */
	uint8_t kind;     /* enum item_kind */
	uint8_t state;    /* as planned: taken, left, absent, incomplete, unreadable, locked, same */
	uint8_t reason;
};

struct plan_options {
	const char *const *persons; /* --person: account, full or folder name; none: everybody */
	size_t n_persons;
	const char *const *takes;   /* --take patterns on old paths, case ignored */
	size_t n_takes;
	const char *const *leaves;  /* --leave patterns; they win over --take */
	size_t n_leaves;
};

struct plan {
	struct arena arena;
	const struct survey *survey;
	struct group *groups;
	size_t n_groups, groups_capacity;
	/* Sorted by group, then by archive path; items that are left come last, by volume and path. */
	struct item *items;
	size_t n_items, items_capacity;
	uint64_t bytes_taken;   /* logical bytes of what is taken */
	size_t n_taken;
};

/*
 * Decides for everything in the survey. False with *error when a named person does not exist
 * (STATUS_USAGE) or memory runs out.
 */
bool plan_make(struct plan *plan, const struct survey *survey, const struct plan_options *options,
    struct findings *findings, struct error *error);
void plan_free(struct plan *plan);

/* Appends the item's old path "\Users\mara\x.txt" (without volume and stream). */
void plan_old_path(const struct plan *plan, const struct item *item, struct buf *path);

/*
 * Appends the item's path in the archive, every name mapped by names.h: "data/FERNHILL-PC/mara/
 * Documents/x.txt"; a named stream is a file beside its file.
 */
void plan_archive_path(const struct plan *plan, const struct item *item, struct buf *path);

#endif
