/*
 * Tests of src/base: UTF-16 and inner text, folding, text for people, JSON.
 *
 * Sources: The Unicode Standard 15.0, chapter 3, table 3-4 and 3-5 (UTF-16 and UTF-8 bit
 * distribution, with the example code points U+004D, U+0430, U+4E8C, U+10302 of section 3.9), table
 * 3-8 (broken sequences become U+FFFD); RFC 8259 section 7 (JSON strings, example U+1D11E); jansson
 * as an independent JSON reader.
 */
#include "unit.h"

#include "base/buf.h"
#include "base/json.h"
#include "base/text.h"
#include "base/utf.h"

#include <jansson.h>
#include <locale.h>
#include <stdlib.h>
#include <string.h>

static void check_utf16(const uint8_t *bytes, size_t units, const char *inner, bool valid)
{
	struct buf text = {0}, back = {0};

	assert_int_equal(utf_from_utf16(&text, bytes, units), valid);
	assert_string_equal(buf_text(&text), inner);
	utf_to_utf16(&back, buf_text(&text));
	assert_int_equal(back.length, 2 * units);
	assert_memory_equal(back.data, bytes, 2 * units);
	buf_free(&text);
	buf_free(&back);
}

/* Unicode 15.0, section 3.9, the examples of the encoding forms D90 to D92. */
static void test_unicode_examples(void **state)
{
	static const uint8_t utf16le[] = {
	    0x4D, 0x00, 0x30, 0x04, 0x8C, 0x4E, 0x00, 0xD8, 0x02, 0xDF};

	(void)state;
	check_utf16(utf16le, 5, "\x4D\xD0\xB0\xE4\xBA\x8C\xF0\x90\x8C\x82", true);
}

/* WTF-8: lone surrogates have the three bytes of their number; U+0000 stands as C0 80. */
static void test_invalid_utf16_is_kept(void **state)
{
	static const uint8_t lone_high[] = {0x41, 0x00, 0x3D, 0xD8, 0x42, 0x00};
	static const uint8_t lone_low[] = {0x00, 0xDC};
	static const uint8_t swapped[] = {0x00, 0xDC, 0x00, 0xD8};
	static const uint8_t nul[] = {0x41, 0x00, 0x00, 0x00, 0x42, 0x00};

	(void)state;
	check_utf16(lone_high, 3,
	    "A\xED\xA0\xBD"
	    "B",
	    false);
	check_utf16(lone_low, 1, "\xED\xB0\x80", false);
	check_utf16(swapped, 2, "\xED\xB0\x80\xED\xA0\x80", false);
	check_utf16(nul, 3,
	    "A\xC0\x80"
	    "B",
	    false);
}

/* Every unit, alone and before every kind of neighbour, goes there and back. */
static void test_every_unit_goes_back(void **state)
{
	static const uint16_t neighbours[] = {0x41, 0xD800, 0xDFFF, 0};

	(void)state;
	for (uint32_t unit = 0; unit < 0x10000; unit++) {
		for (size_t i = 0; i < 4; i++) {
			uint8_t bytes[4] = {(uint8_t)unit, (uint8_t)(unit >> 8),
			    (uint8_t)neighbours[i], (uint8_t)(neighbours[i] >> 8)};
			struct buf text = {0}, back = {0};

			utf_from_utf16(&text, bytes, 2);
			utf_to_utf16(&back, buf_text(&text));
			assert_int_equal(back.length, 4);
			assert_memory_equal(back.data, bytes, 4);
			buf_free(&text);
			buf_free(&back);
		}
	}
}

static void check_clean(const char *inner, const char *expected)
{
	struct buf out = {0};

	utf_clean(&out, inner, strlen(inner));
	assert_string_equal(buf_text(&out), expected);
	assert_int_equal(utf_is_clean(inner), strcmp(inner, expected) == 0);
	assert_true(utf_is_clean(buf_text(&out)));
	buf_free(&out);
}

static void test_clean(void **state)
{
	(void)state;
	check_clean("Zo\xC3\xAB", "Zo\xC3\xAB");
	check_clean("\xEF\xBF\xBD", "\xEF\xBF\xBD"); /* a real U+FFFD is valid */
	check_clean("A\xED\xA0\xBD", "A\xEF\xBF\xBD");
	check_clean("A\xC0\x80", "A\xEF\xBF\xBD");
	check_clean("\xC0\xAF", "\xEF\xBF\xBD\xEF\xBF\xBD"); /* overlong '/' never becomes '/' */
	check_clean("\xF4\x90\x80\x80", "\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD");
	check_clean("a\xE2\x82", "a\xEF\xBF\xBD\xEF\xBF\xBD");
}

/* Simple upper-casing of single units; values from UnicodeData.txt (from memory). */
static void test_fold(void **state)
{
	(void)state;
	assert_true(utf_equal_fold("USERS", "Users"));
	assert_true(utf_equal_fold("Zo\xC3\xAB", "ZO\xC3\x8B"));
	assert_true(utf_equal_fold("\xD0\xB0", "\xD0\x90"));
	assert_false(utf_equal_fold("a", "ab"));
	/* sharp s has no single capital in simple case mapping */
	assert_false(utf_equal_fold("\xC3\x9F", "SS"));
	assert_true(utf_compare_fold("a", "B") < 0);
	assert_true(utf_compare_fold("ab", "A") > 0);
	assert_true(utf_starts_fold("C:\\USERS\\x", "c:\\users"));
	assert_false(utf_starts_fold("C:", "C:\\"));
	assert_int_equal(utf_hash_fold("PICTURES"), utf_hash_fold("pictures"));
}

static void check_size(uint64_t bytes, const char *expected)
{
	assert_string_equal(text_size(bytes).text, expected);
}

/* SI prefixes; rounding worked out by hand. */
static void test_size(void **state)
{
	(void)state;
	check_size(0, "0 bytes");
	check_size(1, "1 byte");
	check_size(999, "999 bytes");
	check_size(1000, "1.0 kB");
	check_size(9949, "9.9 kB");
	check_size(9951, "10 kB");
	check_size(999499, "999 kB");
	check_size(999500, "1.0 MB");
	check_size(UINT64_C(20000000000), "20 GB");
	check_size(UINT64_MAX, "18 EB");
	assert_string_equal(text_count(0).text, "0");
	assert_string_equal(text_count(999).text, "999");
	assert_string_equal(text_count(1234567).text, "1,234,567");
}

/* A name must not command the terminal, nor look like another name. */
static void test_escape(void **state)
{
	struct buf out = {0};

	(void)state;
	text_escape(&out, "a\x1B[2Jb\xE2\x80\xAEtxt\xC2\x9B"
			  "c\nd");
	assert_string_equal(buf_text(&out), "a<U+001B>[2Jb<U+202E>txt<U+009B>c<U+000A>d");
	buf_free(&out);
	assert_int_equal(text_columns("Zo\xC3\xAB"), 3);
	assert_int_equal(text_columns("\xE5\x86\x99"), 2);
}

/* What fits of a long name; the columns of escaped characters are those of what is printed. */
static void test_tail(void **state)
{
	static char deep[3 * 200000 + 1];
	struct buf shown = {0};

	(void)state;
	assert_string_equal(text_tail("\\plots\\soil.txt", 8), "soil.txt");
	assert_string_equal(text_tail("soil.txt", 8), "soil.txt");
	assert_string_equal(text_tail("\xE5\x86\x99.txt", 5), ".txt");
	assert_string_equal(text_tail("x", 0), "");
	text_escape(&shown, "\x1B\xF3\xA0\x80\x81\xED\xA0\x80");
	assert_int_equal(text_columns("\x1B\xF3\xA0\x80\x81\xED\xA0\x80"), shown.length);
	buf_free(&shown);
	/* As deep as no path should be, drawn five times a second. */
	for (size_t i = 0; i < sizeof(deep) - 1; i++)
		deep[i] = "\x1B\\a"[i % 3];
	unit_limit_processor_time(60);
	assert_string_equal(text_tail(deep, 12), "\\a\x1B\\a");
}

static void test_wrap(void **state)
{
	char *text = NULL;
	size_t size = 0;
	FILE *stream = open_memstream(&text, &size);

	(void)state;
	assert_non_null(stream);
	text_wrap(stream, "one two three averyveryverylongword end", 2, 12);
	fclose(stream);
	assert_string_equal(text, "one two\n  three\n  averyveryverylongword\n  end\n");
	free(text);
}

/* What we write, jansson reads as what we meant. */
static void test_json(void **state)
{
	struct buf out = {0};
	struct json json;
	json_t *root;

	(void)state;
	for (int pretty = 0; pretty < 2; pretty++) {
		buf_clear(&out);
		json_start(&json, &out, pretty);
		json_begin_object(&json);
		json_key_text(&json, "clef", "\xF0\x9D\x84\x9E \"q\" \\ / \b\f\n\r\t\x7F");
		json_key_text(&json, "lone", "x\xED\xA0\xBD");
		json_key_text(&json, "none", NULL);
		json_key_unsigned(&json, "big", UINT64_C(9007199254740993));
		json_key(&json, "list");
		json_begin_array(&json);
		json_signed(&json, -1);
		json_bool(&json, true);
		json_begin_array(&json);
		json_end(&json);
		json_end(&json);
		json_key_time(&json, "time", INT64_C(116444736000000000));
		json_key_time(&json, "unset", 0);
		json_end(&json);
		assert_false(out.failed);
		root = json_loads(buf_text(&out), JSON_REJECT_DUPLICATES, NULL);
		assert_non_null(root);
		assert_string_equal(json_string_value(json_object_get(root, "clef")),
		    "\xF0\x9D\x84\x9E \"q\" \\ / \b\f\n\r\t\x7F");
		assert_string_equal(
		    json_string_value(json_object_get(root, "lone")), "x\xEF\xBF\xBD");
		assert_true(json_is_null(json_object_get(root, "none")));
		assert_int_equal(
		    json_integer_value(json_object_get(root, "big")), INT64_C(9007199254740993));
		assert_int_equal(json_array_size(json_object_get(root, "list")), 3);
		assert_string_equal(json_string_value(json_object_get(root, "time")),
		    "1970-01-01T00:00:00.0000000Z");
		assert_true(json_is_null(json_object_get(root, "unset")));
		json_decref(root);
	}
	buf_free(&out);
}

/* Times on the command line. The project's own rule. */
static void durations(void **state)
{
	static const char *const bad[] = {"", "h", "6", "0h", "-1h", " 1h", "1h ", "1hh", "1.5h", "6H",
	    "5000000000s", "99999999999999999999d"};
	uint64_t time = 7;

	(void)state;
	assert_true(text_to_duration("90s", &time) && time == 90000);
	assert_true(text_to_duration("30m", &time) && time == 1800000);
	assert_true(text_to_duration("6h", &time) && time == 21600000);
	assert_true(text_to_duration("2d", &time) && time == 172800000);
	for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++)
		assert_false(text_to_duration(bad[i], &time));
	assert_int_equal(time, 172800000);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(durations),
	    cmocka_unit_test(test_unicode_examples),
	    cmocka_unit_test(test_invalid_utf16_is_kept),
	    cmocka_unit_test(test_every_unit_goes_back),
	    cmocka_unit_test(test_clean),
	    cmocka_unit_test(test_fold),
	    cmocka_unit_test(test_size),
	    cmocka_unit_test(test_escape),
	    cmocka_unit_test(test_tail),
	    cmocka_unit_test(test_wrap),
	    cmocka_unit_test(test_json),
	};

	setlocale(LC_CTYPE, "C.UTF-8");
	return cmocka_run_group_tests(tests, NULL, NULL);
}
