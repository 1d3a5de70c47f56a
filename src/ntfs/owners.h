/*
 * Owners: whose a file is, by its security descriptor. Private to src/ntfs.
 *
 * Files name a security id; the descriptors stand once each in the stream $SDS of $Secure, every
 * 256 KiB of it followed by a copy of the same length. Files of older volumes have a descriptor of
 * their own instead.
 *
 * Sources: linux-ntfs documentation, "$Secure", "$SECURITY_DESCRIPTOR"; [MS-DTYP] 2.4.6
 * (SECURITY_DESCRIPTOR), 2.4.2.2 (SID).
 */
#ifndef NTFS_OWNERS_H
#define NTFS_OWNERS_H

#include "ntfs/catalogue.h"

#include <stddef.h>
#include <stdint.h>

#define SECURE 9u /* record number of $Secure */

/* The owner of every file with this security id. */
struct owner {
	uint32_t id;
	uint32_t sid; /* text in catalogue.names; 0, the empty text, when the descriptor has none */
};

struct owners {
	struct owner *items; /* sorted by id */
	size_t count, capacity;
	uint32_t recent[64]; /* texts already in the pool, the one used last first */
	size_t n_recent;
	bool failed; /* memory ran out */
};
void owners_free(struct owners *owners);

/*
 * Reads the descriptors of a volume, whose texts go into the catalogue's pool. What cannot be read
 * in either copy is left out.
 */
void owners_read(struct owners *owners, struct catalogue *catalogue);

/* The same for the bytes of $SDS. */
void owners_parse(
    struct owners *owners, struct catalogue *catalogue, const uint8_t *bytes, size_t length);

/* The text in catalogue.names for a security id; 0 when it is not known. */
uint32_t owners_find(const struct owners *owners, uint32_t id);

/* The same for the owner in a descriptor. */
uint32_t owners_of_descriptor(
    struct owners *owners, struct catalogue *catalogue, const uint8_t *bytes, size_t length);

#endif
