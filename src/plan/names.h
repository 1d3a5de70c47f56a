/*
 * Names in the archive: one mapping for every format and destination.
 *
 * Safe on the old and the new system: reserved characters and device names, trailing dots and spaces,
 * control characters, twins that differ only in case, at most 255 bytes of UTF-8, nothing that climbs
 * out. Most names stay as they are. The mapping is reversible (name_unmap) and documented here and in
 * the README; the old name is in the record too.
 *
 * The mapping: a byte or unit that cannot stand is written as "%" and two upper-case hex digits for each byte
 * of its inner form; "%" itself is written "%25" only where it would otherwise read as such an escape
 * ("50% off.txt" stays). A name that is too long is cut and gets "~" and 16 hex digits of the SHA-256 of
 * the inner name before its extension; a case twin gets "%7E" and a number: those two are undone through
 * the record.
 *
 * Sources: [MS-FSCC] section 2.1.5 (file names); "Naming Files, Paths, and Namespaces" (device names).
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

#endif
