/*
 * record.jsonl: one line per item of the plan, after a header line.
 *
 * Keys, in this order; those that do not apply are absent:
 *   volume, path, stream, was, kind, size, state, reason, pc, person, place, form, stored, part or
 *   parts, as, sha256, created, modified, changed, accessed, attributes, owner, file_record, holes,
 *   missing, ranges, gaps, target, name_utf16, stream_utf16, same_as, note
 * `was` is the path, with its drive, that something in the recycle bin had before it was deleted.
 * `owner` is the SID of the account that owns the file, where the volume tells.
 * `file_record` is the number of the record in the file table that describes it.
 * `form` says that not the file's bytes as such stand in the archive, but `stored` bytes:
 *   "data-ranges": only the `ranges` that hold data, one behind the other; all else is zero
 *   "encrypted-data": its sectors as they lie on the old drive, encrypted; where there are `gaps`
 *   nothing was ever written, and where there are `ranges` the sectors are only those
 *   "encrypted-key": the key stream that goes with them
 * `sha256` is that of the bytes in the archive.
 * `holes` could not be read, `missing` is only in the cloud; both are zeros in the archive. A file
 * with `parts` is in pieces, one in each: "as" with the endings of piece_ending().
 */
#ifndef EXTRACT_RECORD_H
#define EXTRACT_RECORD_H

#include "extract/outcome.h"
#include "extract/parts.h"

/* Writes the file; *digest is its SHA-256. */
bool record_write(const struct job *job, const struct outcomes *outcomes, const struct parts *parts,
    struct digest *digest, struct error *error);

/* "key": [[offset, length], ...] */
struct json;
void record_ranges(struct json *json, const char *key, const struct holes *holes);

#endif
