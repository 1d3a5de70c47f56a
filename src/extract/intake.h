/*
 * One file on its way from the reading side into a part: hashed, looked at, its holes collected.
 */
#ifndef EXTRACT_INTAKE_H
#define EXTRACT_INTAKE_H

#include "extract/pieces.h"
#include "extract/take.h"

/*
 * Takes the file's chunks off the pipeline, whose next stream is that of `item`, and stores it (or
 * finds that the open part has the same already); sets its outcome. Until take->is_last_try a file
 * that meets what was put off to a later round is set aside instead: nothing of it stays in its
 * part, and *set_aside says so. False with *error as take_all().
 */
bool intake_file(struct take *take, struct pipeline *pipeline, uint32_t item, bool *set_aside,
    struct error *error);

/* Only hashes it: sets the digest, unless there are holes. */
bool intake_hash(struct take *take, struct pipeline *pipeline, uint32_t item, struct error *error);

/*
 * Stores `item` as another name for `target`, which stands in the open part; sets its outcome. Zip
 * files have no such thing: there the item is only recorded.
 */
bool intake_same(struct take *take, uint32_t item, uint32_t target, bool by_content,
    struct error *error);

/* Fills a member for the item but for its size; the path stays in `path`. */
bool intake_member(struct take *take, uint32_t item, struct buf *path, struct member *member,
    struct error *error);

#endif
