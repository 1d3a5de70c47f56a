/*
 * Tests of replaying logs of both generations, on hives and logs made here byte by byte after the
 * regf specification ("Windows registry file format specification"). Real ones: tests/run/hives.py.
 */
#include "unit.h"

#include "hive_maker.h"

#include <string.h>

/* Worked values of the SymCrypt library's own test of Marvin32, and one found in its users' tests.
 */
static void test_marvin(void **state)
{
	(void)state;
	assert_int_equal(marvin32(0xd53cd9cecd0893b7u, "abc", 3), 0x22c74339492769bfu);
	assert_int_equal(
	    marvin32(0x0ddddeeeeffff000u, "abcdefghijklmnopqrstuvwxyz", 26), 0xa128eb7e7260aca2u);
	assert_int_equal(marvin32(0x004fb61a001bdbccu, "", 0), 0x30ed35c100cd3c7du);
}

/* Three versions of a key's time stamp, each a page image: which one is there after replay? */
static uint64_t replayed(
    const struct maker *maker, const struct hive_log *logs, size_t n, unsigned *pages)
{
	struct hive *hive = hive_open(maker->data, BINS + maker->size, logs, n, NULL);
	uint64_t time;

	assert_non_null(hive);
	time = (uint64_t)hive_key_written(hive, hive_root(hive));
	*pages = hive_health(hive)->pages_replaced;
	assert_int_equal(hive_health(hive)->logs_missing, *pages == 0);
	hive_close(hive);
	return time;
}

static void put_versions(uint8_t *log, const struct maker *maker, uint32_t sequence, unsigned n)
{
	uint8_t page[4096];

	start_log(log, maker, 6, sequence);
	for (unsigned i = 0; i < n; i++) {
		memcpy(page, maker->data + BINS, 4096);
		put_u64(page + 36 + 4, sequence + i); /* the root's time */
		put_entry(log + 512 + (size_t)i * 4608, sequence + i, 0, page, 4096);
	}
}

/* Sections "Log entries" (notes 5, 7, 8) and "Multiple transaction log files": the chain rules. */
static void test_new_logs(void **state)
{
	static uint8_t one[512 + 3 * 4608], two[512 + 3 * 4608];
	struct hive_log logs[2] = {{two, sizeof(two), NULL}, {one, sizeof(one), NULL}};
	hive_cell cells[4], lists[3];
	struct maker maker;
	unsigned pages;

	(void)state;
	make_chain(&maker, cells, lists);
	put_u32(maker.data + 4, 8);
	seal_base(maker.data);
	/* 7, 8, 9 in one log and 10, 11, 12 in the other, whatever the order they are given in. */
	put_versions(one, &maker, 7, 3);
	put_versions(two, &maker, 10, 3);
	assert_int_equal(replayed(&maker, logs, 2, &pages), 12);
	assert_int_equal(pages, 6);
	/* Entries that the hive has already are passed over. */
	put_versions(one, &maker, 5, 3);
	assert_int_equal(replayed(&maker, logs, 2, &pages), 7);
	assert_int_equal(pages, 1);
	/* A log that starts behind a gap is not applied. */
	put_versions(one, &maker, 7, 2);
	memset(one + 512 + 2 * 4608, 0, 4608);
	assert_int_equal(replayed(&maker, logs, 2, &pages), 8);
	/* One wrong byte in an entry ends the chain before it. */
	put_versions(one, &maker, 7, 3);
	one[512 + 4608 + 2000] ^= 1;
	assert_int_equal(replayed(&maker, logs, 2, &pages), 7);
	/* So does one wrong byte in an entry's own header. */
	put_versions(one, &maker, 7, 3);
	one[512 + 4608 + 30] ^= 1;
	assert_int_equal(replayed(&maker, logs, 2, &pages), 7);
	/* A log whose base block is broken still has good entries. */
	put_versions(one, &maker, 7, 3);
	memset(one, 0, 512);
	assert_int_equal(replayed(&maker, logs, 2, &pages), 12);
	/* A clean hive takes nothing from a log. */
	put_u32(maker.data + 4, 7);
	seal_base(maker.data);
	{
		struct hive *hive = hive_open(maker.data, BINS + maker.size, logs, 2, NULL);

		assert_int_equal(hive_health(hive)->pages_replaced, 0);
		assert_false(hive_health(hive)->was_dirty);
		hive_close(hive);
	}
	free(maker.data);
}

/* An entry that promises more than hive and logs hold asks for no memory. */
static void test_log_growth(void **state)
{
	static uint8_t log[512 + 2 * 4608];
	struct hive_log logs[1] = {{log, sizeof(log), NULL}};
	hive_cell cells[4], lists[3];
	struct maker maker;
	struct hive *hive;
	size_t length;

	(void)state;
	make_chain(&maker, cells, lists);
	put_u32(maker.data + 4, 8);
	seal_base(maker.data);
	start_log(log, &maker, 6, 7);
	put_entry(log + 512, 7, 4096, maker.data + BINS, 8192);
	put_entry(log + 512 + 4608, 8, 0x7FFFE000, maker.data + BINS, 0x7FFFF000);
	hive = hive_open(maker.data, BINS + maker.size, logs, 1, NULL);
	assert_non_null(hive);
	hive_bins(hive, &length);
	assert_true(length >= 8192 && length < 65536);
	assert_true(hive_health(hive)->truncated);
	hive_close(hive);
	free(maker.data);
}

/* An entry without pages that only states a length; section "Log entries". */
static void put_bare_entry(uint8_t *entry, uint32_t size, uint32_t sequence, uint32_t bins_size)
{
	memset(entry, 0, size);
	memcpy(entry, "HvLE", 4);
	put_u32(entry + 4, size);
	put_u32(entry + 12, sequence);
	put_u32(entry + 16, bins_size);
	put_u64(entry + 24, marvin32(MARVIN_SEED, entry + 40, size - 40));
	put_u64(entry + 32, marvin32(MARVIN_SEED, entry, 32));
}

/*
 * Two logs whose entries take turns, each other one making the hive as long as it can be and as
 * short as it can be, and a third with one large entry that is never in turn: each byte of a log
 * may cost a moment, but not once more for every entry.
 */
static void test_log_turns(void **state)
{
	const uint32_t n = 60000, large = 16u << 20;
	size_t half = 512 + (size_t)n / 2 * 512, length;
	uint8_t *bytes[3] = {malloc(half), malloc(half), malloc(512 + large)};
	struct hive_log logs[3] = {
	    {bytes[0], half, NULL}, {bytes[1], half, NULL}, {bytes[2], 512 + large, NULL}};
	hive_cell cells[4], lists[3];
	struct maker maker;
	struct hive *hive;

	(void)state;
	make_chain(&maker, cells, lists);
	put_u32(maker.data + 4, 8);
	seal_base(maker.data);
	for (int i = 0; i < 3; i++) {
		assert_non_null(bytes[i]);
		start_log(bytes[i], &maker, 6, 7);
	}
	for (uint32_t i = 0; i < n; i++)
		put_bare_entry(bytes[i % 2] + 512 + (size_t)i / 2 * 512, 512, 7 + i,
		    i % 2 == 0 ? large : maker.size);
	put_bare_entry(bytes[2] + 512, large, 7 + 2 * n, large);
	unit_limit_processor_time(60);
	hive = hive_open(maker.data, BINS + maker.size, logs, 3, NULL);
	assert_non_null(hive);
	assert_int_equal(hive_health(hive)->logs_applied, 2);
	hive_bins(hive, &length);
	assert_int_equal(length, maker.size);
	hive_close(hive);
	for (int i = 0; i < 3; i++)
		free(bytes[i]);
	free(maker.data);
}

/* A bitmap and pages; section "Old format". */
static void test_old_log(void **state)
{
	static uint8_t log[1024 + 4096];
	struct hive_log logs[1] = {{log, sizeof(log), NULL}};
	hive_cell cells[4], lists[3];
	struct maker maker;
	unsigned pages;

	(void)state;
	make_chain(&maker, cells, lists);
	start_log(log, &maker, 1, 8);
	memcpy(log + 512, "DIRT", 4);
	log[516] = 0xFF;
	memcpy(log + 1024, maker.data + BINS, 4096);
	put_u64(log + 1024 + 40, 1234);
	put_u32(maker.data + 4, 8);
	seal_base(maker.data);
	assert_int_equal(replayed(&maker, logs, 1, &pages), 1234);
	assert_int_equal(pages, 8);
	/* A log of another time does not belong to this hive. */
	put_u64(log + 12, 131000000000000000u);
	seal_base(log);
	assert_int_equal(replayed(&maker, logs, 1, &pages), 0);
	assert_int_equal(pages, 0);
	/* A base block with a wrong checksum: the time in the first bin decides. */
	put_u64(log + 12, 132000000000000000u);
	seal_base(log);
	maker.data[508] ^= 1;
	assert_int_equal(replayed(&maker, logs, 1, &pages), 1234);
	/* Pages that are missing at the end of the log. */
	logs[0].length = 1024 + 512;
	assert_int_equal(replayed(&maker, logs, 1, &pages), 1234);
	assert_int_equal(pages, 1);
	free(maker.data);
}

/* A log of the first eight pages, in which the root's time is `time`. */
static void put_old_log(uint8_t *log, const struct maker *maker, uint32_t sequence,
    uint64_t written, uint64_t time)
{
	start_log(log, maker, 1, sequence);
	put_u64(log + 12, written);
	seal_base(log);
	memcpy(log + 512, "DIRT", 4);
	log[516] = 0xFF;
	memcpy(log + 1024, maker->data + BINS, 4096);
	put_u64(log + 1024 + 32 + 4 + 4, time);
}

/*
 * Sections "Old format" (notes 3 and 5) and "Multiple transaction log files": which of two logs is
 * the hive's. The hive was last written whole as number 7.
 */
static void test_old_log_leftover(void **state)
{
	static const uint64_t now = 132000000000000000u, day = 864000000000u;
	static uint8_t one[1024 + 4096], two[1024 + 4096];
	struct hive_log logs[2] = {{two, sizeof(two), NULL}, {one, sizeof(one), NULL}};
	hive_cell cells[4], lists[3];
	struct maker maker;
	unsigned pages;

	(void)state;
	make_chain(&maker, cells, lists);
	put_u32(maker.data + 4, 8);
	seal_base(maker.data);
	put_old_log(one, &maker, 8, now, 1234);
	/* Written later with a higher number: it repeats what the first had. */
	put_old_log(two, &maker, 9, now + day, 5678);
	assert_int_equal(replayed(&maker, logs, 2, &pages), 5678);
	/* A leftover from before the PC forgot the date. */
	put_old_log(two, &maker, 3, now + day, 5678);
	assert_int_equal(replayed(&maker, logs, 2, &pages), 1234);
	assert_int_equal(replayed(&maker, logs, 1, &pages), 0);
	free(maker.data);
}

/* What of a log could not be read is not taken for zeros. */
static void test_old_log_holes(void **state)
{
	static uint8_t log[1024 + 4096];
	struct holes holes = {0};
	struct hive_log logs[1] = {{log, sizeof(log), &holes}};
	hive_cell cells[4], lists[3];
	struct maker maker;
	struct hive *hive;
	unsigned pages;

	(void)state;
	make_chain(&maker, cells, lists);
	put_u32(maker.data + 4, 8);
	seal_base(maker.data);
	/* The page with the root and all keys: the others are applied, it stays as it was. */
	put_old_log(log, &maker, 8, 132000000000000000u, 1234);
	memset(log + 1024, 0, 512);
	holes_add(&holes, 1024, 512);
	assert_int_equal(replayed(&maker, logs, 1, &pages), 0);
	assert_int_equal(pages, 7);
	hive = hive_open(maker.data, BINS + maker.size, logs, 1, NULL);
	assert_false(hive_health(hive)->root_lost);
	hive_close(hive);
	/* The bitmap: which page is which is not known any more. */
	holes_clear(&holes);
	holes_add(&holes, 512, 512);
	assert_int_equal(replayed(&maker, logs, 1, &pages), 0);
	assert_int_equal(pages, 0);
	holes_free(&holes);
	free(maker.data);
}

/* The time of the root of a hive whose page could not be read, with what the logs fill in. */
static uint64_t filled(const struct maker *maker, const struct holes *holes,
    const struct hive_log *logs, size_t n, uint32_t *bytes)
{
	uint8_t *data = calloc(1, BINS + maker->size);
	struct hive *hive;
	uint64_t time = 0;

	memcpy(data, maker->data, BINS + maker->size);
	for (size_t i = 0; i < holes->count; i++)
		memset(data + holes->items[i].offset, 0, holes->items[i].length);
	hive = hive_open_holed(data, BINS + maker->size, holes, logs, n, NULL);
	*bytes = 0;
	if (hive != NULL) {
		time = (uint64_t)hive_key_written(hive, hive_root(hive));
		*bytes = hive_health(hive)->bytes_filled;
	}
	hive_close(hive);
	free(data);
	return time;
}

/*
 * A page of a clean hive that cannot be read: the logs still have it, as long as no entry between
 * that one and the hive is missing. Sections as above.
 */
static void test_fill(void **state)
{
	static uint8_t one[512 + 3 * 4608], two[512 + 3 * 4608];
	struct hive_log logs[2] = {{one, sizeof(one), NULL}, {two, sizeof(two), NULL}};
	struct holes holes = {0};
	hive_cell cells[4], lists[3];
	struct maker maker;
	uint32_t bytes;

	(void)state;
	make_chain(&maker, cells, lists); /* its number is 7 */
	holes_add(&holes, BINS, 512);
	put_versions(one, &maker, 4, 3);
	put_versions(two, &maker, 1, 3);
	assert_int_equal(filled(&maker, &holes, logs, 2, &bytes), 6);
	assert_int_equal(bytes, 512);
	/* Only what is missing is filled: the root's time lies in the first sector. */
	holes_clear(&holes);
	holes_add(&holes, BINS + 1024, 512);
	assert_int_not_equal(filled(&maker, &holes, logs, 2, &bytes), 6);
	assert_int_equal(bytes, 512);
	/* One that is dirty: its own entries come on top. */
	holes_clear(&holes);
	holes_add(&holes, BINS, 512);
	put_u32(maker.data + 4, 8);
	seal_base(maker.data);
	put_versions(one, &maker, 5, 3);
	assert_int_equal(filled(&maker, &holes, logs, 1, &bytes), 7);
	put_u32(maker.data + 4, 7);
	seal_base(maker.data);
	/* An entry between the last one and the hive is missing: the page may be too old. */
	put_versions(one, &maker, 2, 3);
	filled(&maker, &holes, logs, 1, &bytes);
	assert_int_equal(bytes, 0);
	/* A broken entry in the row: what lies before it is not used, the others are. */
	put_versions(one, &maker, 4, 3);
	one[512 + 4608 + 2000] ^= 1;
	filled(&maker, &holes, logs, 1, &bytes);
	assert_int_equal(bytes, 0);
	/* Without a hole nothing is touched. */
	put_versions(one, &maker, 4, 3);
	holes_clear(&holes);
	assert_int_not_equal(filled(&maker, &holes, logs, 1, &bytes), 6);
	assert_int_equal(bytes, 0);
	holes_free(&holes);
	free(maker.data);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_marvin),
	    cmocka_unit_test(test_new_logs),
	    cmocka_unit_test(test_fill),
	    cmocka_unit_test(test_log_growth),
	    cmocka_unit_test(test_log_turns),
	    cmocka_unit_test(test_old_log),
	    cmocka_unit_test(test_old_log_leftover),
	    cmocka_unit_test(test_old_log_holes),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
