/*
 * Attribute lists: which records hold the attributes of a file that outgrew one record; and loading
 * a small attribute wherever it is. Private to src/ntfs.
 *
 * Source: linux-ntfs documentation, "$ATTRIBUTE_LIST".
 */
#ifndef NTFS_ATTRLIST_H
#define NTFS_ATTRLIST_H

#include "base/buf.h"
#include "ntfs/record.h"
#include "ntfs/volume.h"

#define ATTRLIST_MAX ((size_t)256 << 10) /* bytes that the file system allows a list to have */

struct list_item {
	uint32_t type;
	const uint8_t *name; /* UTF-16LE */
	size_t name_units;
	uint64_t lowest; /* VCN */
	struct reference reference;
};

/*
 * The item at *position (to be 0 at the start). False at the end; *broken is set where the list
 * ends in nonsense.
 */
bool attrlist_next(
    const uint8_t *list, size_t length, size_t *position, struct list_item *item, bool *broken);

/*
 * Appends the bytes of an attribute that is wholly described by `attribute`, at most `limit`. False
 * when some of them cannot be read (they are zero then), or there are more, or memory ran out.
 */
bool attribute_bytes(
    const struct volume *volume, const struct attribute *attribute, size_t limit, struct buf *out);

/*
 * The same for the attribute of `type` and `name` (ASCII; "" for none) of record `number`, also
 * when it lies in extension records. False when there is none as well.
 */
bool attribute_load(const struct volume *volume, uint32_t number, uint32_t type, const char *name,
    size_t limit, struct buf *out);

/* Is the UTF-16LE name the same as the ASCII one? */
bool attribute_is_named(const uint8_t *units, size_t n_units, const char *name);

#endif
