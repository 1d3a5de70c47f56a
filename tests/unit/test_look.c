/*
 * Tests of src/console: what is learned from the JSON of `drives` and `survey`, the next step,
 * where a job may go, what it would take.
 *
 * Sources: RFC 8259 (JSON; its section 6 on numbers beyond 2^53 and 9 on what a reader may accept)
 * for the broken documents; which drive may be written to and what comes first is this project's
 * own promise, so the expectations are written out here by hand. That the real commands' documents
 * are understood is tested in tests/run/console_dialogue.py.
 */
#include "unit.h"

#include "console/destinations.h"
#include "console/forecast.h"
#include "console/look.h"
#include "console/next_step.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* sda: the old PC's; sdb: a new drive; sdc: the stick. */
static const char drives[] =
    "{\"drives\":["
    "{\"path\":\"/dev/"
    "sda\",\"model\":\"Spinner\",\"serial\":\"S1\",\"bus\":\"ATA\",\"size\":500000000000,"
    "\"removable\":false,\"readable\":true,\"problem\":null,"
    "\"faults\":{\"verdict\":\"none-reported\",\"sentence\":\"No fault reported.\"},"
    "\"set\":{\"kind\":\"dynamic-disk\",\"level\":\"single\",\"members\":null,"
    "\"readable_alone\":true},"
    "\"volumes\":[{\"number\":1,\"kind\":\"EFI system\",\"system\":true,\"filesystem\":\"FAT\","
    "\"size\":100000000,\"label\":null,\"free\":50000000,\"device\":\"/dev/sda1\"},"
    "{\"number\":2,\"kind\":\"data\",\"system\":false,\"filesystem\":\"NTFS\",\"size\":"
    "400000000000,"
    "\"label\":\"Windows\",\"free\":300000000000,\"device\":\"/dev/sda2\",\"dirty\":true},"
    "{\"number\":3,\"kind\":\"data\",\"system\":false,\"filesystem\":\"NTFS\",\"size\":90000000000,"
    "\"label\":\"Survey\",\"free\":80000000000,\"device\":\"/dev/sda3\"}],\"findings\":[]},"
    "{\"path\":\"/dev/"
    "sdb\",\"model\":\"Portable\",\"serial\":\"\",\"bus\":\"USB\",\"size\":64000000000,"
    "\"removable\":false,\"readable\":true,\"link\":{\"bus\":\"USB\",\"megabits\":480},\"set\":"
    "null,"
    "\"volumes\":[{\"number\":1,\"system\":false,\"filesystem\":\"exFAT\",\"size\":63000000000,"
    "\"label\":\"NEWHOME\",\"free\":62000000000,\"device\":\"/dev/sdb1\"}],\"findings\":[]},"
    "{\"path\":\"/dev/sdc\",\"model\":\"Stick\",\"bus\":\"USB\",\"size\":4000000000,\"stick\":true,"
    "\"readable\":true,\"volumes\":[{\"number\":2,\"filesystem\":\"FAT\",\"size\":5000000,"
    "\"device\":\"/dev/sdc2\"}]}]}";

static const char survey[] =
    "{\"volumes\":["
    "{\"name\":\"drive-1-partition-1\",\"drive\":\"/dev/sda\",\"partition\":1,\"length\":100000000,"
    "\"kind\":\"EFI system\",\"system\":true,\"readable\":false,\"letter\":null},"
    "{\"name\":\"C:\",\"drive\":\"/dev/"
    "sda\",\"partition\":2,\"length\":400000000000,\"system\":false,"
    "\"readable\":true,\"letter\":\"C:\"},"
    "{\"name\":\"D:\",\"drive\":\"/dev/"
    "sda\",\"partition\":3,\"length\":90000000000,\"system\":false,"
    "\"readable\":true,\"letter\":\"D:\"}],"
    "\"systems\":[{\"key\":\"FERNHILL-PC\",\"computer\":\"FERNHILL-PC\",\"volume\":\"C:\","
    "\"product\":\"Windows 10 Home\",\"letters\":[],\"persons\":["
    "{\"key\":\"mara\",\"account\":\"mara\",\"full_name\":\"Mara Quill\",\"folder\":\"mara\","
    "\"service\":false,\"profile\":{\"volume\":\"C:\",\"path\":\"\\\\Users\\\\mara\"},"
    "\"files\":100,\"bytes\":1000,\"places\":["
    "{\"place\":\"documents\",\"at\":{\"volume\":\"C:\",\"path\":"
    "\"\\\\Users\\\\mara\\\\Documents\"},"
    "\"files\":50,\"bytes\":500},"
    "{\"place\":\"pictures\",\"at\":{\"volume\":\"D:\",\"path\":\"\\\\Pictures\"},\"files\":10,"
    "\"bytes\":70},"
    "{\"place\":\"camera-roll\",\"at\":{\"volume\":\"D:\",\"path\":\"\\\\Pictures\\\\Roll\"},"
    "\"files\":5,"
    "\"bytes\":30},"
    "{\"place\":\"music\",\"at\":null,\"files\":0,\"bytes\":0}]},"
    "{\"key\":\"svc\",\"account\":\"svc\",\"service\":true,\"files\":0,\"bytes\":0,\"places\":[]}],"
    "\"shared\":[{\"place\":\"documents\",\"at\":{\"volume\":\"C:\",\"path\":"
    "\"\\\\Users\\\\Public\"},"
    "\"files\":1,\"bytes\":7}]}],"
    "\"findings\":["
    "{\"code\":\"b\",\"weight\":\"note\",\"subject\":\"\",\"sentence\":\"A "
    "note.\",\"advice\":\"\"},"
    "{\"code\":\"a\",\"weight\":\"loss\",\"subject\":\"C:\",\"sentence\":\"A "
    "loss.\",\"advice\":\"Do.\"}]}";

static void read_both(struct look *look)
{
	struct error error;

	look_init(look);
	assert_true(look_read_drives(look, drives, strlen(drives), &error));
	assert_true(look_read_survey(look, survey, strlen(survey), &error));
}

static enum step step_of(const struct look *look, bool on_battery, const char *must_say)
{
	struct power power = {.on_battery = on_battery, .percent = 50};
	struct buf text = {0};
	enum step step = next_step(look, &power, false, &text);

	assert_non_null(strstr(buf_text(&text), must_say));
	buf_free(&text);
	return step;
}

static void test_drives(void **state)
{
	struct look look;

	(void)state;
	read_both(&look);
	assert_int_equal(look.n_drives, 3);
	assert_string_equal(look.drives[0].model, "Spinner");
	assert_string_equal(look.drives[0].faults, "No fault reported.");
	assert_string_equal(look.drives[0].problem, "");
	assert_false(look.drives[0].removable);
	assert_true(look.drives[1].removable); /* USB counts */
	assert_string_equal(look.drives[0].set, "");
	assert_true(look.drives[0].set_readable && look.drives[1].set_readable);
	assert_int_equal(look.drives[1].link_megabits, 480);
	assert_true(look.drives[2].stick);
	assert_int_equal(look.drives[0].n_volumes, 3);
	assert_true(look.drives[0].volumes[0].is_system);
	assert_true(look.drives[0].volumes[1].dirty);
	assert_string_equal(look.drives[0].volumes[1].letter, "C:"); /* from the survey */
	assert_true(look.drives[0].volumes[2].free == UINT64_C(80000000000));
	assert_true(look.drives[2].volumes[0].free == LOOK_FREE_UNKNOWN);
	look_free(&look);
}

static void test_systems(void **state)
{
	struct look look;

	(void)state;
	read_both(&look);
	assert_true(look.surveyed);
	assert_int_equal(look.n_systems, 1);
	assert_string_equal(look.systems[0].pc, "FERNHILL-PC");
	assert_int_equal(look.systems[0].n_persons, 1); /* not the service account */
	/* The profile and the pictures on D:, but neither the documents nor the roll twice. */
	assert_int_equal(look.systems[0].persons[0].files, 110);
	assert_int_equal(look.systems[0].persons[0].bytes, 1070);
	assert_int_equal(look.systems[0].shared_bytes, 7);
	assert_true(look.other_bytes == UINT64_C(10000000000)); /* in use on D: */
	assert_true(look_bytes(&look) == UINT64_C(10000001077));
	assert_string_equal(look.findings.items[0].sentence, "A loss.");
	look_free(&look);
}

/* A new list of drives forgets the old systems. */
static void test_looking_again(void **state)
{
	struct error error;
	struct look look;

	(void)state;
	read_both(&look);
	assert_true(look_read_drives(&look, drives, strlen(drives), &error));
	assert_false(look.surveyed);
	assert_int_equal(look.n_systems, 0);
	assert_false(look.drives[0].is_old);
	look_free(&look);
}

static void test_documents_of_any_kind(void **state)
{
	static const char *const broken[] = {
	    "", "{", "[]", "null", "{\"drives\":[{\"path\":", "\xFF"};
	static const char *const odd[] = {"{}", "{\"drives\":7}", "{\"drives\":[7,null,[],{}]}",
	    "{\"drives\":[{\"path\":{},\"size\":-5,\"volumes\":{},\"findings\":[3,{}]}]}",
	    "{\"drives\":[{\"size\":99999999999999999999999,\"volumes\":[{\"size\":1e300,"
	    "\"number\":-1}]}]}",
	    "{\"drives\":[{\"path\":\"\\u0000x\",\"faults\":[],\"link\":\"\",\"set\":[],"
	    "\"volumes\":[8]}],"
	    "\"findings\":{}}"};
	struct error error;
	struct look look;

	(void)state;
	look_init(&look);
	for (size_t i = 0; i < sizeof(broken) / sizeof(broken[0]); i++) {
		assert_false(look_read_drives(&look, broken[i], strlen(broken[i]), &error));
		assert_false(look_read_survey(&look, broken[i], strlen(broken[i]), &error));
		assert_int_equal(look.n_drives, 0);
	}
	for (size_t i = 0; i < sizeof(odd) / sizeof(odd[0]); i++) {
		assert_true(look_read_drives(&look, odd[i], strlen(odd[i]), &error));
		assert_true(look_read_survey(&look, odd[i], strlen(odd[i]), &error));
	}
	look_free(&look);
}

/* Every beginning of the documents is refused, and nothing else happens. */
static void test_documents_cut_off(void **state)
{
	struct error error;
	struct look look;

	(void)state;
	read_both(&look);
	for (size_t length = 0; length + 1 < sizeof(survey) - 1; length += 7)
		assert_false(look_read_survey(&look, survey, length, &error));
	assert_false(look.surveyed);
	look_free(&look);
}

static void test_destinations(void **state)
{
	struct destinations found;
	struct look look;

	(void)state;
	read_both(&look);
	destinations_find(&look, &found);
	assert_int_equal(found.count, 1);
	assert_string_equal(found.items[0].volume->label, "NEWHOME");
	assert_true(destinations_have_room(&found, UINT64_C(62000000000)));
	assert_false(destinations_have_room(&found, UINT64_C(62000000001)));
	assert_non_null(strstr(destination_refusal(&look.drives[0]), "old PC"));
	assert_non_null(destination_refusal(&look.drives[2])); /* the stick */
	/* Neither a drive that fails nor one that is locked, belongs to a set, or cannot be read.
	 */
	look.drives[1].verdict = "failing";
	assert_non_null(destination_refusal(&look.drives[1]));
	look.drives[1].verdict = "locked";
	assert_non_null(destination_refusal(&look.drives[1]));
	look.drives[1].verdict = "wearing";
	assert_null(destination_refusal(&look.drives[1]));
	look.drives[1].set = "a mirrored set of 2 drives";
	assert_non_null(destination_refusal(&look.drives[1]));
	look.drives[1].set = "";
	look.drives[1].readable = false;
	destinations_find(&look, &found);
	assert_int_equal(found.count, 0);
	look_free(&look);
}

/* A letter of the old system makes a built-in drive one of the old PC, not one that was plugged in.
 */
static void test_drives_with_letters(void **state)
{
	static const char format[] =
	    "{\"volumes\":[{\"name\":\"E:\",\"drive\":\"/dev/sdb\",\"partition\":1,\"kind\":\"%s\","
	    "\"system\":%s}],\"systems\":[{\"volume\":\"C:\",\"letters\":[{\"letter\":\"E:\","
	    "\"attached\":true,\"volume\":\"E:\"}]}]}";
	struct error error;
	struct look look;
	char text[400];

	(void)state;
	read_both(&look);
	snprintf(text, sizeof(text), format, "data", "false");
	assert_true(look_read_survey(&look, text, strlen(text), &error));
	assert_false(look.drives[1].is_old);
	look.drives[1].removable = false;
	assert_true(look_read_survey(&look, text, strlen(text), &error));
	assert_true(look.drives[1].is_old);
	/* Start files of a system make any drive one that is not written to; a reserved part does
	 * not. */
	look.drives[1].removable = true;
	snprintf(text, sizeof(text), format, "EFI system", "true");
	assert_true(look_read_survey(&look, text, strlen(text), &error));
	assert_true(look.drives[1].is_old);
	snprintf(text, sizeof(text), format, "reserved", "true");
	assert_true(look_read_survey(&look, text, strlen(text), &error));
	assert_false(look.drives[1].is_old);
	look_free(&look);
}

static void test_next_step(void **state)
{
	struct error error;
	struct look look;

	(void)state;
	look_init(&look);
	assert_int_equal(step_of(&look, false, "Press h"), STEP_NO_DRIVES);
	assert_true(look_read_drives(&look, drives, strlen(drives), &error));
	assert_int_equal(step_of(&look, false, "Press o"), STEP_READ_TABLES);
	assert_true(look_read_survey(&look, survey, strlen(survey), &error));
	assert_int_equal(step_of(&look, false, "Press j"), STEP_TAKE);
	assert_int_equal(step_of(&look, true, "Plug in the mains"), STEP_MAINS);
	look.drives[1].volumes[0].free = 1000;
	assert_int_equal(
	    step_of(&look, false, "a larger drive with at least 11 GB free"), STEP_PLUG_IN);
	look.n_drives = 1;
	assert_int_equal(
	    step_of(&look, false, "a second drive with at least 11 GB free"), STEP_PLUG_IN);
	look.n_drives = 3;
	/* Failing goes before everything else, and nobody is told to read on. */
	look.drives[0].verdict = "failing";
	assert_int_equal(step_of(&look, true, "switch the PC off now"), STEP_FAILING);
	look_free(&look);
}

static void test_next_step_with_nothing_to_take(void **state)
{
	static const char locked[] =
	    "{\"drives\":[{\"path\":\"/dev/sda\",\"readable\":true,\"volumes\":[{\"number\":1,"
	    "\"filesystem\":\"encrypted\",\"device\":\"/dev/sda1\"}]}]}";
	struct error error;
	struct look look;

	(void)state;
	look_init(&look);
	assert_true(look_read_drives(&look, locked, strlen(locked), &error));
	assert_true(look_read_survey(&look, "{}", 2, &error));
	assert_int_equal(step_of(&look, false, "It is not broken"), STEP_LOCKED);
	look.drives[0].volumes[0].filesystem = "";
	assert_int_equal(step_of(&look, false, "nothing on these drives"), STEP_NOTHING);
	look.drives[0].set = "a striped set of 2 drives";
	look.drives[0].set_readable = false;
	assert_int_equal(step_of(&look, false, "Keep the drives together"), STEP_SET);
	look_free(&look);
}

static void test_forecast(void **state)
{
	static const char text[] =
	    "{\"dry_run\":true,\"groups\":[{\"files\":3,\"bytes\":100},{\"files\":1,\"bytes\":23}],"
	    "\"decisions\":[{\"reason\":\"passwords\",\"sentence\":\"Only on "
	    "request.\",\"files\":3,"
	    "\"bytes\":17},{\"reason\":\"offered\",\"sentence\":\"Offered.\",\"files\":1,\"bytes\":"
	    "5}],"
	    "\"items\":["
	    "{\"volume\":\"C:\",\"path\":\"\\\\Users\\\\mara\\\\Login "
	    "Data\",\"kind\":\"file\",\"size\":9,"
	    "\"reason\":\"passwords\",\"person\":\"mara\"},"
	    "{\"volume\":\"C:\",\"path\":\"\\\\Users\\\\mara\\\\Store\",\"kind\":\"folder\","
	    "\"reason\":\"passwords\",\"person\":\"mara\"},"
	    "{\"volume\":\"C:\",\"path\":\"\\\\Users\\\\hut\\\\Login "
	    "Data\",\"kind\":\"file\",\"size\":8,"
	    "\"reason\":\"passwords\",\"person\":\"hut\"},"
	    "{\"volume\":\"D:\",\"path\":\"\\\\VMs\\\\a.vdi\",\"kind\":\"file\",\"size\":5,"
	    "\"reason\":\"offered\"}]}";
	const char *chosen[] = {"mara"};
	const struct order_list everybody = {0}, one = {chosen, 1};
	struct forecast forecast;
	struct error error;

	(void)state;
	assert_true(forecast_read(&forecast, text, strlen(text), &everybody, &error));
	assert_int_equal(forecast.files, 4);
	assert_int_equal(forecast.bytes, 123);
	assert_int_equal(forecast.n_decisions, 2);
	assert_int_equal(forecast.decisions[0].paths.count, 2);
	assert_int_equal(forecast.decisions[0].bytes, 17);
	assert_string_equal(forecast.decisions[0].paths.items[0], "C:\\Users\\mara\\Login Data");
	assert_string_equal(forecast.decisions[1].paths.items[0], "D:\\VMs\\a.vdi");
	assert_true(forecast_room(4, 123) > 123);
	forecast_free(&forecast);
	/* Nobody decides about somebody else's passwords. */
	assert_true(forecast_read(&forecast, text, strlen(text), &one, &error));
	assert_int_equal(forecast.n_decisions, 1);
	assert_int_equal(forecast.decisions[0].paths.count, 1);
	assert_string_equal(forecast.decisions[0].paths.items[0], "C:\\Users\\mara\\Login Data");
	forecast_free(&forecast);
	assert_false(forecast_read(&forecast, text, 40, &one, &error));
	forecast_free(&forecast);
}

/* Whatever the order in which they come, the largest are shown; none is lost. */
static void test_forecast_largest_first(void **state)
{
	static const unsigned orders[][6] = {
	    {1, 2, 3, 4, 5, 6}, {6, 5, 4, 3, 2, 1}, {3, 6, 1, 5, 2, 4}, {2, 2, 6, 5, 4, 2}};
	const struct order_list everybody = {0};
	struct error error;

	(void)state;
	for (size_t o = 0; o < sizeof(orders) / sizeof(orders[0]); o++) {
		struct buf text = {0};
		struct forecast forecast;
		unsigned sum = 0, found = 0;

		buf_add_text(&text, "{\"decisions\":[{\"reason\":\"offered\",\"sentence\":\"x\"}],"
				    "\"items\":[");
		for (size_t i = 0; i < 6; i++) {
			sum += orders[o][i];
			buf_printf(&text,
			    "%s{\"volume\":\"D:\",\"path\":\"%u\",\"kind\":\"file\","
			    "\"reason\":\"offered\",\"size\":%u}",
			    i > 0 ? "," : "", orders[o][i], orders[o][i]);
		}
		buf_add_text(&text, "]}");
		assert_true(forecast_read(&forecast, buf_text(&text), text.length, &everybody, &error));
		assert_int_equal(forecast.decisions[0].paths.count, 6);
		for (size_t i = 0; i < 6; i++)
			found += (unsigned)atoi(forecast.decisions[0].paths.items[i] + 2);
		assert_int_equal(found, sum);
		assert_string_equal(forecast.decisions[0].paths.items[0], "D:6");
		assert_string_equal(forecast.decisions[0].paths.items[1], "D:5");
		assert_string_equal(forecast.decisions[0].paths.items[2], "D:4");
		forecast_free(&forecast);
		buf_free(&text);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_drives),
	    cmocka_unit_test(test_systems),
	    cmocka_unit_test(test_looking_again),
	    cmocka_unit_test(test_documents_of_any_kind),
	    cmocka_unit_test(test_documents_cut_off),
	    cmocka_unit_test(test_destinations),
	    cmocka_unit_test(test_drives_with_letters),
	    cmocka_unit_test(test_next_step),
	    cmocka_unit_test(test_next_step_with_nothing_to_take),
	    cmocka_unit_test(test_forecast),
	    cmocka_unit_test(test_forecast_largest_first),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
