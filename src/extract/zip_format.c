/* The records of a zip file: see zip_format.h. */
#include "extract/zip_format.h"

#include "base/bytes.h"
#include "base/filetime.h"

#include <string.h>

#define LOCAL_HEADER UINT32_C(0x04034B50)
#define CENTRAL_HEADER UINT32_C(0x02014B50)
#define END_RECORD UINT32_C(0x06054B50)
#define END64_RECORD UINT32_C(0x06064B50)
#define END64_LOCATOR UINT32_C(0x07064B50)

#define EXTRA_ZIP64 0x0001
#define EXTRA_NTFS 0x000A
#define EXTRA_TIMESTAMP 0x5455

/* 4.4.3.2: what a reader must know. */
#define NEEDS_FOLDERS_OR_DEFLATE 20
#define NEEDS_ZIP64 45
#define NEEDS_NOTHING 10

/* 4.4.2: the external attributes are those of Unix (3); written after version 6.3. */
#define MADE_BY (3 << 8 | 63)
#define UTF8_NAME (1 << 11) /* 4.4.4 */

/* MS-DOS attributes (lower half) and Unix modes (upper half) of the external attributes. */
#define DOS_READONLY 0x01
#define DOS_FOLDER 0x10
#define UNIX_FILE 0100000
#define UNIX_FOLDER 0040000

/* A cursor over a record. */
struct record {
	uint8_t *start, *at;
};

static void add_u16(struct record *record, uint32_t value)
{
	put_u16(record->at, (uint16_t)value);
	record->at += 2;
}

static void add_u32(struct record *record, uint32_t value)
{
	put_u32(record->at, value);
	record->at += 4;
}

static void add_u64(struct record *record, uint64_t value)
{
	put_u64(record->at, value);
	record->at += 8;
}

static size_t length_of(const struct record *record)
{
	return (size_t)(record->at - record->start);
}

/* --- fields --- */

void zip_entry_set_time(struct zip_entry *entry, const struct zone *zone)
{
	int64_t seconds;
	uint32_t nanoseconds;
	struct date date;

	filetime_to_unix(entry->modified, &seconds, &nanoseconds);
	date = date_of(zone_local(zone, seconds));
	if (entry->modified <= 0 || date.year < 1980)
		date = (struct date){.year = 1980, .month = 1, .day = 1};
	if (date.year > 2107)
		date = (struct date){2107, 12, 31, 23, 59, 58};
	entry->date = (uint16_t)((date.year - 1980) << 9 | date.month << 5 | date.day);
	entry->time = (uint16_t)(date.hour << 11 | date.minute << 5 | date.second / 2);
}

static uint32_t needed_version(const struct zip_entry *entry)
{
	if (entry->has_large_header || entry->size >= ZIP_LARGE || entry->packed >= ZIP_LARGE ||
	    entry->offset >= ZIP_LARGE)
		return NEEDS_ZIP64;
	return entry->is_folder || entry->method == ZIP_DEFLATED ? NEEDS_FOLDERS_OR_DEFLATE :
								    NEEDS_NOTHING;
}

static uint32_t flags_of(const struct zip_entry *entry)
{
	for (size_t i = 0; i < entry->name_length; i++)
		if ((uint8_t)entry->name[i] >= 0x80)
			return UTF8_NAME;
	return 0;
}

static uint32_t attributes_of(const struct zip_entry *entry)
{
	uint32_t mode = entry->is_folder ? UNIX_FOLDER | 0700 :
	    UNIX_FILE | (entry->is_readonly ? 0400 : 0600);

	return mode << 16 |
	    (entry->is_folder ? DOS_FOLDER : entry->is_readonly ? DOS_READONLY : 0);
}

/* --- extra fields --- */

static void add_ntfs_times(struct record *record, const struct zip_entry *entry)
{
	if (entry->modified <= 0 && entry->accessed <= 0 && entry->created <= 0)
		return;
	add_u16(record, EXTRA_NTFS);
	add_u16(record, 32);
	add_u32(record, 0); /* reserved */
	add_u16(record, 1); /* the attribute "times" */
	add_u16(record, 24);
	add_u64(record, entry->modified > 0 ? (uint64_t)entry->modified : 0);
	add_u64(record, entry->accessed > 0 ? (uint64_t)entry->accessed : 0);
	add_u64(record, entry->created > 0 ? (uint64_t)entry->created : 0);
}

/* Whole seconds, where they are known and fit the field's 32 bits with a sign. */
static bool unix_seconds(int64_t filetime, int32_t *seconds)
{
	int64_t wide;
	uint32_t nanoseconds;

	filetime_to_unix(filetime, &wide, &nanoseconds);
	*seconds = (int32_t)wide;
	return filetime > 0 && wide >= INT32_MIN && wide <= INT32_MAX;
}

/*
 * For readers on Unix, most of which do not know the NTFS field. All times stand in the local
 * header, of which the central one repeats the flags and the time of the last change.
 */
static void add_timestamp(struct record *record, const struct zip_entry *entry, bool is_central)
{
	const int64_t times[3] = {entry->modified, entry->accessed, entry->created};
	int32_t seconds[3];
	uint32_t flags = 0, count = 0;

	for (unsigned i = 0; i < 3; i++) {
		if (!unix_seconds(times[i], &seconds[i]))
			continue;
		flags |= 1u << i;
		count += i == 0 || !is_central;
	}
	if (flags == 0)
		return;
	add_u16(record, EXTRA_TIMESTAMP);
	add_u16(record, 1 + 4 * count);
	*record->at++ = (uint8_t)flags;
	for (unsigned i = 0; i < 3; i++)
		if ((flags & 1u << i) != 0 && (i == 0 || !is_central))
			add_u32(record, (uint32_t)seconds[i]);
}

/* 4.5.3: in the local header both sizes or none. */
static void add_large_header(struct record *record, const struct zip_entry *entry)
{
	if (!entry->has_large_header)
		return;
	add_u16(record, EXTRA_ZIP64);
	add_u16(record, 16);
	add_u64(record, entry->size);
	add_u64(record, entry->packed);
}

/* 4.5.3: in the central header what does not fit there, in this order. */
static void add_large_fields(struct record *record, const struct zip_entry *entry)
{
	const uint64_t values[3] = {entry->size, entry->packed, entry->offset};
	uint32_t count = 0;

	for (unsigned i = 0; i < 3; i++)
		count += values[i] >= ZIP_LARGE;
	if (count == 0)
		return;
	add_u16(record, EXTRA_ZIP64);
	add_u16(record, 8 * count);
	for (unsigned i = 0; i < 3; i++)
		if (values[i] >= ZIP_LARGE)
			add_u64(record, values[i]);
}

/* --- records --- */

/* What both headers have in common: from the version to the sizes. */
static void add_common(struct record *record, const struct zip_entry *entry, uint32_t packed,
    uint32_t size)
{
	add_u16(record, needed_version(entry));
	add_u16(record, flags_of(entry));
	add_u16(record, entry->method);
	add_u16(record, entry->time);
	add_u16(record, entry->date);
	add_u32(record, entry->crc);
	add_u32(record, packed);
	add_u32(record, size);
	add_u16(record, (uint32_t)entry->name_length);
}

static uint32_t small(uint64_t value)
{
	return value < ZIP_LARGE ? (uint32_t)value : ZIP_LARGE;
}

static void add_name(struct record *record, const struct zip_entry *entry)
{
	memcpy(record->at, entry->name, entry->name_length);
	record->at += entry->name_length;
}

size_t zip_local_header(uint8_t *out, const struct zip_entry *entry)
{
	struct record record = {out, out};
	bool is_large = entry->has_large_header;
	uint8_t *extra_length, *extra;

	add_u32(&record, LOCAL_HEADER);
	add_common(&record, entry, is_large ? ZIP_LARGE : (uint32_t)entry->packed,
	    is_large ? ZIP_LARGE : (uint32_t)entry->size);
	extra_length = record.at;
	add_u16(&record, 0);
	add_name(&record, entry);
	extra = record.at;
	add_large_header(&record, entry);
	add_ntfs_times(&record, entry);
	add_timestamp(&record, entry, false);
	put_u16(extra_length, (uint16_t)(record.at - extra));
	return length_of(&record);
}

size_t zip_central_header(uint8_t *out, const struct zip_entry *entry)
{
	struct record record = {out, out};
	uint8_t *extra_length, *extra;

	add_u32(&record, CENTRAL_HEADER);
	add_u16(&record, MADE_BY);
	add_common(&record, entry, small(entry->packed), small(entry->size));
	extra_length = record.at;
	add_u16(&record, 0);
	add_u16(&record, 0); /* length of the comment */
	add_u16(&record, 0); /* number of the disk */
	add_u16(&record, 0); /* internal attributes: not said to be text */
	add_u32(&record, attributes_of(entry));
	add_u32(&record, small(entry->offset));
	add_name(&record, entry);
	extra = record.at;
	add_large_fields(&record, entry);
	add_ntfs_times(&record, entry);
	add_timestamp(&record, entry, true);
	put_u16(extra_length, (uint16_t)(record.at - extra));
	return length_of(&record);
}

/* 4.3.14 and 4.3.15 */
static void add_end64(struct record *record, uint64_t entries, uint64_t offset, uint64_t size)
{
	add_u32(record, END64_RECORD);
	add_u64(record, 44); /* what follows of the record */
	add_u16(record, MADE_BY);
	add_u16(record, NEEDS_ZIP64);
	add_u32(record, 0); /* number of this disk, and of the one where the directory begins */
	add_u32(record, 0);
	add_u64(record, entries); /* on this disk, and in all */
	add_u64(record, entries);
	add_u64(record, size);
	add_u64(record, offset);
	add_u32(record, END64_LOCATOR);
	add_u32(record, 0); /* disk of the record above */
	add_u64(record, offset + size);
	add_u32(record, 1); /* disks */
}

size_t zip_end_records(uint8_t *out, uint64_t entries, uint64_t offset, uint64_t size)
{
	struct record record = {out, out};
	uint32_t count = entries < ZIP_MANY ? (uint32_t)entries : ZIP_MANY;

	if (entries >= ZIP_MANY || offset >= ZIP_LARGE || size >= ZIP_LARGE)
		add_end64(&record, entries, offset, size);
	add_u32(&record, END_RECORD);
	add_u16(&record, 0); /* number of this disk, and of the one where the directory begins */
	add_u16(&record, 0);
	add_u16(&record, count); /* on this disk, and in all */
	add_u16(&record, count);
	add_u32(&record, small(size));
	add_u32(&record, small(offset));
	add_u16(&record, 0); /* length of the comment */
	return length_of(&record);
}

/* --- reading --- */

#define LOCAL_FIXED 30 /* bytes in front of the name */

/* The content of an extra field, which has exactly `length` bytes; NULL: it is not there. */
static const uint8_t *find_extra(const uint8_t *extra, size_t total, unsigned tag, size_t length)
{
	for (size_t at = 0; total - at >= 4;) {
		size_t size = get_u16(extra + at + 2);

		if (size > total - at - 4)
			return NULL;
		if (get_u16(extra + at) == tag)
			return size == length ? extra + at + 4 : NULL;
		at += 4 + size;
	}
	return NULL;
}

size_t zip_read_local_header(const uint8_t *bytes, size_t length, struct zip_entry *entry)
{
	size_t name_length, extra_length;
	const uint8_t *extra, *large, *times;

	if (length < LOCAL_FIXED || get_u32(bytes) != LOCAL_HEADER)
		return 0;
	name_length = get_u16(bytes + 26);
	extra_length = get_u16(bytes + 28);
	if (name_length == 0 || name_length > ZIP_NAME_LIMIT ||
	    name_length + extra_length > length - LOCAL_FIXED)
		return 0;
	extra = bytes + LOCAL_FIXED + name_length;
	large = find_extra(extra, extra_length, EXTRA_ZIP64, 16);
	times = find_extra(extra, extra_length, EXTRA_NTFS, 32);
	*entry = (struct zip_entry){
	    .name = (const char *)bytes + LOCAL_FIXED,
	    .name_length = name_length,
	    .is_folder = bytes[LOCAL_FIXED + name_length - 1] == '/',
	    .method = get_u16(bytes + 8) == ZIP_DEFLATED ? ZIP_DEFLATED : ZIP_STORED,
	    .time = get_u16(bytes + 10),
	    .date = get_u16(bytes + 12),
	    .crc = get_u32(bytes + 14),
	    .packed = large != NULL ? get_u64(large + 8) : get_u32(bytes + 18),
	    .size = large != NULL ? get_u64(large) : get_u32(bytes + 22),
	    .has_large_header = large != NULL,
	};
	if (times != NULL) {
		entry->modified = (int64_t)get_u64(times + 8);
		entry->accessed = (int64_t)get_u64(times + 16);
		entry->created = (int64_t)get_u64(times + 24);
	}
	return LOCAL_FIXED + name_length + extra_length;
}
