/*
 * An SQLite database from an old drive, opened in memory for reading.
 *
 * Whoever made the file may have meant harm: it has limits of size, of steps and of text; it can
 * only be asked for the columns of plain tables, with no function, view, trigger or extension.
 */
#ifndef SYSTEM_SQLITE_MEMORY_H
#define SYSTEM_SQLITE_MEMORY_H

#include <sqlite3.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct sqlite_memory {
	sqlite3 *database;
	unsigned steps; /* thousands that were made */
};

/*
 * Opens the bytes, which stay the caller's and must last until sqlite_memory_close(). Not zeroed
 * bytes of `memory` are overwritten. False when they are no database. Close in either case.
 */
bool sqlite_memory_open(struct sqlite_memory *memory, uint8_t *data, size_t length);
void sqlite_memory_close(struct sqlite_memory *memory);

/* Is there a plain table of this name? */
bool sqlite_memory_has_table(struct sqlite_memory *memory, const char *name);

/* A statement, or NULL when the database cannot answer it. sqlite3_finalize() is the caller's. */
sqlite3_stmt *sqlite_memory_ask(struct sqlite_memory *memory, const char *question);

#endif
