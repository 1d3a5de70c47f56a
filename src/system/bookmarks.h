/*
 * Bookmarks of browsers, in one form whatever they were kept in.
 *
 * Browsers are not known by name here. Two families keep bookmarks in a form that can be recognised
 * by what a file holds: a JSON document with the object "roots" (the Chromium family), and an
 * SQLite database with the tables moz_bookmarks and moz_places (the Mozilla family). Older ones
 * keep a folder of `.url` files. The readers work on bytes in memory; nothing here knows of drives.
 *
 * Sources: RFC 8259 (JSON); SQLite, "Database File Format"; the tables' columns and the fields of
 * the JSON: common practice, no source; `.url` files: Microsoft, "Internet Shortcuts".
 */
#ifndef SYSTEM_BOOKMARKS_H
#define SYSTEM_BOOKMARKS_H

#include "base/arena.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum bookmark_kind {
	BOOKMARK_FOLDER,
	BOOKMARK_LINK,
	BOOKMARK_LINE, /* a separator */
};

struct bookmark {
	uint8_t kind;            /* enum bookmark_kind */
	bool is_bar;             /* the folder that the browser shows as a bar */
	uint16_t depth;          /* folders that it lies in */
	const char *title;       /* inner text, "" when none */
	const char *address;     /* of links */
	int64_t added, modified; /* FILETIME, 0: not known */
};

#define BOOKMARK_DEPTH 100     /* what lies deeper is put into the last folder on the way */
#define BOOKMARK_LIMIT 500000u /* of one browser profile */

struct bookmarks {
	struct arena arena;
	struct bookmark *items; /* each folder before what is in it */
	size_t count, capacity;
	size_t n_links;
	size_t left_out; /* links without an address, or to the browser's own queries */
	bool is_partial; /* damage or a limit: some are missing */
	bool no_memory;
};

/* All zeros is valid and empty. */
void bookmarks_free(struct bookmarks *bookmarks);

/* Adds one; the texts are copied. */
void bookmarks_add(struct bookmarks *bookmarks, const struct bookmark *bookmark);

/* Takes away folders in which there is no link. */
void bookmarks_prune(struct bookmarks *bookmarks);

enum bookmarks_found {
	BOOKMARKS_READ,
	BOOKMARKS_NOT,    /* it is no such file */
	BOOKMARKS_BROKEN, /* it looks like one and cannot be read */
};

/*
 * Either family's JSON: the Chromium family's own file; the backups of the Mozilla family, plain or
 * packed
 * ("mozLz40", the size in 32 bits, one LZ4 block).
 */

#define BOOKMARKS_JSON_LIMIT ((size_t)16 << 20) /* bytes: a hundred times what people have */
enum bookmarks_found bookmarks_from_json(
    struct bookmarks *bookmarks, const void *data, size_t length);

#define BOOKMARKS_DATABASE_LIMIT ((size_t)128 << 20) /* bytes, with the log: it is held in memory  \
						      */
/*
 * `database` is changed in place: what its write-ahead log holds (`log`, may be empty) is put into
 * it. The log may make it larger: *room bytes are there, of which `length` are used (see
 * sqlite_log_room()).
 */
enum bookmarks_found bookmarks_from_database(struct bookmarks *bookmarks, uint8_t *database,
    size_t length, size_t room, const uint8_t *log, size_t log_length);

/* The address in a `.url` file, in `arena`; NULL when it has none. */
#define URL_FILE_LIMIT ((size_t)64 << 10) /* bytes */
char *bookmark_from_url_file(const uint8_t *data, size_t length, struct arena *arena);

#endif
