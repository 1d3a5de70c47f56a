/*
 * Tests of the names in the archive.
 *
 * Sources: Microsoft, "Naming Files, Paths, and Namespaces" (reserved characters < > : " / \ | ? *,
 * characters 1 to 31, a period or space at the end, the reserved names with and without extension
 * and with superscript digits); [MS-FSCC] 2.1.5; POSIX limit of 255 bytes a name (NAME_MAX of usual
 * file systems). nettle's SHA-256 is not checked here.
 */
#include "unit.h"

#include "base/locale.h"
#include "base/utf.h"
#include "plan/names.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void check(const char *name, const char *expected)
{
	struct buf mapped = {0}, back = {0};

	name_map(&mapped, name);
	assert_string_equal(buf_text(&mapped), expected);
	name_unmap(&back, buf_text(&mapped));
	assert_string_equal(buf_text(&back), name);
	buf_free(&mapped);
	buf_free(&back);
}

static void test_most_names_stay(void **state)
{
	static const char *const names[] = {"x.txt", "50% off.txt", "100%", "%", "%zz", "%4",
	    "a.b.c", ".hidden", " begins with a space", "caf\xC3\xA9", "cafe\xCC\x81",
	    "\xF0\x9F\x8C\xB1.txt", "-rf", "$HOME `id`.txt", "#hash", "semi;colon & 'quotes'",
	    "CONSOLE", "COM10", "COMA", "LPT", "NULL.txt", "a.CON", "auxiliary", "Com\xC2\xB4",
	    "\xEF\xBB\xBFmark", "[no folder]", "~", "~$x"};

	(void)state;
	for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++)
		check(names[i], names[i]);
}

static void test_reserved_characters(void **state)
{
	(void)state;
	check("a<b>c:d\"e/f\\g|h?i*j", "a%3Cb%3Ec%3Ad%22e%2Ff%5Cg%7Ch%3Fi%2Aj");
	for (char c = 1; c < 32; c++) {
		char name[] = {'x', c, 'y', 0}, expected[16];

		snprintf(expected, sizeof(expected), "x%%%02Xy", (unsigned)c);
		check(name, expected);
	}
	check("x\x7Fy", "x%7Fy");
	check("x\xC0\x80y", "x%00y");
}

static void test_ends(void **state)
{
	(void)state;
	check("ends with a dot.", "ends with a dot%2E");
	check("ends with a space ", "ends with a space%20");
	check("both. ", "both.%20");
	check(".", "%2E");
	check("..", ".%2E");
	check("...", "..%2E");
	check(" ", "%20");
}

static void test_device_names(void **state)
{
	static const char *const names[] = {"CON", "PRN", "AUX", "NUL", "COM1", "COM2", "COM3",
	    "COM4", "COM5", "COM6", "COM7", "COM8", "COM9", "COM\xC2\xB9", "COM\xC2\xB2",
	    "COM\xC2\xB3", "LPT1", "LPT2", "LPT3", "LPT4", "LPT5", "LPT6", "LPT7", "LPT8", "LPT9",
	    "LPT\xC2\xB9", "LPT\xC2\xB2", "LPT\xC2\xB3", "CONIN$", "CONOUT$"};

	(void)state;
	for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++) {
		char name[32], expected[32];

		snprintf(
		    expected, sizeof(expected), "%%%02X%s", (unsigned)names[i][0], names[i] + 1);
		check(names[i], expected);
		snprintf(name, sizeof(name), "%s.tar.gz", names[i]);
		snprintf(expected, sizeof(expected), "%%%02X%s.tar.gz", (unsigned)names[i][0],
		    names[i] + 1);
		check(name, expected);
	}
	check("nul", "%6Eul");
	check("aux.txt", "%61ux.txt");
	check("Con .txt", "%43on .txt");
	check("CON.", "%43ON%2E");
}

/* What could be taken for an escape is escaped, in either case of its digits. */
static void test_percent(void **state)
{
	(void)state;
	check("%2e%2e%2fescape.txt", "%252e%252e%252fescape.txt");
	check("%41", "%2541");
	check("%%41", "%%2541");
	check("%3a", "%253a");
	check("%7E2", "%257E2");
	check("100%ff", "100%25ff");
}

static void test_invalid_units(void **state)
{
	(void)state;
	check("half \xED\xA0\xBC.txt", "half %ED%A0%BC.txt");
	check("\xED\xBC\xB1 other", "%ED%BC%B1 other");
}

static void check_more(const char *name, struct name_more more, const char *expected)
{
	struct buf mapped = {0};

	name_map_more(&mapped, name, &more);
	assert_string_equal(buf_text(&mapped), expected);
	buf_free(&mapped);
}

static void test_twins_and_streams(void **state)
{
	(void)state;
	check_more("Notes.txt", (struct name_more){1, "", 1, NULL}, "Notes.txt");
	check_more("Notes.txt", (struct name_more){2, "", 1, NULL}, "Notes%7E2.txt");
	check_more("Notes", (struct name_more){3, "", 1, NULL}, "Notes%7E3");
	check_more(".hidden", (struct name_more){2, "", 1, NULL}, ".hidden%7E2");
	check_more("a.", (struct name_more){2, "", 1, NULL}, "a%2E%7E2");
	check_more("file.txt", (struct name_more){1, "note", 1, NULL}, "file.txt.stream-note");
	check_more("file.", (struct name_more){1, "no:te.", 1, NULL}, "file..stream-no%3Ate%2E");
	check_more(
	    "file.txt", (struct name_more){1, "", 1, "encrypted-data"}, "file.txt.encrypted-data");
	check_more("file.", (struct name_more){2, "", 1, "data-ranges"}, "file%7E2..data-ranges");
	check_more("CON", (struct name_more){1, "", 2, "encrypted-key"}, "%43ON.encrypted-key%7E2");
	check_more("a.txt", (struct name_more){1, "s.", 1, "encrypted-data"},
	    "a.txt.stream-s..encrypted-data");
	check_more("CON", (struct name_more){1, "s", 1, NULL}, "%43ON.stream-s");
	check_more(
	    "file.txt", (struct name_more){2, "one", 3, NULL}, "file%7E2.txt.stream-one%7E3");
}

/* Long names are cut at whole characters and escapes, keep their extension, and stay apart. */
static void test_long_names(void **state)
{
	struct buf name = {0}, mapped = {0}, other = {0};

	(void)state;
	for (int i = 0; i < 120; i++)
		buf_add_text(&name, "\xE6\xBC\xA2");
	buf_add_text(&name, ".txt");
	name_map(&mapped, buf_text(&name));
	assert_in_range(mapped.length, 240, 255);
	assert_true(utf_is_clean(buf_text(&mapped)));
	assert_string_equal(buf_text(&mapped) + mapped.length - 4, ".txt");
	buf_add_text(&name, "x");
	name_map(&other, buf_text(&name));
	assert_string_not_equal(buf_text(&mapped), buf_text(&other));

	buf_clear(&name);
	for (int i = 0; i < 255; i++)
		buf_add_text(&name, "?");
	buf_clear(&mapped);
	name_map(&mapped, buf_text(&name));
	assert_in_range(mapped.length, 237, 255);
	/* Whole escapes, then "~" and 16 digits. */
	assert_int_equal((mapped.length - 17) % 3, 0);
	assert_int_equal(buf_text(&mapped)[mapped.length - 17], '~');

	/* 255 bytes are not too long, 256 are. */
	for (size_t length = 255; length <= 256; length++) {
		buf_clear(&name);
		buf_clear(&mapped);
		for (size_t i = 0; i < length; i++)
			buf_add_text(&name, "a");
		name_map(&mapped, buf_text(&name));
		assert_int_equal(mapped.length, 255);
		assert_int_equal(strcmp(buf_text(&mapped), buf_text(&name)) == 0, length == 255);
	}
	buf_free(&name);
	buf_free(&mapped);
	buf_free(&other);
}

/* A unit that has a good chance to be special. */
static uint16_t random_unit(void)
{
	static const char special[] = "<>:\"/\\|?*%. ~09afAFCONPRNAUXNULCOMLPT19$";
	unsigned kind = (unsigned)rand() % 8;

	if (kind == 0)
		return (uint16_t)(0xD800 + rand() % 0x800);
	if (kind == 1)
		return (uint16_t)(rand() % 0x10000);
	if (kind == 2)
		return (uint16_t)(rand() % 0x20);
	return (uint8_t)special[(unsigned)rand() % (sizeof(special) - 1)];
}

static bool is_safe(const char *mapped, size_t length)
{
	if (length == 0 || length > NAME_LIMIT || !utf_is_clean(mapped) ||
	    mapped[length - 1] == '.' || mapped[length - 1] == ' ')
		return false;
	for (size_t i = 0; i < length; i++)
		if ((uint8_t)mapped[i] < 0x20 || mapped[i] == 0x7F ||
		    strchr("<>:\"/\\|?*", mapped[i]))
			return false;
	return true;
}

/* Any name of UTF-16 units comes back, is safe, and no two names meet, also ignoring case. */
static void test_random_names(void **state)
{
	struct buf previous = {0}, previous_name = {0};

	(void)state;
	srand(20240229);
	for (int round = 0; round < 200000; round++) {
		size_t units = 1 + (size_t)rand() % 12;
		struct buf name = {0}, mapped = {0}, back = {0};
		uint8_t bytes[24];

		for (size_t i = 0; i < units; i++) {
			uint16_t unit = random_unit();

			bytes[2 * i] = (uint8_t)unit;
			bytes[2 * i + 1] = (uint8_t)(unit >> 8);
		}
		utf_from_utf16(&name, bytes, units);
		name_map(&mapped, buf_text(&name));
		assert_true(is_safe(buf_text(&mapped), mapped.length));
		name_unmap(&back, buf_text(&mapped));
		assert_string_equal(buf_text(&back), buf_text(&name));
		if (previous.length && !utf_equal_fold(buf_text(&name), buf_text(&previous_name)))
			assert_false(utf_equal_fold(buf_text(&mapped), buf_text(&previous)));
		buf_free(&previous);
		buf_free(&previous_name);
		buf_free(&back);
		previous = mapped;
		previous_name = name;
	}
	buf_free(&previous);
	buf_free(&previous_name);
}

/* All names of up to three characters from a small set of awkward ones: mapped names never meet. */
static void test_short_names_never_meet(void **state)
{
	static const char set[] = "%3aA:. 2E";
	enum { COUNT = 9 + 81 + 729 };
	static char mapped[COUNT][16], names[COUNT][4];
	size_t count = 0, n = sizeof(set) - 1;

	(void)state;
	for (size_t i = 0; i < n + n * n + n * n * n; i++) {
		char *name = names[count];
		struct buf out = {0};

		if (i < n) {
			name[0] = set[i];
		} else if (i < n + n * n) {
			name[0] = set[(i - n) / n];
			name[1] = set[(i - n) % n];
		} else {
			size_t k = i - n - n * n;

			name[0] = set[k / n / n];
			name[1] = set[k / n % n];
			name[2] = set[k % n];
		}
		name_map(&out, name);
		assert_true(is_safe(buf_text(&out), out.length));
		strcpy(mapped[count++], buf_text(&out));
		buf_free(&out);
	}
	for (size_t i = 0; i < count; i++)
		for (size_t k = 0; k < i; k++)
			if (utf_equal_fold(mapped[i], mapped[k]))
				assert_true(utf_equal_fold(names[i], names[k]));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_most_names_stay),
	    cmocka_unit_test(test_reserved_characters),
	    cmocka_unit_test(test_ends),
	    cmocka_unit_test(test_device_names),
	    cmocka_unit_test(test_percent),
	    cmocka_unit_test(test_invalid_units),
	    cmocka_unit_test(test_twins_and_streams),
	    cmocka_unit_test(test_long_names),
	    cmocka_unit_test(test_random_names),
	    cmocka_unit_test(test_short_names_never_meet),
	};

	assert_true(locale_use_utf8(NULL));
	return cmocka_run_group_tests(tests, NULL, NULL);
}
