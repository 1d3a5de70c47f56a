/*
 * The records of a zip file, byte for byte.
 *
 * Source: PKWARE APPNOTE 6.3.9: 4.3.7 (local header), 4.3.12 (central directory), 4.3.14 to 4.3.16
 * (its end), 4.4 (fields), 4.5.3 (Zip64 extra field), 4.5.5 (NTFS extra field), appendix D (UTF-8);
 * Info-ZIP's "extended timestamp" extra field 0x5455 and its use of the external attributes for
 * Unix modes (its proginfo/extrafld.txt).
 */
#ifndef EXTRACT_ZIP_FORMAT_H
#define EXTRACT_ZIP_FORMAT_H

#include "base/zone.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum zip_method {
	ZIP_STORED = 0,
	ZIP_DEFLATED = 8,
};

/* From this value on a number goes into a Zip64 field: it is itself the mark for that. */
#define ZIP_LARGE UINT32_C(0xFFFFFFFF)
#define ZIP_MANY UINT32_C(0xFFFF) /* the same for the number of entries */

#define ZIP_NAME_LIMIT 60000 /* bytes: the format counts in 16 bits */

struct zip_entry {
	const char *name;      /* UTF-8; a folder's ends with a slash */
	size_t name_length;    /* at most ZIP_NAME_LIMIT */
	bool is_folder, is_readonly;
	enum zip_method method;
	uint32_t crc;
	uint64_t size, packed; /* bytes of the file, and in the zip file */
	uint64_t offset;       /* of the local header */
	/*
	 * The local header has Zip64 sizes: because it must, or because it had to have its length
	 * before it was known that it need not.
	 */
	bool has_large_header;
	uint16_t date, time;   /* MS-DOS's, of the last change in local time */
	int64_t modified, accessed, created; /* FILETIME, 0 unknown */
};

/* Room that is enough for any record but its name. */
#define ZIP_RECORD_LIMIT 256

/* Sets date and time from the FILETIME `modified`: the nearest that MS-DOS knows (1980 to 2107). */
void zip_entry_set_time(struct zip_entry *entry, const struct zone *zone);

/*
 * Each writes one record with its name and extra fields to `out`, which has room for
 * ZIP_RECORD_LIMIT + name_length bytes, and returns its length. The length of a local header does
 * not depend on crc, packed, offset and method.
 */
size_t zip_local_header(uint8_t *out, const struct zip_entry *entry);
size_t zip_central_header(uint8_t *out, const struct zip_entry *entry);

/*
 * Reads a local header as zip_local_header() writes it: sets all fields but offset and is_readonly,
 * which do not stand in it; the name stays where it is. Returns the header's length; 0 when it is
 * none, or is not wholly within `length` bytes.
 */
size_t zip_read_local_header(const uint8_t *bytes, size_t length, struct zip_entry *entry);

/*
 * The end of the file, with Zip64 records where one of the numbers needs them; at most
 * ZIP_RECORD_LIMIT bytes.
 */
size_t zip_end_records(uint8_t *out, uint64_t entries, uint64_t directory_offset,
    uint64_t directory_size);

#endif
