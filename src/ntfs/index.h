/*
 * Folder indexes: the names that a folder lists. Private to src/ntfs.
 *
 * They repeat what the file table says, so they are only read to learn what a lost record was
 * called. Whether they are sound is looked at as far as that costs nothing: the root of each index,
 * which stands in the folder's record, and all of the root folder's. The blocks of others are
 * scattered over the drive; reading them would take longer than the whole table, and damage in them
 * loses nothing.
 *
 * Source: linux-ntfs documentation, "$INDEX_ROOT", "$INDEX_ALLOCATION", "Index record", "Index
 * entry", "$FILE_NAME".
 */
#ifndef NTFS_INDEX_H
#define NTFS_INDEX_H

#include "ntfs/record.h"
#include "ntfs/volume.h"

/* One name in a folder, as its index has it. */
struct index_name {
	struct reference file, folder;
	const uint8_t *name; /* UTF-16LE */
	size_t name_units;
	uint8_t space; /* namespace */
	bool is_folder;
	uint32_t attributes;
	uint64_t size;
	const uint8_t *times; /* four FILETIMEs, as in $FILE_NAME */
};

/* Is the root of a folder's index ($INDEX_ROOT, named $I30) what it should be? */
bool index_root_is_sound(const uint8_t *value, size_t length);
/* Are all blocks that the folder's index uses there, and what they should be? */
bool index_blocks_are_sound(const struct volume *volume, uint32_t folder);

/*
 * Calls `found` for every name in the index of a folder's record; blocks of it that are damaged are
 * passed over. Reads at most *budget bytes and takes them off it. False when `found` returned
 * false.
 */
bool index_names(const struct volume *volume, uint32_t folder, uint64_t *budget,
    bool (*found)(void *context, const struct index_name *name), void *context);

#endif
