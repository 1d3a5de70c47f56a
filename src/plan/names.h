/*
 * Names in the archive: one mapping for every format and destination.
 *
 * Safe on the old and the new system: reserved characters and device names, trailing dots and
 * spaces, control characters, twins that differ only in case, at most 255 bytes of UTF-8, nothing
 * that climbs out. Most names stay as they are. The mapping is reversible (name_unmap) and
 * documented here and in the README; the old name is in the record too.
 *
 * The mapping, where "%XX" stands for one byte of the inner name in two upper-case hex digits:
 *   < > : " / \ | ? *, control characters    %XX
 *   a unit that is no valid Unicode           %XX for each of its three inner bytes ("%ED%A0%BD")
 *   "%" before two hex digits of either case  "%25": nothing else reads as an escape, and "%3a" is
 * no twin of "%3A"; elsewhere "%" stays ("50% off.txt") a dot or a space at the end %XX, only the
 * last one ("..." is "..%2E") a device name before the first dot        its first letter as %XX
 * ("%43ON", "%6Eul.txt") What cannot be undone from the name alone is undone through the record: a
 * twin gets "%7E" and its number before its extension ("Notes%7E2.txt"), a named stream is a file
 * "NAME.stream-STREAM", a file that is kept in another form than its bytes has an ending that says
 * so ("NAME.encrypted-data"), and what is then longer than 255 bytes is cut and gets "~" and 16 hex
 * digits of a SHA-256 before its extension.
 *
 * Sources: [MS-FSCC] section 2.1.5 (file names); "Naming Files, Paths, and Namespaces" (reserved
 * characters, device names, also with superscript digits; CONIN$ and CONOUT$: "CreateFile",
 * consoles).
 */
#ifndef PLAN_NAMES_H
#define PLAN_NAMES_H

#include "base/buf.h"

#include <stdbool.h>
#include <stddef.h>

#define NAME_LIMIT 255 /* bytes of UTF-8 */

/* Appends the archive form of one inner name (no separators are added). */
void name_map(struct buf *out, const char *name);

/* Undoes name_map() for names that were not cut and are no twins. */
void name_unmap(struct buf *out, const char *mapped);

/*
 * The same for one of several names that differ only in case: its number, from 2 (less: it is the
 * first), and for a stream ("": the file itself) or an ending (without its dot; NULL: none) beside
 * its file, which can again be one of several.
 */
struct name_more {
	unsigned number;
	const char *stream;
	unsigned stream_number; /* of the stream or the ending */
	const char *ending;
};
void name_map_more(struct buf *out, const char *name, const struct name_more *more);

#endif
