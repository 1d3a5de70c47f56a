/*
 * Recycle bins: what persons deleted and did not throw away for good.
 *
 * Since Vista a bin is the folder \$Recycle.Bin\SID of each volume: a thing is called $R and six
 * characters, and a file $I with the same characters says where it was. Before, it was
 * \RECYCLER\SID with things called Dc1.ext (D, the drive's letter, a number) and one index, INFO2.
 * Those of 95 and 98 are on file systems that are not read.
 */
#ifndef SYSTEM_RECYCLE_BIN_H
#define SYSTEM_RECYCLE_BIN_H

#include "system/survey.h"

/* What was deleted so few days before the old system was last used may be missed. */
#define RECYCLE_RECENT_DAYS 30

/*
 * Fills survey.bins and survey.deleted. The index files are small and mostly lie in the file table,
 * which is in memory; they are read also on a drive that is failing, a few thousand sectors at
 * most, so that what is taken does not depend on how the drive feels. False with *error when memory
 * runs out or a stop is asked for.
 */
bool recycle_bins_read(struct survey *survey, struct error *error);

/* Is a file of this name, in a bin, only an index or how the bin is shown? */
bool recycle_bin_is_index(const char *name);

/* The thing in a bin that the entry is, or lies in; NULL: in none. */
const struct deleted *recycle_bin_find(const struct survey *survey, size_t volume, uint32_t entry);

/* All that a person of an old system (SIZE_MAX both: nobody who is known) has in bins. */
struct deleted_sum {
	size_t things;
	uint64_t files, bytes;
	size_t recent; /* of the things: deleted lately */
	int64_t last;  /* FILETIME; 0: never told */
};
struct deleted_sum recycle_bin_sum(const struct survey *survey, size_t system, size_t person);

/* recycle-bin.json: an array with one object for each thing, by bin, the latest first. */
struct json;
void recycle_bins_to_json(const struct survey *survey, struct json *json);

#endif
