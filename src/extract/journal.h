/*
 * The journal of a job: while it is there the job is not complete. It says so to people, and holds
 * what is needed to go on with the job after it was cut off.
 *
 * A text file that only ever grows. Lines that begin with '#' are for people. Every other line is a
 * JSON object (RFC 8259), a space, and the CRC-32 of the object's text (that of zlib) in 8 hex
 * digits: enough to know a line that was torn by a power cut. Whatever stands behind the first line
 * that is not whole does not count.
 */
#ifndef EXTRACT_JOURNAL_H
#define EXTRACT_JOURNAL_H

#include "base/buf.h"
#include "base/error.h"

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

#define JOURNAL_MOVED "moved" /* key of the line that head.h says more of */
#define JOURNAL_LINE ((size_t)1 << 20) /* bytes: a longer line is none of ours */

/* All zeros but for fd = -1 is a journal that is not open; adding to it does nothing. */
struct journal {
	char *path;
	int fd;
	struct buf lines;   /* added, but not written yet */
	uint64_t size;      /* bytes written */
};

/*
 * Makes the file, with the page for people in front (each line of it begins with '#'), synced.
 * False with *error (STATUS_DESTINATION); nothing is left behind or to be closed then.
 */
bool journal_create(struct journal *journal, const char *path, const struct buf *page,
    struct error *error);

/*
 * Is told every whole line: the object (borrowed), and the offset behind the line. False with
 * *error ends the reading.
 */
typedef bool journal_line(void *about, const json_t *object, uint64_t end, struct error *error);

/*
 * Reads the journal from its beginning to the first line that is not whole. False with *error: when
 * it cannot be read (STATUS_DESTINATION), memory ran out, or `line` said so.
 */
bool journal_read(const char *path, journal_line *line, void *about, struct error *error);

/*
 * Opens a journal to go on with it: what stands behind `size` bytes is cut off, which is synced.
 * False with *error (STATUS_DESTINATION), also when another process has it open.
 */
bool journal_open(struct journal *journal, const char *path, uint64_t size, struct error *error);

/* Adds a line with the object that `json` holds, written by the next journal_sync(). */
bool journal_add(struct journal *journal, const struct buf *json, struct error *error);
/* Makes everything that was added last. False with *error (STATUS_DESTINATION). */
bool journal_sync(struct journal *journal, struct error *error);
/* What was not synced is lost. */
void journal_close(struct journal *journal);

#endif
