/*
 * The write-ahead log of an SQLite database, put into the database in memory.
 *
 * A program that was cut off leaves its newest changes only there. Frames count up to the last
 * commit whose checksums hold; the rest is from before or was never finished.
 *
 * Source: SQLite, "Database File Format", section 4 (The Write-Ahead Log) and 1.3 (The Database
 * Header).
 */
#ifndef SYSTEM_SQLITE_LOG_H
#define SYSTEM_SQLITE_LOG_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct sqlite_log {
	uint32_t page_size;
	uint32_t n_frames; /* up to the last commit */
	uint32_t n_pages;  /* of the database after it */
};

/* False when nothing of the log counts. */
bool sqlite_log_read(struct sqlite_log *log, const uint8_t *data, size_t length);

/* Bytes that the database has afterwards. */
uint64_t sqlite_log_room(const struct sqlite_log *log);

/*
 * Puts the pages of `log` into `database`, where `length` bytes are used and sqlite_log_room()
 * bytes are there. Returns the new length. False in *fits (nothing changed) when the log belongs to
 * another database.
 */
size_t sqlite_log_apply(const struct sqlite_log *log, const uint8_t *data, uint8_t *database,
    size_t length, bool *fits);

/* Says in the header that there is no log, so that the database opens without one. */
void sqlite_log_forget(uint8_t *database, size_t length);

#endif
