/*
 * Tests of src/console: the lines of the start screen fit a terminal and hold nothing that it would
 * obey; pages and answers; mains or battery.
 *
 * Sources: 80 columns and 25 lines of the PC's text mode; ECMA-48, 5.3 and 5.4 (escape sequences
 * begin with bytes from the C0 and C1 sets); The Unicode Standard, chapter 23.2 (bidirectional
 * controls); Linux kernel documentation, Documentation/ABI/testing/sysfs-class-power (the files and
 * values of the forged power supplies).
 */
#include "unit.h"

#include "console/look.h"
#include "console/power.h"
#include "console/screen.h"
#include "console/start_screen.h"

#include "base/text.h"

#include <locale.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* Names as hostile as the file systems allow, everywhere where a name can stand. */
#define ESC "\\u001b]0;x\\u0007\\u001b[2J"
#define BIDI "\\u202egnp.exe"
#define LONG                                                                                       \
	"abcdefghijabcdefghijabcdefghijabcdefghijabcdefghijabcdefghijabcdefghijabcdefghij"         \
	"abcdefghij\\u6f22\\u5b57\\u6f22\\u5b57\\u6f22\\u5b57abcdefghijabcdefghijabcdefghijabcdef" \
	"ghij"

static const char hostile_drives[] =
    "{\"drives\":[{\"path\":\"/dev/" ESC "\",\"model\":\"" LONG "\",\"serial\":\"" BIDI
    "\",\"bus\":\"USB\",\"size\":1000,\"readable\":true,\"problem\":\"" LONG "\","
    "\"link\":{\"megabits\":12},\"faults\":{\"verdict\":\"unknown\",\"why_unknown\":\"" ESC LONG
    "\"},"
    "\"set\":{\"kind\":\"" LONG "\",\"level\":\"" ESC "\",\"members\":2},"
    "\"volumes\":[{\"number\":1,\"device\":\"/dev/" LONG "\",\"filesystem\":\"encrypted\","
    "\"label\":\"" ESC BIDI LONG "\",\"size\":5,\"free\":3}],"
    "\"findings\":[{\"code\":\"x\",\"weight\":\"loss\",\"subject\":\"" LONG "\",\"sentence\":\"" ESC
    "\",\"advice\":\"" BIDI LONG "\"}]}],"
    "\"findings\":[{\"code\":\"y\",\"weight\":\"caution\",\"sentence\":\"" BIDI LONG "\"}]}";

static const char hostile_survey[] =
    "{\"volumes\":[],\"systems\":[{\"computer\":\"" ESC LONG "\",\"product\":\"" BIDI
    "\",\"volume\":\"" LONG "\",\"persons\":[{\"key\":\"k\",\"account\":\"" ESC BIDI
    "\",\"full_name\":\"" LONG "\",\"files\":1,\"bytes\":2},{}]}],"
    "\"findings\":[{\"code\":\"z\",\"weight\":\"caution\",\"sentence\":\"" ESC LONG BIDI "\"}]}";

static char *everything(const struct look *look, unsigned width)
{
	struct power power = {.on_battery = true, .percent = 3};
	struct page page = {.width = width};
	size_t length;
	char *text;

	page.out = open_memstream(&text, &length);
	assert_non_null(page.out);
	start_title(&page);
	start_power(&page, &power);
	start_drives(&page, look, "sdz\nsr0\n");
	start_systems(&page, look);
	start_findings(&page, look);
	start_next_step(&page, look, &power, false);
	start_next_step(&page, look, &power, true);
	start_menu(&page);
	start_help(&page);
	fclose(page.out);
	return text;
}

/* What comes out of the screen that many lines high, with Enter pressed at every stop. */
static char *shown(const char *text, unsigned rows, const char *typed)
{
	FILE *in = fmemopen((char *)(uintptr_t)typed, strlen(typed), "r"), *out;
	struct screen screen;
	size_t length;
	char *result;

	out = open_memstream(&result, &length);
	screen_start(&screen, in, out);
	screen.rows = rows;
	screen_show(&screen, text);
	fclose(out);
	fclose(in);
	return result;
}

static void check_lines(const char *text, unsigned most)
{
	while (*text != '\0') {
		size_t length = strcspn(text, "\n");
		char *line = strndup(text, length);

		assert_true(text_columns(line) <= most);
		free(line);
		text += length + (text[length] == '\n');
	}
}

static void check_harmless(const char *text)
{
	for (const unsigned char *at = (const unsigned char *)text; *at != '\0'; at++) {
		assert_true(*at >= 0x20 || *at == '\n');
		assert_true(*at != 0x7F);
		assert_false(at[0] == 0xC2 && at[1] >= 0x80 && at[1] < 0xA0); /* C1 */
	}
	assert_null(strstr(text, "\xE2\x80\xAE")); /* U+202E */
}

static void test_hostile_names(void **state)
{
	struct error error;
	struct look look;
	char *text, *lines;

	(void)state;
	look_init(&look);
	assert_true(look_read_drives(&look, hostile_drives, strlen(hostile_drives), &error));
	assert_true(look_read_survey(&look, hostile_survey, strlen(hostile_survey), &error));
	text = everything(&look, 79);
	check_harmless(text);
	assert_non_null(strstr(text, "<U+001B>"));
	assert_non_null(strstr(text, "<U+202E>"));
	lines = shown(text, 0, "\n");
	check_lines(lines, 79);
	free(lines);
	free(text);
	look_free(&look);
}

/* Whose PC it is comes first, however much is wrong with it. */
static void test_organisation_first(void **state)
{
	struct buf json = {0};
	struct error error;
	struct look look;
	char *text;

	(void)state;
	buf_add_text(&json, "{\"findings\":[");
	for (unsigned i = 0; i < 20; i++)
		buf_printf(&json,
		    "{\"code\":\"x\",\"weight\":\"loss\",\"sentence\":\"Lost: %u.\"},", i);
	buf_add_text(&json, "{\"code\":\"managed-pc\",\"weight\":\"caution\",\"subject\":\"HUT-PC\","
			    "\"sentence\":\"It is the school's.\",\"advice\":\"Ask it.\"}]}");
	look_init(&look);
	assert_true(look_read_drives(&look, "{\"drives\":[]}", 13, &error));
	assert_true(look_read_survey(&look, buf_text(&json), json.length, &error));
	text = everything(&look, 79);
	assert_non_null(strstr(text, "Caution: HUT-PC: It is the school's. Ask it."));
	assert_true(strstr(text, "It is the school's.") < strstr(text, "What is wrong"));
	free(text);
	buf_free(&json);
	look_free(&look);
}

/* Our own words need no breaking: also where large letters leave 63 columns. */
static void test_own_words_fit(void **state)
{
	static const char drives[] =
	    "{\"drives\":[{\"path\":\"/dev/"
	    "sda\",\"model\":\"Spinner\",\"bus\":\"ATA\",\"size\":500000000000,"
	    "\"readable\":true,\"volumes\":[{\"number\":1,\"device\":\"/dev/"
	    "sda1\",\"filesystem\":\"NTFS\","
	    "\"label\":\"Fernhill data\",\"size\":499000000000,\"free\":120000000000}]}]}";
	struct error error;
	struct look look;
	char *text;

	(void)state;
	look_init(&look);
	text = everything(&look, 79);
	check_lines(text, 79);
	assert_non_null(strstr(text, "None shows up."));
	free(text);
	assert_true(look_read_drives(&look, drives, strlen(drives), &error));
	assert_true(look_read_survey(&look, "{}", 2, &error));
	for (unsigned width = 79; width >= 63; width -= 16) {
		text = everything(&look, width);
		check_lines(text, width);
		assert_non_null(strstr(text, "Fernhill data"));
		assert_non_null(strstr(text, "This stick is sr0"));
		free(text);
	}
	look_free(&look);
}

static size_t count(const char *text, const char *what)
{
	size_t n = 0;

	for (; (text = strstr(text, what)) != NULL; text += strlen(what))
		n++;
	return n;
}

static void test_pages(void **state)
{
	char *text;

	(void)state;
	/* Six lines of eight may come before somebody presses Enter. */
	text = shown("1\n2\n3\n4\n5\n6\n", 8, "\n");
	assert_int_equal(count(text, "Enter for more"), 0);
	free(text);
	text = shown("1\n2\n3\n4\n5\n6\n7\n8\n9\na\nb\nc\nd\n", 8, "\n\n\n");
	assert_int_equal(count(text, "Enter for more"), 2);
	assert_non_null(strstr(text, "6\n-- Enter for more -- 7\n"));
	assert_non_null(strstr(text, "d\n"));
	free(text);
	/* Nobody is there: the rest is dropped, and it ends. */
	text = shown("1\n2\n3\n4\n5\n6\n7\n8\n", 8, "x");
	free(text);
}

static void test_answers(void **state)
{
	static const char typed[] = "  j \n\n0123456789abcdef\nend";
	FILE *in = fmemopen((char *)(uintptr_t)typed, sizeof(typed) - 1, "r");
	FILE *out = fopen("/dev/null", "w");
	struct screen screen;
	char line[8];

	(void)state;
	screen_start(&screen, in, out);
	assert_int_equal(screen_ask(&screen, "> ", line, sizeof(line)), ANSWER_LINE);
	assert_string_equal(line, "j");
	assert_int_equal(screen_ask(&screen, "> ", line, sizeof(line)), ANSWER_LINE);
	assert_string_equal(line, "");
	assert_int_equal(screen_ask(&screen, "> ", line, sizeof(line)), ANSWER_LINE);
	assert_string_equal(line, "0123456");
	assert_int_equal(screen_ask(&screen, "> ", line, sizeof(line)), ANSWER_LINE);
	assert_string_equal(line, "end");
	assert_int_equal(screen_ask(&screen, "> ", line, sizeof(line)), ANSWER_END);
	fclose(in);
	fclose(out);
}

/* --- power --- */

static char root[64];

static void put(const char *supply, const char *file, const char *text)
{
	char path[300];
	FILE *out;

	snprintf(path, sizeof(path), "%s/sys/class/power_supply/%s", root, supply);
	mkdir(path, 0755);
	snprintf(path, sizeof(path), "%s/sys/class/power_supply/%s/%s", root, supply, file);
	out = fopen(path, "w");
	assert_non_null(out);
	fprintf(out, "%s\n", text);
	fclose(out);
}

static void test_power(void **state)
{
	char command[200];

	(void)state;
	strcpy(root, "/tmp/coldlift-power-XXXXXX");
	assert_non_null(mkdtemp(root));
	assert_false(power_look(root).on_battery); /* a PC without anything of the kind */
	snprintf(command, sizeof(command), "mkdir -p %s/sys/class/power_supply", root);
	assert_int_equal(system(command), 0);
	put("AC", "type", "Mains");
	put("AC", "online", "1");
	assert_false(power_look(root).on_battery);
	assert_int_equal(power_look(root).percent, POWER_UNKNOWN);
	put("BAT0", "type", "Battery");
	put("BAT0", "capacity", "62");
	put("BAT0", "status", "Charging");
	assert_false(power_look(root).on_battery);
	assert_int_equal(power_look(root).percent, 62);
	put("AC", "online", "0");
	put("BAT0", "status", "Discharging");
	assert_true(power_look(root).on_battery);
	/* A mouse says "Device"; an empty bay is not present. */
	put("hid-1", "type", "Battery");
	put("hid-1", "scope", "Device");
	put("hid-1", "capacity", "99");
	put("BAT1", "type", "Battery");
	put("BAT1", "present", "0");
	put("BAT1", "capacity", "98");
	assert_int_equal(power_look(root).percent, 62);
	/* Charging through USB. */
	put("usb", "type", "USB");
	put("usb", "online", "1");
	assert_false(power_look(root).on_battery);
	put("usb", "online", "0");
	put("BAT0", "capacity", "a lot");
	assert_true(power_look(root).on_battery);
	assert_int_equal(power_look(root).percent, POWER_UNKNOWN);
	snprintf(command, sizeof(command), "rm -r %s", root);
	assert_int_equal(system(command), 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_hostile_names),
	    cmocka_unit_test(test_own_words_fit),
	    cmocka_unit_test(test_organisation_first),
	    cmocka_unit_test(test_pages),
	    cmocka_unit_test(test_answers),
	    cmocka_unit_test(test_power),
	};

	setlocale(LC_ALL, "C.UTF-8");
	return cmocka_run_group_tests(tests, NULL, NULL);
}
