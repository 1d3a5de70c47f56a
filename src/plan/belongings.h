/*
 * Belongings: what people miss when it is forgotten, by kind, with its size, before it is taken and
 * after.
 *
 * The plan decides by where a thing lies (rules.h); this table says what it is: mail, address
 * books, saved games, ..., wherever it lies. It changes nothing of the plan.
 */
#ifndef PLAN_BELONGINGS_H
#define PLAN_BELONGINGS_H

#include "plan/plan.h"

enum belonging_kind {
	BELONGING_MAIL,
	BELONGING_ADDRESSES,
	BELONGING_CALENDARS,
	BELONGING_SIGNATURES,
	BELONGING_TEMPLATES,
	BELONGING_DICTIONARIES,
	BELONGING_NOTES,
	BELONGING_CONVERSATIONS,
	BELONGING_UNSAVED,
	BELONGING_BROWSERS,
	BELONGING_GAMES,
	BELONGING_PHOTO_LIBRARIES,
	BELONGING_MUSIC_LIBRARIES,
	BELONGING_BOOK_LIBRARIES,
	BELONGING_PHONE_BACKUPS,
	BELONGING_SAFES,
	BELONGING_CERTIFICATES,
	BELONGING_CONNECTIONS,
	BELONGING_LIBRARIES,
	BELONGING_CLOUD_CACHES,
	BELONGING_REGISTRY,
	BELONGING_COUNT,
};
const char *belonging_name(enum belonging_kind kind);  /* "mail": stable */
const char *belonging_words(enum belonging_kind kind); /* "mail": for people */

#define BELONGING_FOLDERS 4

/* All that one owner has of one kind. */
struct belonging {
	size_t system, person;           /* as in struct group; SIZE_MAX: shared, or nobody's */
	uint8_t kind;                    /* enum belonging_kind */
	uint64_t files, bytes;           /* taken */
	uint64_t left_files, left_bytes; /* not taken, but could be */
	/* Where: some of its folders, the largest of them first. */
	struct {
		uint32_t volume, node;
		uint64_t bytes;
	} folders[BELONGING_FOLDERS];
	size_t n_folders;
	bool has_more_folders;
};

struct belongings {
	struct belonging *items; /* by owner in the order of the plan's groups, then by kind */
	size_t count, capacity;
};

/* False when memory runs out. belongings_free() is needed in either case. */
bool belongings_find(struct belongings *belongings, const struct plan *plan);
void belongings_free(struct belongings *belongings);

/* An array of objects. */
struct json;
void belongings_to_json(
    const struct belongings *belongings, const struct plan *plan, struct json *json);

#endif
