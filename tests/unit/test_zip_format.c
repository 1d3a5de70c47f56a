/*
 * Tests of the records of a zip file, field by field, and of where Zip64 begins.
 *
 * Source: PKWARE APPNOTE 6.3.9; the sections stand beside the fields. Info-ZIP's extrafld.txt for
 * the extra field 0x5455.
 */
#include "unit.h"

#include "base/bytes.h"
#include "base/filetime.h"
#include "extract/zip_directory.h"
#include "extract/zip_format.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define LIMIT UINT64_C(0xFFFFFFFF)

static uint8_t record[ZIP_RECORD_LIMIT + 1000];

/* 2019-07-14 10:20:30.25 UTC */
static struct zip_entry entry_of(const char *name)
{
	return (struct zip_entry){
	    .name = name,
	    .name_length = strlen(name),
	    .method = ZIP_DEFLATED,
	    .crc = 0x12345678,
	    .size = 1000,
	    .packed = 400,
	    .offset = 0x0A0B0C0D,
	    .date = 0x4EEE,
	    .time = 0x528F,
	    .modified = filetime_from_unix(1563099630, 250000000),
	    .accessed = filetime_from_unix(1600000000, 0),
	    .created = filetime_from_unix(1500000000, 0),
	};
}

/* The extra field with that tag, its length in *length; NULL: there is none. */
static const uint8_t *find_extra(
    const uint8_t *extra, size_t total, unsigned tag, size_t *length)
{
	for (size_t at = 0; at + 4 <= total; at += 4 + get_u16(extra + at + 2)) {
		*length = get_u16(extra + at + 2);
		assert_true(at + 4 + *length <= total);
		if (get_u16(extra + at) == tag)
			return extra + at + 4;
	}
	return NULL;
}

static const uint8_t *local_extra(unsigned tag, size_t *length)
{
	return find_extra(record + 30 + get_u16(record + 26), get_u16(record + 28), tag, length);
}

static const uint8_t *central_extra(unsigned tag, size_t *length)
{
	return find_extra(record + 46 + get_u16(record + 28), get_u16(record + 30), tag, length);
}

static void check_ntfs_times(const uint8_t *field, size_t length)
{
	/* 4.5.5 */
	assert_non_null(field);
	assert_int_equal(length, 32);
	assert_int_equal(get_u32(field), 0);      /* reserved */
	assert_int_equal(get_u16(field + 4), 1);  /* Tag1 */
	assert_int_equal(get_u16(field + 6), 24); /* Size1 */
	assert_int_equal(get_u64(field + 8), filetime_from_unix(1563099630, 250000000));
	assert_int_equal(get_u64(field + 16), filetime_from_unix(1600000000, 0));
	assert_int_equal(get_u64(field + 24), filetime_from_unix(1500000000, 0));
}

static void test_local_header(void **state)
{
	struct zip_entry entry = entry_of("data/plot.txt");
	size_t length = zip_local_header(record, &entry), extra;
	const uint8_t *field;

	(void)state;
	/* 4.3.7 */
	assert_int_equal(get_u32(record), 0x04034B50);
	assert_int_equal(get_u16(record + 4), 20);    /* 4.4.3.2: deflate */
	assert_int_equal(get_u16(record + 6), 0);     /* 4.4.4: no bit 3, so no data descriptor */
	assert_int_equal(get_u16(record + 8), 8);     /* 4.4.5 */
	assert_int_equal(get_u16(record + 10), 0x528F);
	assert_int_equal(get_u16(record + 12), 0x4EEE);
	assert_int_equal(get_u32(record + 14), 0x12345678);
	assert_int_equal(get_u32(record + 18), 400);  /* 4.4.8 */
	assert_int_equal(get_u32(record + 22), 1000); /* 4.4.9 */
	assert_int_equal(get_u16(record + 26), 13);
	assert_memory_equal(record + 30, "data/plot.txt", 13);
	assert_int_equal(length, 30 + 13 + get_u16(record + 28));
	field = local_extra(0x000A, &extra);
	check_ntfs_times(field, extra);
	/* extrafld.txt: flags, then the times that they name. */
	field = local_extra(0x5455, &extra);
	assert_non_null(field);
	assert_int_equal(extra, 13);
	assert_int_equal(field[0], 7);
	assert_int_equal(get_u32(field + 1), 1563099630);
	assert_int_equal(get_u32(field + 5), 1600000000);
	assert_int_equal(get_u32(field + 9), 1500000000);
	assert_null(local_extra(0x0001, &extra));
}

static void test_central_header(void **state)
{
	struct zip_entry entry = entry_of("data/plot.txt");
	size_t length = zip_central_header(record, &entry), extra;
	const uint8_t *field;

	(void)state;
	/* 4.3.12 */
	assert_int_equal(get_u32(record), 0x02014B50);
	assert_int_equal(record[4], 63); /* 4.4.2.1: as of version 6.3 */
	assert_int_equal(record[5], 3);  /* 4.4.2.2: Unix */
	assert_int_equal(get_u16(record + 6), 20);
	assert_int_equal(get_u16(record + 8), 0);
	assert_int_equal(get_u16(record + 10), 8);
	assert_int_equal(get_u16(record + 12), 0x528F);
	assert_int_equal(get_u16(record + 14), 0x4EEE);
	assert_int_equal(get_u32(record + 16), 0x12345678);
	assert_int_equal(get_u32(record + 20), 400);
	assert_int_equal(get_u32(record + 24), 1000);
	assert_int_equal(get_u16(record + 28), 13);
	assert_int_equal(get_u16(record + 32), 0); /* comment */
	assert_int_equal(get_u16(record + 34), 0); /* disk */
	assert_int_equal(get_u16(record + 36), 0); /* internal attributes */
	assert_int_equal(get_u32(record + 38), 0100600u << 16);
	assert_int_equal(get_u32(record + 42), 0x0A0B0C0D);
	assert_memory_equal(record + 46, "data/plot.txt", 13);
	assert_int_equal(length, 46 + 13 + get_u16(record + 30));
	field = central_extra(0x000A, &extra);
	check_ntfs_times(field, extra);
	/* extrafld.txt: here only the first time, with the flags of all. */
	field = central_extra(0x5455, &extra);
	assert_non_null(field);
	assert_int_equal(extra, 5);
	assert_int_equal(field[0], 7);
	assert_int_equal(get_u32(field + 1), 1563099630);
	assert_null(central_extra(0x0001, &extra));
}

static void test_kinds_of_entries(void **state)
{
	struct zip_entry entry = entry_of("data/Zoë.txt");

	(void)state;
	zip_local_header(record, &entry);
	assert_int_equal(get_u16(record + 6), 1 << 11); /* 4.4.4, bit 11: the name is UTF-8 */
	entry = entry_of("data/read.txt");
	entry.is_readonly = true;
	entry.method = ZIP_STORED;
	zip_central_header(record, &entry);
	assert_int_equal(get_u16(record + 6), 10); /* 4.4.3.2: nothing in particular */
	assert_int_equal(get_u32(record + 38), 0100400u << 16 | 1);
	entry = entry_of("data/shed/");
	entry.is_folder = true;
	entry.method = ZIP_STORED;
	zip_central_header(record, &entry);
	assert_int_equal(get_u16(record + 6), 20); /* 4.4.3.2: folder */
	assert_int_equal(get_u32(record + 38), 0040700u << 16 | 0x10);
}

static void test_times(void **state)
{
	struct zip_entry entry = entry_of("a");
	struct zone zone;
	size_t extra;
	const uint8_t *field;

	(void)state;
	assert_true(zone_parse(&zone, "CET-1CEST,M3.5.0,M10.5.0/3"));
	/* 4.4.6: MS-DOS has years from 1980, months, days; hours, minutes, two seconds at a time */
	zip_entry_set_time(&entry, &zone);
	assert_int_equal(entry.date, 39 << 9 | 7 << 5 | 14);
	assert_int_equal(entry.time, 12 << 11 | 20 << 5 | 15);
	entry.modified = filetime_from_unix(1548000000, 0); /* in winter, 17:00:00 */
	zip_entry_set_time(&entry, &zone);
	assert_int_equal(entry.time, 17 << 11);
	/* What MS-DOS has no date for; the NTFS field has it all the same. */
	entry.modified = filetime_from_unix(-1, 0);
	entry.accessed = 0;
	entry.created = 0;
	zip_entry_set_time(&entry, &zone);
	assert_int_equal(entry.date, 1 << 5 | 1);
	assert_int_equal(entry.time, 0);
	zip_local_header(record, &entry);
	field = local_extra(0x000A, &extra);
	assert_non_null(field);
	assert_int_equal(get_u64(field + 8), filetime_from_unix(-1, 0));
	assert_int_equal(get_u64(field + 16), 0);
	assert_int_equal(get_u64(field + 24), 0);
	field = local_extra(0x5455, &extra);
	assert_non_null(field);
	assert_int_equal(extra, 5);
	assert_int_equal(field[0], 1);
	assert_int_equal(get_u32(field + 1), 0xFFFFFFFF);
	/* 2038-01-19 03:14:08 is the first that 32 bits with a sign cannot hold. */
	entry.modified = filetime_from_unix(INT64_C(2147483648), 0);
	zip_entry_set_time(&entry, &zone);
	assert_int_equal(entry.date >> 9, 58);
	zip_local_header(record, &entry);
	assert_null(local_extra(0x5455, &extra));
	assert_non_null(local_extra(0x000A, &extra));
	/* Of several, those that fit. */
	entry.created = filetime_from_unix(1500000000, 0);
	zip_local_header(record, &entry);
	field = local_extra(0x5455, &extra);
	assert_non_null(field);
	assert_int_equal(extra, 5);
	assert_int_equal(field[0], 4);
	zip_central_header(record, &entry);
	field = central_extra(0x5455, &extra);
	assert_non_null(field);
	assert_int_equal(extra, 1);
	assert_int_equal(field[0], 4);
	/* The last moment of MS-DOS, and what is behind it. */
	/* 2107-12-31 23:59:59 with the zone's hour off. */
	entry.modified = filetime_from_unix(INT64_C(4354819199) - 3600, 0);
	zip_entry_set_time(&entry, &zone);
	assert_int_equal(entry.date, 127 << 9 | 12 << 5 | 31);
	assert_int_equal(entry.time, 23 << 11 | 59 << 5 | 29);
	entry.modified += 20000000;
	zip_entry_set_time(&entry, &zone);
	assert_int_equal(entry.date, 127 << 9 | 12 << 5 | 31);
	assert_int_equal(entry.time, 23 << 11 | 59 << 5 | 29);
	/* Not known, or nonsense: no field, and MS-DOS's first day. */
	for (int i = 0; i < 2; i++) {
		entry.modified = i == 0 ? 0 : INT64_MIN;
		entry.created = i == 0 ? 0 : -5;
		zip_entry_set_time(&entry, &zone);
		assert_int_equal(entry.date, 1 << 5 | 1);
		zip_local_header(record, &entry);
		assert_int_equal(get_u16(record + 28), 0);
	}
	entry.modified = INT64_MAX;
	zip_entry_set_time(&entry, &zone);
	assert_int_equal(entry.date, 127 << 9 | 12 << 5 | 31);
}

/* 4.5.3: a field is there exactly when its counterpart in the header is all ones. */
static void check_central(const struct zip_entry *entry)
{
	const uint64_t values[3] = {entry->size, entry->packed, entry->offset};
	const uint32_t small[3] = {24, 20, 42};
	const uint8_t *field;
	size_t length = 0, at = 0;
	bool any = false;

	zip_central_header(record, entry);
	field = central_extra(0x0001, &length);
	for (int i = 0; i < 3; i++) {
		if (values[i] < LIMIT) {
			assert_int_equal(get_u32(record + small[i]), values[i]);
			continue;
		}
		any = true;
		assert_int_equal(get_u32(record + small[i]), LIMIT);
		assert_non_null(field);
		assert_true(at + 8 <= length);
		assert_int_equal(get_u64(field + at), values[i]);
		at += 8;
	}
	assert_int_equal(any, field != NULL);
	if (any)
		assert_int_equal(at, length);
	/* 4.4.3.2: 4.5 for Zip64 */
	assert_int_equal(get_u16(record + 6), any || entry->has_large_header ? 45 : 20);
}

static void test_zip64_fields(void **state)
{
	static const uint64_t values[] = {0, LIMIT - 1, LIMIT, LIMIT + 1, UINT64_C(1) << 40};
	struct zip_entry entry = entry_of("data/large");
	const uint8_t *field;
	size_t length;

	(void)state;
	for (int i = 0; i < 125; i++) {
		entry.size = values[i / 25];
		entry.packed = values[i / 5 % 5];
		entry.offset = values[i % 5];
		check_central(&entry);
	}
	entry.size = LIMIT;
	entry.packed = 5;
	entry.offset = 7;
	entry.has_large_header = true;
	check_central(&entry);
	zip_local_header(record, &entry);
	assert_int_equal(get_u16(record + 4), 45);
	assert_int_equal(get_u32(record + 18), LIMIT);
	assert_int_equal(get_u32(record + 22), LIMIT);
	/* 4.5.3: "MUST include BOTH original and compressed file size fields", in this order. */
	field = local_extra(0x0001, &length);
	assert_non_null(field);
	assert_int_equal(length, 16);
	assert_int_equal(get_u64(field), LIMIT);
	assert_int_equal(get_u64(field + 8), 5);
}

static void check_end(uint64_t entries, uint64_t offset, uint64_t size)
{
	bool is_large = entries >= 0xFFFF || offset >= LIMIT || size >= LIMIT;
	size_t length = zip_end_records(record, entries, offset, size);
	const uint8_t *end = record;

	if (is_large) {
		/* 4.3.14 */
		assert_int_equal(get_u32(record), 0x06064B50);
		assert_int_equal(get_u64(record + 4), 56 - 12);
		assert_int_equal(get_u16(record + 14), 45);
		assert_int_equal(get_u32(record + 16), 0);
		assert_int_equal(get_u32(record + 20), 0);
		assert_int_equal(get_u64(record + 24), entries);
		assert_int_equal(get_u64(record + 32), entries);
		assert_int_equal(get_u64(record + 40), size);
		assert_int_equal(get_u64(record + 48), offset);
		/* 4.3.15 */
		assert_int_equal(get_u32(record + 56), 0x07064B50);
		assert_int_equal(get_u32(record + 60), 0);
		assert_int_equal(get_u64(record + 64), offset + size);
		assert_int_equal(get_u32(record + 72), 1);
		end = record + 76;
	}
	/* 4.3.16, 4.4.21 to 4.4.24 */
	assert_int_equal(length, end - record + 22);
	assert_int_equal(get_u32(end), 0x06054B50);
	assert_int_equal(get_u32(end + 4), 0);
	assert_int_equal(get_u16(end + 8), entries < 0xFFFF ? entries : 0xFFFF);
	assert_int_equal(get_u16(end + 10), entries < 0xFFFF ? entries : 0xFFFF);
	assert_int_equal(get_u32(end + 12), size < LIMIT ? size : LIMIT);
	assert_int_equal(get_u32(end + 16), offset < LIMIT ? offset : LIMIT);
	assert_int_equal(get_u16(end + 20), 0);
}

static void test_end(void **state)
{
	static const uint64_t counts[] = {0, 1, 65534, 65535, 65536, 1000000};
	static const uint64_t values[] = {0, LIMIT - 1, LIMIT, LIMIT + 1};

	(void)state;
	for (int i = 0; i < 6 * 4 * 4; i++)
		check_end(counts[i / 16], values[i / 4 % 4], values[i % 4]);
}

/* Enough entries for several blocks in memory: what is written is what the records are. */
static void test_directory(void **state)
{
	char folder[] = "/tmp/coldlift-directory-XXXXXX", path[100], name[100];
	struct zip_directory directory = {0};
	struct sha256_ctx expected;
	struct digest digest, wanted;
	struct durable file;
	struct error error;
	uint64_t size = 0;

	(void)state;
	assert_non_null(mkdtemp(folder));
	snprintf(path, sizeof(path), "%s/part", folder);
	sha256_init(&expected);
	for (unsigned i = 0; i < 5000; i++) {
		struct zip_entry entry;
		size_t length;

		snprintf(name, sizeof(name), "data/FERNHILL-PC/mara/Plots/%u/%u.txt", i % 17, i);
		entry = entry_of(name);
		entry.crc = i * 2654435761u;
		entry.offset = i;
		assert_true(zip_directory_add(&directory, &entry));
		length = zip_central_header(record, &entry);
		sha256_update(&expected, length, record);
		size += length;
	}
	assert_int_equal(directory.entries, 5000);
	assert_int_equal(directory.size, size);
	assert_true(durable_open(&file, path, &error));
	assert_true(zip_directory_write(&directory, &file, &error));
	assert_int_equal(file.size, size);
	assert_true(durable_finish(&file, &digest, &error));
	wanted = digest_take(&expected);
	assert_true(digest_equal(&digest, &wanted));
	zip_directory_free(&directory);
	unlink(path);
	rmdir(folder);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_local_header),
	    cmocka_unit_test(test_central_header),
	    cmocka_unit_test(test_kinds_of_entries),
	    cmocka_unit_test(test_times),
	    cmocka_unit_test(test_zip64_fields),
	    cmocka_unit_test(test_end),
	    cmocka_unit_test(test_directory),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
