/*
 * A file record: fixups, header, and its attributes one by one. Private to src/ntfs.
 *
 * Every offset and length in it comes from the drive and is checked here once, so that an attribute
 * that attribute_next() hands out can be used without further thought.
 *
 * Sources: linux-ntfs documentation, "Fixup", "File record", "Attribute header".
 */
#ifndef NTFS_RECORD_H
#define NTFS_RECORD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define RECORD_MAX_SIZE 65536u

enum {
	ATTR_STANDARD_INFORMATION = 0x10,
	ATTR_LIST = 0x20,
	ATTR_FILE_NAME = 0x30,
	ATTR_SECURITY_DESCRIPTOR = 0x50,
	ATTR_VOLUME_NAME = 0x60,
	ATTR_VOLUME_INFORMATION = 0x70,
	ATTR_DATA = 0x80,
	ATTR_INDEX_ROOT = 0x90,
	ATTR_INDEX_ALLOCATION = 0xA0,
	ATTR_BITMAP = 0xB0,
	ATTR_REPARSE_POINT = 0xC0,
	ATTR_LOGGED_UTILITY_STREAM = 0x100,
};

enum {
	ATTR_FLAG_COMPRESSED = 0x00FF, /* a mask: the low byte is the method, 1 for LZNT1 */
	ATTR_FLAG_ENCRYPTED = 0x4000,
	ATTR_FLAG_SPARSE = 0x8000,
};

/* A reference to a record: its number and the sequence number that the referrer knows. */
struct reference {
	uint32_t record; /* UINT32_MAX when the number is none that a table can have */
	uint16_t sequence;
};
struct reference reference_get(const uint8_t *bytes);

struct record {
	const uint8_t *bytes; /* with the fixups undone */
	size_t used;          /* bytes of it that hold attributes */
	size_t first;         /* offset of the first attribute */
	uint16_t sequence;
	bool in_use, is_folder;
	bool is_extension; /* belongs to the record `base` */
	struct reference base;
};

struct attribute {
	uint32_t type;
	uint16_t flags, instance;
	const uint8_t *name; /* UTF-16LE */
	size_t name_units;
	bool is_resident;
	/* Resident. */
	const uint8_t *value;
	size_t value_length;
	size_t value_offset; /* in the record */
	/* Not resident. */
	uint64_t lowest;            /* first VCN that this attribute describes */
	uint64_t end;               /* VCN behind the last one */
	uint64_t size, initialized; /* bytes; only where lowest is 0 */
	uint8_t unit_shift;
	const uint8_t *pairs;
	size_t pairs_length;
};

/*
 * Undoes the fixups in place and checks the signature ("FILE", "INDX", "RSTR" as a little-endian
 * number). False when a sector of it does not belong to the others or the header is senseless.
 */
bool record_fixup(uint8_t *bytes, size_t size, uint32_t signature);
#define SIGNATURE_FILE 0x454C4946u
#define SIGNATURE_INDX 0x58444E49u
#define SIGNATURE_RSTR 0x52545352u

/* Undoes the fixups and reads the header. False: the record is damaged. */
bool record_open(struct record *record, uint8_t *bytes, size_t size);

/*
 * The attribute at *position (to be 0 at the start). ATTRIBUTE_BROKEN: here the record makes no
 * sense any more; what came before is good.
 */
enum attribute_step {
	ATTRIBUTE_END,
	ATTRIBUTE_GOOD,
	ATTRIBUTE_BROKEN,
};
enum attribute_step attribute_next(
    const struct record *record, size_t *position, struct attribute *attribute);

/* The first attribute of a type without a name, or NULL. */
const struct attribute *record_find(
    const struct record *record, uint32_t type, struct attribute *attribute);

#endif
