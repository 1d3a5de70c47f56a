/*
 * Tests of src/hive on hives made here byte by byte after the regf specification ("Windows registry
 * file format specification"), and on damage done to them. Logs: test_hive_logs.c. Real hives:
 * tests/run/hives.py.
 */
#include "unit.h"

#include "base/buf.h"
#include "base/locale.h"
#include "hive_maker.h"

#include <stdio.h>
#include <string.h>

static struct hive *open_made(const struct maker *maker)
{
	struct error error;
	struct hive *hive = hive_open(maker->data, BINS + maker->size, NULL, 0, &error);

	assert_non_null(hive);
	return hive;
}

/* Names of the subkeys, joined by spaces. */
static char *child_names(const struct hive *hive, hive_cell key, struct arena *arena)
{
	hive_cell *cells;
	size_t n = hive_subkeys(hive, key, arena, &cells);
	char *names = arena_strdup(arena, "");

	for (size_t i = 0; i < n; i++)
		names = arena_printf(arena, "%s%s%s", names, i == 0 ? "" : " ",
		    hive_key_name(hive, cells[i], arena));
	return names;
}

/* li, lf, lh and ri (of lists of different kinds), sections "Index leaf" to "Index root". */
static void test_lists(void **state)
{
	struct arena arena = {0};
	hive_cell root, keys[8], lists[3];
	struct maker maker;
	struct hive *hive;
	char name[2] = "a";

	(void)state;
	maker_start(&maker, 4096);
	root = add_key(&maker, HIVE_NO_CELL, "root");
	for (size_t i = 0; i < 8; i++, name[0]++)
		keys[i] = add_key(&maker, root, name);
	lists[0] = add_list(&maker, "li", keys, 3);
	lists[1] = add_list(&maker, "lf", keys + 3, 2);
	lists[2] = add_list(&maker, "lh", keys + 5, 3);
	set_subkeys(&maker, root, add_list(&maker, "ri", lists, 3), 8);
	maker_end(&maker);
	hive = open_made(&maker);
	assert_string_equal(child_names(hive, hive_root(hive), &arena), "a b c d e f g h");
	assert_int_equal(hive_find(hive, hive_root(hive), "G"), keys[6]);
	assert_int_equal(hive_find(hive, hive_root(hive), "G\\x"), HIVE_NO_CELL);
	assert_int_equal(hive_health(hive)->bad_keys, 0);
	assert_int_equal(hive_health(hive)->salvaged_keys, 0);
	hive_close(hive);
	free(maker.data);
	arena_free(&arena);
}

/* Lists that loop, share, nest without end or lead nowhere: every key once, and it ends. */
static void test_loops(void **state)
{
	struct arena arena = {0};
	hive_cell root, a, b, loop, list, entries[4];
	struct maker maker;
	struct hive *hive;

	(void)state;
	maker_start(&maker, 4096);
	root = add_key(&maker, HIVE_NO_CELL, "root");
	a = add_key(&maker, root, "a");
	b = add_key(&maker, root, "b");
	entries[0] = a;
	entries[1] = b;
	entries[2] = root;
	entries[3] = 12345;
	list = add_list(&maker, "lh", entries, 4);
	set_subkeys(&maker, root, list, 4);
	set_subkeys(&maker, a, list, 4);
	loop = add_list(&maker, "ri", &list, 1);
	put_u32(at(&maker, loop) + 4, loop);
	set_subkeys(&maker, b, loop, 1);
	maker_end(&maker);
	hive = open_made(&maker);
	assert_string_equal(child_names(hive, hive_root(hive), &arena), "a b");
	assert_string_equal(child_names(hive, a, &arena), "");
	assert_string_equal(child_names(hive, b, &arena), "");
	assert_true(hive_health(hive)->bad_keys > 0);
	hive_close(hive);
	free(maker.data);
	arena_free(&arena);
}

static void check_value(
    const struct hive *hive, const char *name, uint32_t type, const void *expected, size_t length)
{
	struct arena arena = {0};
	hive_cell value = hive_find_value(hive, hive_root(hive), name);
	const uint8_t *data;
	uint32_t got_type;
	size_t got;
	bool cut;

	assert_int_not_equal(value, HIVE_NO_CELL);
	assert_true(hive_value_data(hive, value, &arena, &got_type, &data, &got, &cut));
	assert_int_equal(got_type, type);
	assert_int_equal(got, length);
	assert_memory_equal(data, expected, length);
	assert_false(cut);
	arena_free(&arena);
}

static hive_cell add_big(struct maker *maker, const uint8_t *data, size_t length)
{
	hive_cell segments[8], list, db;
	size_t n = 0;

	for (size_t done = 0; done < length; done += 16344) {
		size_t part = length - done < 16344 ? length - done : 16344;

		segments[n++] = add_data(maker, data + done, part);
	}
	list = add_cell(maker, 4 * n);
	for (size_t i = 0; i < n; i++)
		put_u32(at(maker, list) + 4 * i, segments[i]);
	db = add_cell(maker, 8);
	memcpy(at(maker, db), "db", 2);
	put_u16(at(maker, db) + 2, (uint16_t)n);
	put_u32(at(maker, db) + 4, list);
	return db;
}

/* Inline, plain, empty and big data; sections "Data size" and "Big data". */
static void test_values(void **state)
{
	static uint8_t big[50000];
	struct arena arena = {0};
	hive_cell root, values[7];
	struct maker maker;
	struct hive *hive;
	uint64_t number;
	char **texts;

	(void)state;
	for (size_t i = 0; i < sizeof(big); i++)
		big[i] = (uint8_t)(i * 7 + i / 251);
	maker_start(&maker, 65536 * 2);
	root = add_key(&maker, HIVE_NO_CELL, "root");
	values[0] = add_value(&maker, "", HIVE_SZ, 10, add_data(&maker, "p\0l\0o\0t\0\0", 10));
	values[1] = add_value(&maker, "number", HIVE_DWORD, 0x80000004u, 77);
	values[2] = add_value(&maker, "short", HIVE_BINARY, 0x80000003u, 0x030201);
	values[3] = add_value(&maker, "empty", HIVE_NONE, 0, UINT32_MAX);
	values[4] =
	    add_value(&maker, "big", HIVE_BINARY, sizeof(big), add_big(&maker, big, sizeof(big)));
	values[5] = add_value(
	    &maker, "list", HIVE_MULTI_SZ, 14, add_data(&maker, "a\0b\0\0\0c\0d\0\0\0\0", 14));
	values[6] = add_value(&maker, "odd type", 4711, 4, add_data(&maker, "soil", 4));
	set_values(&maker, root, values, 7);
	maker_end(&maker);
	hive = open_made(&maker);
	check_value(hive, "", HIVE_SZ, "p\0l\0o\0t\0\0", 10);
	check_value(hive, "SHORT", HIVE_BINARY, "\1\2\3", 3);
	check_value(hive, "empty", HIVE_NONE, "", 0);
	check_value(hive, "big", HIVE_BINARY, big, sizeof(big));
	check_value(hive, "odd type", 4711, "soil", 4);
	assert_string_equal(hive_text(hive, hive_root(hive), "", "", &arena, NULL), "plot");
	assert_true(hive_number(hive, hive_root(hive), "", "Number", &number));
	assert_int_equal(number, 77);
	assert_false(hive_number(hive, hive_root(hive), "", "short", &number));
	assert_int_equal(hive_texts(hive, hive_root(hive), "", "list", &arena, &texts), 2);
	assert_string_equal(texts[0], "ab");
	assert_string_equal(texts[1], "cd");
	assert_int_equal(hive_health(hive)->bad_values, 0);
	hive_close(hive);
	free(maker.data);
	arena_free(&arena);
}

/*
 * A thousand values that share one piece of data, and lists that name the same lost keys a thousand
 * times: memory stays in proportion to the hive.
 */
static void test_shared(void **state)
{
	static const uint8_t soil[32768];
	const uint32_t size = 131072, n = 1000;
	hive_cell root, cells[1000], lost[400];
	struct arena arena = {0};
	struct maker maker;
	struct hive *hive;
	const uint8_t *data;
	size_t length, total = 0, got;
	hive_cell *values;

	(void)state;
	maker_start(&maker, size);
	root = add_key(&maker, HIVE_NO_CELL, "root");
	cells[0] = add_data(&maker, soil, sizeof(soil));
	for (uint32_t i = 1; i <= n; i++)
		cells[i % n] = add_value(&maker, "v", HIVE_BINARY, sizeof(soil), cells[0]);
	set_values(&maker, root, cells, n);
	for (uint32_t i = 0; i < 400; i++)
		lost[i] = size - 8 * i;
	cells[0] = add_list(&maker, "li", lost, 400);
	for (uint32_t i = 1; i < n; i++)
		cells[i] = cells[0];
	set_subkeys(&maker, root, add_list(&maker, "ri", cells, n), n);
	maker_end(&maker);
	hive = open_made(&maker);
	got = hive_values(hive, root, &arena, &values);
	for (size_t i = 0; i < got; i++) {
		assert_true(hive_value_data(hive, values[i], &arena, NULL, &data, &length, NULL));
		total += length;
	}
	assert_true(total >= size && total <= 5 * (size_t)size);
	assert_int_equal(hive_health(hive)->bad_values, n - got);
	assert_true(hive->broken.n * sizeof(*hive->broken.items) < size);
	hive_close(hive);
	free(maker.data);
	arena_free(&arena);
}

/* Latin-1 names ("extended ASCII") and UTF-16 names, found ignoring case. */
static void test_names(void **state)
{
	struct arena arena = {0};
	hive_cell root, keys[2];
	struct maker maker;
	struct hive *hive;

	(void)state;
	maker_start(&maker, 4096);
	root = add_key(&maker, HIVE_NO_CELL, "root");
	keys[0] = add_key(&maker, root, "Gr\xFCn");
	keys[1] = add_key(&maker, root, "\x16\x04\x35\x04"); /* U+0416 U+0435 */
	put_u16(at(&maker, keys[1]) + 2, 0);
	set_subkeys(&maker, root, add_list(&maker, "lh", keys, 2), 2);
	maker_end(&maker);
	hive = open_made(&maker);
	assert_string_equal(hive_key_name(hive, keys[0], &arena), "Grün");
	assert_string_equal(hive_key_name(hive, keys[1], &arena), "Же");
	assert_int_equal(hive_find(hive, hive_root(hive), "GRÜN"), keys[0]);
	assert_int_equal(hive_find(hive, hive_root(hive), "жЕ"), keys[1]);
	assert_null(hive_key_name(hive, 4, &arena));
	hive_close(hive);
	free(maker.data);
	arena_free(&arena);
}

/* A list is gone: its keys come back through their field "Parent". */
static void test_lost_list(void **state)
{
	hive_cell cells[4], lists[3];
	struct maker maker;
	struct hive *hive;

	(void)state;
	make_chain(&maker, cells, lists);
	memset(at(&maker, lists[0]), 0, 2);
	hive = open_made(&maker);
	assert_int_equal(hive_find(hive, hive_root(hive), "a\\b\\c"), cells[3]);
	assert_int_equal(hive_health(hive)->salvaged_keys, 3);
	assert_false(hive_health(hive)->root_lost);
	hive_close(hive);
	free(maker.data);
}

/* A key is gone: what was below it stands below a made-up key in its place. */
static void test_lost_key(void **state)
{
	struct arena arena = {0};
	hive_cell cells[4], lists[3], *made_up;
	struct maker maker;
	struct hive *hive;

	(void)state;
	make_chain(&maker, cells, lists);
	memset(at(&maker, cells[1]), 0, NK_SIZE);
	hive = open_made(&maker);
	assert_int_equal(hive_subkeys(hive, hive_root(hive), &arena, &made_up), 1);
	assert_non_null(hive_key_name(hive, made_up[0], &arena));
	assert_int_equal(hive_find(hive, made_up[0], "b\\c"), cells[3]);
	/* The list's hash still knows the name. */
	assert_int_equal(hive_find(hive, hive_root(hive), "A\\b\\c"), cells[3]);
	assert_int_equal(hive_find(hive, hive_root(hive), "x\\b\\c"), HIVE_NO_CELL);
	assert_int_equal(hive_health(hive)->bad_keys, 1);
	assert_int_equal(hive_health(hive)->salvaged_keys, 2);
	hive_close(hive);
	free(maker.data);
	arena_free(&arena);
}

/* Hints of lf: the first four characters, fewer padded with zeros; "Fast leaf". */
static void test_hints(void **state)
{
	struct list_entry start = {.kind = HINT_START, .hint = 0x74666F53}; /* "Soft" */
	struct list_entry brief = {.kind = HINT_START, .hint = 0x004D4153}; /* "SAM" */
	struct list_entry none = {.kind = HINT_NONE};

	(void)state;
	assert_true(hint_fits(&start, "Software", 8));
	assert_true(hint_fits(&start, "SOFT", 4));
	assert_false(hint_fits(&start, "Sof", 3));
	assert_false(hint_fits(&start, "System", 6));
	assert_true(hint_fits(&brief, "sam", 3));
	assert_false(hint_fits(&brief, "same", 4));
	assert_false(hint_fits(&none, "", 0));
}

/* The lists above a lost key are gone too: two steps that lead on prove where a path goes. */
static void test_lost_place(void **state)
{
	static const char *const names[] = {"root", "a", "b", "c", "d", "e"};
	hive_cell cells[6], other, lists[5];
	struct maker maker;
	struct hive *hive;

	(void)state;
	maker_start(&maker, 4096);
	for (size_t i = 0; i < 6; i++)
		cells[i] = add_key(&maker, i == 0 ? HIVE_NO_CELL : cells[i - 1], names[i]);
	for (size_t i = 0; i < 5; i++) {
		lists[i] = add_list(&maker, "lh", &cells[i + 1], 1);
		set_subkeys(&maker, cells[i], lists[i], 1);
	}
	other = add_key(&maker, 8, "c");
	set_subkeys(&maker, other, add_list(&maker, "lh", &cells[4], 1), 1);
	maker_end(&maker);
	memset(at(&maker, lists[0]), 0, 2);
	memset(at(&maker, cells[1]), 0, NK_SIZE);
	memset(at(&maker, lists[1]), 0, 2);
	memset(at(&maker, cells[2]), 0, NK_SIZE);
	hive = open_made(&maker);
	assert_int_equal(hive_find(hive, hive_root(hive), "a\\b\\c\\d\\e"), cells[5]);
	assert_int_equal(hive_find(hive, hive_root(hive), "a\\b\\c\\d"), cells[4]);
	assert_int_equal(hive_find(hive, hive_root(hive), "a\\b\\c"), HIVE_NO_CELL);
	hive_close(hive);
	free(maker.data);
}

/* The root is gone, with and without a base block: paths still begin below the root. */
static void test_lost_root(void **state)
{
	struct arena arena = {0};
	hive_cell cells[4], lists[3];
	struct maker maker;
	struct hive *hive;

	(void)state;
	make_chain(&maker, cells, lists);
	memset(at(&maker, cells[0]), 0, NK_SIZE);
	for (int i = 0; i < 2; i++) {
		hive = open_made(&maker);
		assert_true(hive_health(hive)->root_lost);
		assert_int_equal(hive_find(hive, hive_root(hive), "a\\b\\c"), cells[3]);
		assert_non_null(hive_key_name(hive, hive_root(hive), &arena));
		hive_close(hive);
		memset(maker.data, 0, BINS);
	}
	free(maker.data);
	arena_free(&arena);
}

/* A key that was deleted but left allocated is no salvage while the lists are whole. */
static void test_leftover(void **state)
{
	hive_cell cells[4], lists[3];
	struct maker maker;
	struct hive *hive;

	(void)state;
	make_chain(&maker, cells, lists);
	set_subkeys(&maker, cells[2], UINT32_MAX, 0);
	hive = open_made(&maker);
	assert_int_equal(hive_find(hive, hive_root(hive), "a\\b\\c"), HIVE_NO_CELL);
	assert_int_not_equal(hive_find(hive, hive_root(hive), "a\\b"), HIVE_NO_CELL);
	assert_int_equal(hive_health(hive)->salvaged_keys, 0);
	hive_close(hive);
	free(maker.data);
}

/* The base block is bad: fields of it, or all of it. The root is where roots always are. */
static void test_bad_base(void **state)
{
	hive_cell cells[4], lists[3];
	struct maker maker;
	struct hive *hive;

	(void)state;
	make_chain(&maker, cells, lists);
	for (size_t i = 0; i < 512; i += 4) {
		uint8_t saved[4];

		memcpy(saved, maker.data + i, 4);
		put_u32(maker.data + i, 0x5A5A5A5A);
		hive = open_made(&maker);
		assert_true(hive_health(hive)->base_block_bad);
		assert_int_equal(hive_find(hive, hive_root(hive), "a\\b\\c"), cells[3]);
		assert_int_equal(hive_last_written(hive), 132000000000000000);
		hive_close(hive);
		memcpy(maker.data + i, saved, 4);
	}
	free(maker.data);
}

/* Nothing in it: a sentence, not a crash. */
static void test_nothing(void **state)
{
	static const uint8_t zeros[65536];
	struct error error;

	(void)state;
	assert_null(hive_open(zeros, sizeof(zeros), NULL, 0, &error));
	assert_non_null(strstr(error.text, "no registry key"));
	assert_null(hive_open(NULL, 0, NULL, 0, &error));
	assert_null(hive_open("regf", 4, NULL, 0, NULL));
	hive_close(NULL);
}

static void walk(const struct hive *hive, hive_cell key, unsigned depth, size_t *n)
{
	struct arena arena = {0};
	hive_cell *cells;
	size_t n_cells = hive_values(hive, key, &arena, &cells), length;
	const uint8_t *data;
	uint32_t type;

	for (size_t i = 0; i < n_cells; i++) {
		assert_non_null(hive_value_name(hive, cells[i], &arena));
		hive_value_data(hive, cells[i], &arena, &type, &data, &length, NULL);
	}
	assert_non_null(hive_key_name(hive, key, &arena));
	n_cells = hive_subkeys(hive, key, &arena, &cells);
	for (size_t i = 0; i < n_cells && depth > 0; i++)
		walk(hive, cells[i], depth - 1, n);
	(*n)++;
	arena_free(&arena);
}

static void open_damaged(const uint8_t *data, size_t length)
{
	struct hive *hive = hive_open(data, length, NULL, 0, NULL);
	size_t n = 0;

	if (hive == NULL)
		return;
	walk(hive, hive_root(hive), 100, &n);
	assert_true(n <= length / 64 + 2);
	hive_close(hive);
}

/* Cut at every sector, and every byte flipped: nothing worse than keys or values missing. */
static void test_damage(void **state)
{
	hive_cell cells[4], lists[3], values[2];
	struct maker maker;

	(void)state;
	make_chain(&maker, cells, lists);
	values[0] = add_value(&maker, "one", HIVE_DWORD, 0x80000004u, 1);
	values[1] = add_value(&maker, "two", HIVE_SZ, 8, add_data(&maker, "t\0w\0o\0\0", 8));
	set_values(&maker, cells[2], values, 2);
	maker_end(&maker);
	for (size_t length = 0; length <= BINS + maker.size; length += 512)
		open_damaged(maker.data, length);
	for (size_t i = 0; i < BINS + maker.used; i++) {
		static const uint8_t masks[] = {0xFF, 0x80, 0x01};

		if (i == 512)
			i = BINS; /* nothing reads the rest of the base block */
		for (size_t j = 0; j < sizeof(masks); j++) {
			maker.data[i] ^= masks[j];
			open_damaged(maker.data, BINS + maker.size);
			maker.data[i] ^= masks[j];
		}
	}
	free(maker.data);
}

/* A hundred thousand keys below a lost list take no more than a moment. */
static void test_large_salvage(void **state)
{
	const uint32_t n = 100000;
	hive_cell root;
	struct maker maker;
	struct hive *hive;
	char name[16];

	(void)state;
	maker_start(&maker, 96 * n / 4096 * 4096 + 8192);
	root = add_key(&maker, HIVE_NO_CELL, "root");
	set_subkeys(&maker, root, 8, n);
	for (uint32_t i = 0; i < n; i++) {
		snprintf(name, sizeof(name), "plot %u", (unsigned)i);
		add_key(&maker, root, name);
	}
	maker_end(&maker);
	unit_limit_processor_time(60);
	hive = open_made(&maker);
	assert_int_equal(hive_health(hive)->salvaged_keys, n);
	hive_close(hive);
	free(maker.data);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_lists),
	    cmocka_unit_test(test_loops),
	    cmocka_unit_test(test_values),
	    cmocka_unit_test(test_shared),
	    cmocka_unit_test(test_names),
	    cmocka_unit_test(test_lost_list),
	    cmocka_unit_test(test_lost_key),
	    cmocka_unit_test(test_hints),
	    cmocka_unit_test(test_lost_place),
	    cmocka_unit_test(test_lost_root),
	    cmocka_unit_test(test_leftover),
	    cmocka_unit_test(test_bad_base),
	    cmocka_unit_test(test_nothing),
	    cmocka_unit_test(test_damage),
	    cmocka_unit_test(test_large_salvage),
	};

	/* Upper case beyond ASCII needs the locale, as in the program. */
	if (!locale_use_utf8(NULL))
		return 1;
	return cmocka_run_group_tests(tests, NULL, NULL);
}
