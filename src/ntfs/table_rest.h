/*
 * The rest of a file table of which it is not known in full where it lies: $MFT's own list of runs,
 * or one of the further records that hold a part of it, is broken. Private to src/ntfs.
 *
 * First all records that are known are asked whether they hold a part of the list: whoever lost the
 * attribute list that names them has not lost them. What is missing even then is looked for on the
 * volume, in the clusters that $Bitmap says are in use and that no known file has: file records say
 * their own number (since NTFS 3.1; those of older volumes cannot be placed, and are not found).
 *
 * A record is not believed because it looks like one: an image of another drive is full of them.
 * What the records of one stretch say has to fit what is known: folders that are there, in the
 * sequence that they have, and clusters that belong to nobody else.
 *
 * The volume is gone over once, from its beginning to its end or until everything is found: that
 * takes long, and only happens where files would be lost otherwise.
 *
 * Sources: linux-ntfs documentation, "File record" (the number at 0x2C), "$MFT", "$Bitmap".
 */
#ifndef NTFS_TABLE_REST_H
#define NTFS_TABLE_REST_H

#include "ntfs/catalogue.h"
#include "ntfs/record.h"
#include "ntfs/runs.h"

/* By records that are known. False: no memory. */
bool table_rest_by_records(struct volume *volume);

/*
 * By looking through the volume; `known` is what the table gives so far, and need not have its
 * names linked. *found: records. False: no memory.
 */
bool table_rest_by_search(
    struct volume *volume, const struct catalogue *known, uint64_t *found);

/* --- what the two share --- */

/*
 * Puts the runs (with their VCN in the table, in any order; of two that overlap the one that begins
 * first counts) in the place of what is lost of the table. False: no memory.
 */
bool table_rest_fill(struct volume *volume, struct run *runs, size_t n_runs);

/* The number that a file record says it has; NONE for one of an older volume. */
uint32_t table_rest_number(const struct record *record);

#endif
