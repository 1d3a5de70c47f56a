/*
 * The file table, $MFT, as a row of records wherever its runs lie. Private to src/ntfs.
 *
 * The first four records have copies in $MFTMirr: what comes out of here is already mended with
 * them.
 *
 * Source: linux-ntfs documentation, "$MFT", "$MFTMirr".
 */
#ifndef NTFS_TABLE_H
#define NTFS_TABLE_H

#include "ntfs/record.h"
#include "ntfs/runs.h"
#include "ntfs/volume.h"

#define TABLE_MIRRORED 4u /* records that $MFTMirr repeats */

/*
 * Finds $MFT's runs from the boot sector's hint, through record 0, its mirror, and its extension
 * records. False when neither copy of record 0 is of use.
 */
bool table_open(struct volume *volume, const char *name, struct findings *findings);

/* The last resort: takes the table to be in one piece, as far as there are records. */
bool table_guess(struct volume *volume, const char *name, struct findings *findings);

uint64_t table_records(const struct volume *volume);

/*
 * The table lies in these runs from now on, and has so many bytes, as far as there are runs; some
 * may be RUN_LOST, but not the first. Frees the list. False when it is of no use or memory ran out;
 * there is no table then.
 */
bool table_keep_runs(struct volume *volume, struct run_list *list, uint64_t size);

/* Reads bytes of a run list (offset in the stream; holes too). Sparse clusters are zero. */
bool table_read_runs(const struct volume *volume, const struct run *runs, size_t n_runs,
    uint64_t offset, uint8_t *buffer, size_t length, struct holes *holes);

/*
 * Record `number` into `bytes` (volume->record_size), from the mirror where the table's is broken.
 * RECORD_LOST: it cannot be read; RECORD_BROKEN: it was read and makes no sense.
 */
enum record_state {
	RECORD_GOOD,
	RECORD_LOST,
	RECORD_BROKEN,
};
enum record_state table_load(
    const struct volume *volume, uint64_t number, uint8_t *bytes, struct record *record);

/* The same from the table alone. */
enum record_state table_load_own(
    const struct volume *volume, uint64_t number, uint8_t *bytes, struct record *record);

/* The mirror's copy of one of the first records. */
enum record_state table_load_mirror(
    const struct volume *volume, uint64_t number, uint8_t *bytes, struct record *record);

/* Findings where the first records and their copies are not both sound and equal. */
void table_compare_mirror(const struct volume *volume, const char *name, struct findings *findings);

/* Makes and frees volume->window, which table_load() reads through. */
bool table_window_open(struct volume *volume);
void table_window_close(struct volume *volume);

#endif
