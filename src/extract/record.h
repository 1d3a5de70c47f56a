/*
 * record.jsonl: one line per item of the plan, after a header line.
 *
 * Keys, in this order; those that do not apply are absent:
 *   volume, path, stream, kind, size, state, reason, pc, person, place, part or parts, as, sha256,
 *   created, modified, changed, accessed, attributes, owner, file_record, holes, missing, target,
 *   name_utf16, stream_utf16, same_as, note
 * `owner` is the SID of the account that owns the file, where the volume tells.
 * `file_record` is the number of the record in the file table that describes it.
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

#endif
