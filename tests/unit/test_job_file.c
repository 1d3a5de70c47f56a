/*
 * The job file: what its page in job_file.h promises, and what must not pass. The encodings' bytes
 * are the Unicode Standard's (chapter 3, tables 3-6 and 3-7; section 23.8, byte order mark);
 * everything else is the project's own format, no outside source applies.
 */
#include "unit.h"

#include "console/job_file.h"
#include "extract/job.h"
#include "plan/pattern.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct arena arena;
static struct order order;
static struct error error;

static bool read_bytes(const void *bytes, size_t length)
{
	arena_free(&arena);
	error = (struct error){0};
	return job_file_read(&arena, bytes, length, &order, &error);
}

static bool read_text(const char *text)
{
	return read_bytes(text, strlen(text));
}

/* The sentence must name the line and what is wrong there. */
static void refused(const char *text, const char *place, const char *word)
{
	if (read_text(text))
		fail_msg("accepted: %s", text);
	assert_int_equal(error.status, STATUS_USAGE);
	if (strstr(error.text, place) == NULL || strstr(error.text, word) == NULL)
		fail_msg("'%s' does not say '%s' and '%s'", error.text, place, word);
	if (strchr(error.text, '\n') != NULL || strlen(error.text) > 550)
		fail_msg("no sentence: '%s'", error.text);
}

static void everything_once(void **state)
{
	(void)state;
	assert_true(read_text("# The treasurer's PC\n"
			      "\n"
			      "persons = mara,  Rowan Fern\t, Zo\xC3\xAB\n"
			      "format=tar\n"
			      " name =  Fernhill # 2 \n"
			      "take = *.vdi\n"
			      "leave = D:\\Survey\\**\n"
			      "take = C:\\a = b\\**\n"
			      "part-size = 700M\n"
			      "same = each\n"
			      "resume = no\n"
			      "when-done = switch-off\n"));
	assert_int_equal(order.persons.count, 3);
	assert_string_equal(order.persons.items[0], "mara");
	assert_string_equal(order.persons.items[1], "Rowan Fern");
	assert_string_equal(order.persons.items[2], "Zo\xC3\xAB");
	assert_string_equal(order.format, "tar");
	assert_string_equal(order.name, "Fernhill # 2");
	assert_int_equal(order.takes.count, 2);
	assert_string_equal(order.takes.items[0], "*.vdi");
	assert_string_equal(order.takes.items[1], "C:\\a = b\\**");
	assert_int_equal(order.leaves.count, 1);
	assert_string_equal(order.leaves.items[0], "D:\\Survey\\**");
	assert_string_equal(order.part_size, "700M");
	assert_string_equal(order.same, "each");
	assert_true(order.no_resume);
	assert_int_equal(order.end, ORDER_SWITCH_OFF);
}

static void nothing_at_all(void **state)
{
	static const char *const texts[] = {"", "\n", "# only a remark", "\r\n\r\n", "\xEF\xBB\xBF",
	    "\xFF\xFE", "\xFE\xFF", "persons = everybody\nwhen-done = wait"};

	(void)state;
	for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++) {
		if (!read_text(texts[i]))
			fail_msg("%zu: %s", i, error.text);
		assert_int_equal(order.persons.count, 0);
		assert_int_equal(order.takes.count + order.leaves.count, 0);
		assert_null(order.format);
		assert_null(order.name);
		assert_null(order.part_size);
		assert_null(order.same);
		assert_null(order.go_on);
		assert_false(order.no_resume);
		assert_int_equal(order.end, ORDER_WAIT);
	}
}

static void line_ends_and_capitals(void **state)
{
	(void)state;
	assert_true(read_text("PERSONS = Everybody\r\nFormat = ZIP\rSame = Once\n\rWhen-Done = "
			      "Switch-Off"));
	assert_int_equal(order.persons.count, 0);
	assert_string_equal(order.format, "zip");
	assert_string_equal(order.same, "once");
	assert_int_equal(order.end, ORDER_SWITCH_OFF);
	/* Each kind of line end counts one line. */
	refused("\r\n\r\n\r\nx = y", "line 4", "'x'");
	refused("\r\r\rx = y", "line 4", "'x'");
}

static void encodings(void **state)
{
	/* "name = Zoë" and a pair of surrogates (U+1F331) */
	static const uint8_t utf8[] = "\xEF\xBB\xBFname = Zo\xC3\xAB\xF0\x9F\x8C\xB1\r\n";
	static const uint8_t units[] = {'n', 'a', 'm', 'e', '=', 'Z', 'o', 0xEB};
	uint8_t little[64] = {0xFF, 0xFE}, big[64] = {0xFE, 0xFF};
	size_t length = 2;

	(void)state;
	assert_true(read_bytes(utf8, sizeof(utf8) - 1));
	assert_string_equal(order.name, "Zo\xC3\xAB\xF0\x9F\x8C\xB1");
	for (size_t i = 0; i < sizeof(units); i++, length += 2) {
		little[length] = units[i];
		big[length + 1] = units[i];
	}
	memcpy(little + length, "\x3C\xD8\x31\xDF", 4);
	memcpy(big + length, "\xD8\x3C\xDF\x31", 4);
	assert_true(read_bytes(little, length + 4));
	assert_string_equal(order.name, "Zo\xC3\xAB\xF0\x9F\x8C\xB1");
	assert_true(read_bytes(big, length + 4));
	assert_string_equal(order.name, "Zo\xC3\xAB\xF0\x9F\x8C\xB1");
	/* Half a unit, half a pair, and no mark at all. */
	assert_false(read_bytes(little, length + 3));
	assert_false(read_bytes(little, length + 2));
	assert_false(read_bytes(little + 2, length - 2));
	assert_non_null(strstr(error.text, "plain text"));
	/* A code page of old editors: ë as one byte. */
	refused("format = zip\nname = Zo\xEB\n", "line 2", "UTF-8");
}

static void what_is_refused(void **state)
{
	char text[400];

	(void)state;
	refused("color = green\n", "line 1", "persons, format, name");
	refused("format = zip\nformat = zip\n", "line 2", "second time");
	refused("\n\nformat = rar\n", "line 3", "zip, tar or folder");
	refused("format\n", "line 1", "KEY = VALUE");
	refused("format = zip tar\n", "line 1", "zip, tar or folder");
	refused("format =\n", "line 1", "nothing behind");
	refused("= zip\n", "line 1", "no key ''");
	refused("persons = mara,,rowan\n", "line 1", "joined by commas");
	refused("persons = mara,\n", "line 1", "joined by commas");
	refused("persons = ,\n", "line 1", "joined by commas");
	refused("persons = mara, everybody\n", "line 1", "joined by commas");
	refused("part-size = 4\n", "line 1", "700M");
	refused("part-size = 99999999999999999999G\n", "line 1", "700M");
	refused("part-size = -1M\n", "line 1", "700M");
	refused("same = twice\n", "line 1", "once or each");
	refused("when-done = explode\n", "line 1", "wait or switch-off");
	refused("name = ../up\n", "line 1", "plain name");
	refused("name = -rf\n", "line 1", "option");
	refused("name = CON\n", "line 1", "could not store");
	refused("name = a\x1B[2J\n", "line 1", "plain text");
	refused("\x7F\n", "line 1", "plain text");
	refused("take = \xED\xA0\x80\n", "line 1", "UTF-8"); /* a lone surrogate */
	refused("take = \xC0\x80\n", "line 1", "UTF-8");     /* NUL in disguise */
	refused("\xEF\xBB\xBF\xEF\xBB\xBF"
		"format = zip\n",
	    "line 1", "no key");
	assert_false(read_bytes("format = zip\0", 13));
	assert_false(read_bytes("\0", 1));
	/* One that fits for `extract`, but not with "-2" behind it. */
	snprintf(text, sizeof(text), "name = %0*d\n", JOB_NAME_LIMIT - 4, 7);
	refused(text, "line 1", "95 bytes");
	snprintf(text, sizeof(text), "name = %0*d\n", JOB_NAME_LIMIT - 5, 7);
	assert_true(read_text(text));
}

static void what_is_too_much(void **state)
{
	char *text = malloc(JOB_FILE_LIMIT + 1);
	size_t length = 0;

	(void)state;
	assert_non_null(text);
	memset(text, '\n', JOB_FILE_LIMIT + 1);
	assert_false(read_bytes(text, JOB_FILE_LIMIT + 1));
	assert_non_null(strstr(error.text, "64 KiB"));
	assert_true(read_bytes(text, JOB_FILE_LIMIT));
	memset(text, '#', JOB_FILE_LIMIT);
	assert_true(read_bytes(text, JOB_FILE_LIMIT));
	memset(text, 'x', JOB_FILE_LIMIT);
	assert_false(read_bytes(text, JOB_FILE_LIMIT));
	assert_true(strlen(error.text) < 300);
	memcpy(text, "take=", 5);
	text[5 + PATTERN_LIMIT] = '\0';
	assert_true(read_text(text));
	text[5 + PATTERN_LIMIT] = 'x';
	text[5 + PATTERN_LIMIT + 1] = '\0';
	refused(text, "line 1", "1,000 characters");
	while (length + 8 <= JOB_FILE_LIMIT) {
		memcpy(text + length, "take=x\r\n", 8);
		length += 8;
	}
	assert_false(read_bytes(text, length));
	assert_non_null(strstr(error.text, "line 1001 "));
	free(text);
}

static void values_are_cut_between_characters(void **state)
{
	char text[200] = "same = ";

	(void)state;
	for (unsigned i = 0; i < 40; i++)
		strcat(text, "\xE2\x82\xAC");
	refused(text, "line 1", "\xE2\x82\xAC...'");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(everything_once),
	    cmocka_unit_test(nothing_at_all),
	    cmocka_unit_test(line_ends_and_capitals),
	    cmocka_unit_test(encodings),
	    cmocka_unit_test(what_is_refused),
	    cmocka_unit_test(what_is_too_much),
	    cmocka_unit_test(values_are_cut_between_characters),
	};
	int failed = cmocka_run_group_tests(tests, NULL, NULL);

	arena_free(&arena);
	return failed;
}
