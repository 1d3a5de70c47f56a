/*
 * What drives say of themselves: smartctl's JSON and the verdict.
 *
 * The documents are our own, with the keys and types that smartctl 7 writes (its manual page,
 * option
 * --json; output of the program itself). Bits of the security word: ATA Command Set 2, IDENTIFY
 * DEVICE, word 128; bits of the critical warning: NVM Express Base Specification, SMART / Health
 * Information log (both from memory). What counts as wearing or failing: the header's own rules.
 */
#include "unit.h"

#include "base/buf.h"
#include "base/json.h"
#include "disk/faults.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define HEAD "{\"json_format_version\":[1,0],\"smartctl\":{\"version\":[7,3],\"exit_status\":0},"
#define ATA                                                                                        \
	HEAD "\"device\":{\"name\":\"/dev/sda\",\"type\":\"sat\",\"protocol\":\"ATA\"},"           \
	     "\"power_on_time\":{\"hours\":21345},\"temperature\":{\"current\":38},"
#define PASSED "\"smart_status\":{\"passed\":true}"
#define FAILED "\"smart_status\":{\"passed\":false}"

static struct faults read_text(const char *text)
{
	struct faults faults;

	faults_read(text, strlen(text), &faults);
	return faults;
}

/* A sound ATA drive's answer with this one attribute. */
static struct faults read_attribute(
    unsigned id, const char *name, const char *failed, bool foretells, const char *raw)
{
	char text[1500];

	snprintf(text, sizeof(text),
	    ATA PASSED
	    ",\"ata_smart_attributes\":{\"revision\":10,\"table\":[{\"id\":%u,\"name\":\"%s\","
	    "\"value\":100,\"worst\":100,\"thresh\":10,\"when_failed\":\"%s\",\"flags\":{\"value\":"
	    "51,"
	    "\"prefailure\":%s},\"raw\":%s}]}}",
	    id, name, failed, foretells ? "true" : "false", raw);
	return read_text(text);
}

static void check_value(const struct faults *faults, enum figure figure, uint64_t value)
{
	assert_true(faults->known[figure]);
	assert_int_equal(faults->values[figure], value);
}

static void test_sound_ata(void **state)
{
	struct faults faults =
	    read_attribute(5, "Reallocated_Sector_Ct", "", true, "{\"value\":0,\"string\":\"0\"}");

	(void)state;
	assert_int_equal(faults.verdict, FAULTS_NONE_REPORTED);
	assert_string_equal(faults.sentence, "No fault reported.");
	assert_string_equal(faults.why_unknown, "");
	check_value(&faults, FIGURE_SAYS_HEALTHY, 1);
	check_value(&faults, FIGURE_REPLACED, 0);
	check_value(&faults, FIGURE_HOURS, 21345);
	check_value(&faults, FIGURE_TEMPERATURE, 38);
	assert_false(faults.known[FIGURE_PENDING]);
}

static void test_wearing_ata(void **state)
{
	struct faults faults = read_attribute(
	    5, "Reallocated_Sector_Ct", "", true, "{\"value\":12,\"string\":\"12\"}");

	(void)state;
	assert_int_equal(faults.verdict, FAULTS_WEARING);
	assert_string_equal(
	    faults.sentence, "Wearing: 12 sectors replaced (after 21,345 hours of use).");
	/* Other things of the maker's in the upper bytes: its text begins with the count. */
	faults = read_attribute(197, "Current_Pending_Sector", "", false,
	    "{\"value\":25769803777,\"string\":\"1 (0 6)\"}");
	check_value(&faults, FIGURE_PENDING, 1);
	assert_string_equal(
	    faults.sentence, "Wearing: 1 sector that cannot be read (after 21,345 hours of use).");
	faults = read_attribute(198, "Offline_Uncorrectable", "", false, "{\"value\":3}");
	check_value(&faults, FIGURE_UNREADABLE, 3);
	assert_int_equal(faults.verdict, FAULTS_WEARING);
	faults = read_attribute(187, "Reported_Uncorrect", "", false, "{\"value\":2}");
	check_value(&faults, FIGURE_UNCORRECTED, 2);
	assert_int_equal(faults.verdict, FAULTS_WEARING);
	/* With this maker the number means something else. */
	faults = read_attribute(197, "Total_Erase_Count", "", false, "{\"value\":90000}");
	assert_false(faults.known[FIGURE_PENDING]);
	assert_int_equal(faults.verdict, FAULTS_NONE_REPORTED);
	/* A temperature that was too high once is no sign of wear; a value that foretells failure
	 * is. */
	faults = read_attribute(190, "Airflow_Temperature_Cel", "past", false, "{\"value\":45}");
	assert_int_equal(faults.verdict, FAULTS_NONE_REPORTED);
	faults = read_attribute(10, "Spin_Retry_Count", "past", true, "{\"value\":0}");
	assert_int_equal(faults.verdict, FAULTS_WEARING);
	faults = read_attribute(202, "Percent_Lifetime_Remain", "now", false, "{\"value\":100}");
	assert_int_equal(faults.verdict, FAULTS_WEARING);
}

static void test_failing_ata(void **state)
{
	struct faults faults = read_text(ATA FAILED "}");

	(void)state;
	assert_int_equal(faults.verdict, FAULTS_FAILING);
	assert_string_equal(faults.sentence, "Failing: its own check says that it may fail at any "
					     "time (after 21,345 hours of use).");
	faults = read_attribute(5, "Reallocated_Sector_Ct", "now", true, "{\"value\":4000}");
	assert_int_equal(faults.verdict, FAULTS_FAILING);
	assert_non_null(strstr(faults.sentence, "1 of its values is below the maker's limit"));
	assert_non_null(strstr(faults.sentence, "4,000 sectors replaced"));
	faults = read_attribute(197, "Current_Pending_Sector", "", false, "{\"value\":100}");
	assert_int_equal(faults.verdict, FAULTS_FAILING);
	faults = read_attribute(197, "Current_Pending_Sector", "", false, "{\"value\":99}");
	assert_int_equal(faults.verdict, FAULTS_WEARING);
}

static void test_cable(void **state)
{
	struct faults faults =
	    read_attribute(199, "UDMA_CRC_Error_Count", "", false, "{\"value\":1214}");
	struct findings findings;

	(void)state;
	assert_int_equal(faults.verdict, FAULTS_NONE_REPORTED);
	assert_string_equal(faults.sentence, "No fault reported, but 1,214 transfers through its "
					     "cable or adapter went wrong so far.");
	findings_init(&findings);
	faults_find(&faults, "/dev/sda", &findings);
	assert_int_equal(findings.count, 1);
	assert_string_equal(findings.items[0].code, "transfer-errors");
	assert_int_equal(findings.items[0].weight, WEIGHT_NOTE);
	findings_free(&findings);
	/* A handful over the years is ordinary. */
	faults = read_attribute(199, "UDMA_CRC_Error_Count", "", false, "{\"value\":9}");
	assert_string_equal(faults.sentence, "No fault reported.");
}

static void test_logs(void **state)
{
	struct faults faults = read_text(
	    ATA PASSED ",\"ata_smart_error_log\":{\"summary\":{\"revision\":1,\"count\":7}},"
		       "\"ata_smart_self_test_log\":{\"standard\":{\"revision\":1,\"count\":3,"
		       "\"error_count_total\":2,\"error_count_outdated\":1}}}");

	(void)state;
	check_value(&faults, FIGURE_LOGGED, 7);
	check_value(&faults, FIGURE_SELF_TESTS, 1);
	assert_int_equal(faults.verdict, FAULTS_WEARING);
	assert_non_null(strstr(faults.sentence, "1 self-test failed"));
	/* Harmless commands are logged too: for themselves they mean nothing. */
	faults = read_text(
	    ATA PASSED ",\"ata_smart_error_log\":{\"summary\":{\"revision\":1,\"count\":7}}}");
	assert_int_equal(faults.verdict, FAULTS_NONE_REPORTED);
}

static void test_locked(void **state)
{
	/* Supported, enabled, locked; its own check has failed as well, which is not the point. */
	struct faults faults = read_text(ATA FAILED ",\"ata_security\":{\"state\":39,\"string\":"
						    "\"x\",\"enabled\":true}}");
	struct findings findings;

	(void)state;
	assert_int_equal(faults.verdict, FAULTS_LOCKED);
	findings_init(&findings);
	faults_find(&faults, "/dev/sda", &findings);
	assert_int_equal(findings.count, 1);
	assert_string_equal(findings.items[0].code, "drive-locked");
	findings_free(&findings);
	/* Newer versions of smartctl say it in words, too. */
	faults = read_text(ATA PASSED ",\"ata_security\":{\"state\":7,\"locked\":true}}");
	assert_int_equal(faults.verdict, FAULTS_LOCKED);
	/* A locked drive that says nothing of its health. */
	faults = read_text(HEAD "\"ata_security\":{\"state\":7}}");
	assert_int_equal(faults.verdict, FAULTS_LOCKED);
	/* Password set, and unlocked (frozen); no password. */
	faults = read_text(ATA PASSED ",\"ata_security\":{\"state\":43,\"locked\":false}}");
	assert_int_equal(faults.verdict, FAULTS_NONE_REPORTED);
	faults = read_text(ATA PASSED ",\"ata_security\":{\"state\":41}}");
	assert_int_equal(faults.verdict, FAULTS_NONE_REPORTED);
}

static struct faults read_nvme(unsigned warning, unsigned used, unsigned spare, const char *media)
{
	char text[1000];

	snprintf(text, sizeof(text),
	    HEAD
	    "\"device\":{\"type\":\"nvme\",\"protocol\":\"NVMe\"},\"smart_status\":{\"passed\":%s,"
	    "\"nvme\":{\"value\":%u}},\"nvme_smart_health_information_log\":{"
	    "\"critical_warning\":%u,\"temperature\":41,\"available_spare\":%u,"
	    "\"available_spare_threshold\":10,\"percentage_used\":%u,"
	    "\"data_units_read\":340282366920938463463374607431768211455,"
	    "\"media_errors\":%s,\"num_err_log_entries\":55},\"temperature\":{\"current\":41},"
	    "\"power_on_time\":{\"hours\":1}}",
	    warning == 0 ? "true" : "false", warning, warning, spare, used, media);
	return read_text(text);
}

static void test_nvme(void **state)
{
	struct faults faults = read_nvme(0, 7, 100, "0");

	(void)state;
	assert_int_equal(faults.verdict, FAULTS_NONE_REPORTED);
	check_value(&faults, FIGURE_LIFE_USED, 7);
	check_value(&faults, FIGURE_SPARE, 100);
	check_value(&faults, FIGURE_SPARE_THRESHOLD, 10);
	check_value(&faults, FIGURE_WARNING, 0);
	faults = read_nvme(0, 104, 100, "0");
	assert_int_equal(faults.verdict, FAULTS_WEARING);
	assert_string_equal(faults.sentence,
	    "Wearing: 104 percent of its designed life used (after 1 hour of use).");
	assert_int_equal(read_nvme(0, 7, 100, "3").verdict, FAULTS_WEARING);
	assert_int_equal(read_nvme(4, 7, 100, "0").verdict, FAULTS_FAILING);
	assert_int_equal(read_nvme(8, 7, 100, "0").verdict, FAULTS_FAILING);
	faults = read_nvme(1, 7, 4, "0");
	assert_int_equal(faults.verdict, FAULTS_FAILING);
	assert_non_null(strstr(faults.sentence, "its spare room is down to 4 percent"));
	assert_int_equal(read_nvme(16, 7, 100, "0").verdict, FAULTS_WEARING);
	/* Too hot is no fault, although the drive calls its check failed. */
	faults = read_nvme(2, 7, 100, "0");
	assert_int_equal(faults.verdict, FAULTS_NONE_REPORTED);
	assert_non_null(strstr(faults.sentence, "41 degrees"));
	assert_int_equal(read_nvme(2 | 4, 7, 100, "0").verdict, FAULTS_FAILING);
}

static void test_scsi(void **state)
{
	struct faults faults = read_text(HEAD PASSED ",\"scsi_grown_defect_list\":0,"
						     "\"scsi_error_counter_log\":{\"read\":{"
						     "\"total_uncorrected_errors\":0}}}");

	(void)state;
	assert_int_equal(faults.verdict, FAULTS_NONE_REPORTED);
	faults = read_text(HEAD PASSED ",\"scsi_grown_defect_list\":3,\"scsi_error_counter_log\":"
				       "{\"read\":{\"total_uncorrected_errors\":1}}}");
	assert_int_equal(faults.verdict, FAULTS_WEARING);
	assert_string_equal(faults.sentence,
	    "Wearing: 3 defects since it was made, 1 error that could not be corrected.");
	faults = read_text(
	    HEAD "\"smart_status\":{\"passed\":false,\"scsi\":{\"asc\":93,\"ascq\":16}}}");
	assert_int_equal(faults.verdict, FAULTS_FAILING);
}

static void check_unknown(const char *text, const char *word)
{
	struct faults faults = read_text(text);

	assert_int_equal(faults.verdict, FAULTS_UNKNOWN);
	if (strstr(faults.why_unknown, word) == NULL)
		fail_msg("'%s' is not in: %s", word, faults.why_unknown);
	assert_true(faults.sentence[0] != '\0');
}

static void test_unknown(void **state)
{
	(void)state;
	check_unknown("{\"smartctl\":{\"messages\":[{\"string\":\"Smartctl open device: /dev/sda "
		      "failed: Permission denied\",\"severity\":\"error\"}],\"exit_status\":2}}",
	    "root");
	check_unknown("{\"smartctl\":{\"messages\":[{\"string\":\"/dev/sdb: Unknown USB bridge "
		      "[0x1234:0x5678 (0x001)]\",\"severity\":\"error\"}],\"exit_status\":1}}",
	    "USB adapter");
	check_unknown(HEAD "\"smart_support\":{\"available\":false}}", "does not watch");
	check_unknown(
	    HEAD "\"smart_support\":{\"available\":true,\"enabled\":false}}", "switched off");
	check_unknown("{\"smartctl\":{\"exit_status\":2}}", "cannot be asked");
	/* How long it ran says nothing of faults. */
	check_unknown(HEAD "\"power_on_time\":{\"hours\":5}}", "said nothing");
	check_unknown("{}", "said nothing");
}

/* Values of wrong types and out of range count as absent. */
static void test_hostile(void **state)
{
	static const char *const none[] = {"", "{", "[]", "null", "\"x\"", "7",
	    "{\"smart_status\":[true]}", "{\"smart_status\":{\"passed\":\"yes\"}}",
	    "{\"smart_status\":{\"passed\":1}}", "{\"smart_status\":true}",
	    "{\"ata_smart_attributes\":{\"table\":{}}}",
	    "{\"ata_smart_attributes\":{\"table\":[]}}", "{\"ata_security\":{\"state\":1e300}}",
	    "{\"ata_security\":{\"state\":-1}}", "{\"ata_security\":{\"state\":65543}}",
	    "{\"scsi_grown_defect_list\":-4}", "{\"scsi_grown_defect_list\":4.5}",
	    "{\"scsi_grown_defect_list\":1e30}", "{\"smartctl\":{\"messages\":{\"string\":1}}}",
	    "{\"smartctl\":{\"messages\":[1,null,{\"string\":[]}]}}",
	    "{\"nvme_smart_health_information_log\":{\"percentage_used\":256}}"};
	char *deep = malloc(200001);
	struct faults faults;

	(void)state;
	for (size_t i = 0; i < sizeof(none) / sizeof(none[0]); i++)
		assert_int_equal(read_text(none[i]).verdict, FAULTS_UNKNOWN);
	assert_non_null(deep);
	memset(deep, '[', 200000);
	deep[200000] = '\0';
	assert_int_equal(read_text(deep).verdict, FAULTS_UNKNOWN);
	free(deep);
	faults = read_attribute(5, "Reallocated_Sector_Ct", "", true,
	    "{\"value\":7,\"string\":\"99999999999999999999999\"}");
	assert_false(faults.known[FIGURE_REPLACED]);
	faults = read_attribute(5, "Reallocated_Sector_Ct", "", true, "[7]");
	assert_false(faults.known[FIGURE_REPLACED]);
	faults = read_attribute(5, "Reallocated_Sector_Ct", "", true, "{\"string\":\"12h+3m\"}");
	assert_false(faults.known[FIGURE_REPLACED]);
	/* More outdated errors than errors. */
	faults = read_text(ATA PASSED ",\"ata_smart_self_test_log\":{\"standard\":{"
				      "\"error_count_total\":1,\"error_count_outdated\":5}}}");
	check_value(&faults, FIGURE_SELF_TESTS, 1);
}

/* Bytes changed at random (always the same ones): any verdict, but no damage; for the sanitizers.
 */
static void test_mangled(void **state)
{
	static const char sound[] =
	    ATA PASSED ",\"ata_smart_attributes\":{\"table\":[{\"id\":5,\"name\":\"Realloc\","
		       "\"when_failed\":\"\",\"flags\":{\"prefailure\":true},\"raw\":{\"value\":1,"
		       "\"string\":\"1 (2)\"}}]},\"ata_security\":{\"state\":1}}";
	char text[sizeof(sound)];
	struct faults faults;
	uint32_t random = 12345;

	(void)state;
	for (int i = 0; i < 20000; i++) {
		memcpy(text, sound, sizeof(sound));
		for (int k = 0; k <= i % 3; k++) {
			random = random * 1664525 + 1013904223;
			text[(random >> 8) % (sizeof(sound) - 1)] = (char)(random >> 3);
		}
		faults_read(text, sizeof(sound) - 1, &faults);
		assert_non_null(faults_verdict_name(faults.verdict));
		assert_true(faults.sentence[0] != '\0');
	}
}

/* Every figure has a name of its own, and the JSON can be read by others (jansson). */
static void test_json(void **state)
{
	struct faults faults = read_attribute(
	    5, "Reallocated_Sector_Ct", "", true, "{\"value\":12,\"string\":\"12\"}");
	struct buf buf = {0};
	struct json json;
	json_t *document, *figures;
	bool found = false;

	(void)state;
	for (unsigned i = 0; i < FIGURE_COUNT; i++) {
		assert_non_null(figure_name((enum figure)i));
		for (unsigned k = 0; k < i; k++)
			assert_string_not_equal(
			    figure_name((enum figure)i), figure_name((enum figure)k));
	}
	json_start(&json, &buf, false);
	faults_to_json(&faults, &json);
	document = json_loads(buf_text(&buf), 0, NULL);
	assert_string_equal(json_string_value(json_object_get(document, "verdict")), "wearing");
	assert_string_equal(
	    json_string_value(json_object_get(document, "sentence")), faults.sentence);
	assert_null(json_object_get(document, "why_unknown"));
	figures = json_object_get(document, "figures");
	for (size_t i = 0; i < json_array_size(figures); i++) {
		json_t *figure = json_array_get(figures, i);

		if (strcmp(json_string_value(json_object_get(figure, "name")),
			"replaced-sectors") == 0)
			found = json_integer_value(json_object_get(figure, "value")) == 12;
	}
	assert_true(found);
	json_decref(document);
	buf_clear(&buf);
	json_start(&json, &buf, false);
	faults_to_json(&(struct faults){0}, &json);
	assert_string_equal(buf_text(&buf), "null");
	buf_free(&buf);
}

static void test_looks_sealed(void **state)
{
	struct drive usb = {.bus = "USB"}, ata = {.bus = "ATA"};
	struct faults faults = read_text(ATA PASSED "}");

	(void)state;
	faults_add_sealed(&faults, &ata, SEALED_NOT);
	assert_int_equal(faults.verdict, FAULTS_NONE_REPORTED);
	faults_add_sealed(&faults, &ata, SEALED_REFUSES);
	assert_int_equal(faults.verdict, FAULTS_LOCKED);
	/* A drive that says it is failing is failing, whatever it looks like. */
	faults = read_text(ATA FAILED "}");
	faults_add_sealed(&faults, &ata, SEALED_REFUSES);
	assert_int_equal(faults.verdict, FAULTS_FAILING);
	/* One that says nothing: only USB enclosures are known for it. */
	faults = read_text("{}");
	faults_add_sealed(&faults, &ata, SEALED_REFUSES);
	assert_int_equal(faults.verdict, FAULTS_UNKNOWN);
	faults_add_sealed(&faults, &usb, SEALED_RANDOM);
	assert_int_equal(faults.verdict, FAULTS_LOCKED);
	assert_string_equal(faults.why_unknown, "");
	/* An image is never asked. */
	faults = (struct faults){0};
	faults_add_sealed(&faults, &ata, SEALED_RANDOM);
	assert_int_equal(faults.verdict, FAULTS_NOT_ASKED);
}

/* --- asking --- */

struct program {
	char folder[64], path[80];
};

/* A program that stands for smartctl: a shell script that gets its arguments. */
static struct program make_program(const char *script)
{
	struct program program = {.folder = "/tmp/coldlift-unit-smart-XXXXXX"};
	FILE *file;

	assert_non_null(mkdtemp(program.folder));
	snprintf(program.path, sizeof(program.path), "%s/smartctl", program.folder);
	file = fopen(program.path, "w");
	assert_non_null(file);
	fprintf(file, "#!/bin/sh\n%s\n", script);
	fclose(file);
	assert_int_equal(chmod(program.path, 0700), 0);
	return program;
}

static void drop_program(const struct program *program)
{
	unlink(program->path);
	rmdir(program->folder);
}

#define SAY_SOUND "echo '" ATA PASSED "}'"

/* Three drives and an image: one sound, one failing, one that never answers. */
static void test_ask(void **state)
{
	struct program program = make_program("for last; do :; done\n"
					      "case $last in\n"
					      "/dev/hangs) exec sleep 10000 ;;\n"
					      "/dev/fails) echo '" ATA FAILED "}'; exit 8 ;;\n"
					      "/dev/sound) " SAY_SOUND " ;;\n"
					      "/dev/floods) exec cat /dev/zero ;;\n"
					      "/dev/dies) kill -9 $$ ;;\n"
					      "esac");
	struct faults_question questions[] = {{.device = "/dev/hangs", .is_usb = true},
	    {.device = "/dev/fails"}, {.device = NULL}, {.device = "/dev/sound"},
	    {.device = "/dev/floods"}, {.device = "/dev/dies"}, {.device = "/dev/silent"}};

	(void)state;
	faults_ask(program.path, questions, 7);
	assert_int_equal(questions[0].answer.verdict, FAULTS_UNKNOWN);
	assert_non_null(strstr(questions[0].answer.why_unknown, "in time"));
	assert_int_equal(questions[1].answer.verdict, FAULTS_FAILING);
	assert_int_equal(questions[2].answer.verdict, FAULTS_NOT_ASKED);
	assert_int_equal(questions[3].answer.verdict, FAULTS_NONE_REPORTED);
	for (size_t i = 4; i < 7; i++) {
		assert_int_equal(questions[i].answer.verdict, FAULTS_UNKNOWN);
		assert_non_null(strstr(questions[i].answer.why_unknown, "cannot be read"));
	}
	drop_program(&program);
}

/* A USB drive is asked a second time in another way; others are not. */
static void test_ask_usb(void **state)
{
	struct program program = make_program("case \"$*\" in\n"
					      "*'--device sat /dev/x'*) " SAY_SOUND " ;;\n"
					      "*) echo '{\"smartctl\":{\"exit_status\":1}}' ;;\n"
					      "esac");
	struct faults_question questions[] = {
	    {.device = "/dev/x", .is_usb = true}, {.device = "/dev/x"}};

	(void)state;
	faults_ask(program.path, questions, 2);
	assert_int_equal(questions[0].answer.verdict, FAULTS_NONE_REPORTED);
	assert_int_equal(questions[1].answer.verdict, FAULTS_UNKNOWN);
	drop_program(&program);
}

static void test_no_smartctl(void **state)
{
	struct faults_question question = {.device = "/dev/x", .is_usb = true};

	(void)state;
	faults_ask("coldlift-no-such-smartctl", &question, 1);
	assert_int_equal(question.answer.verdict, FAULTS_UNKNOWN);
	assert_non_null(strstr(question.answer.why_unknown, "smartmontools"));
}

static void test_question(void **state)
{
	struct arena arena = {0};
	struct drive image = {.path = "old.img", .bus = "image file", .is_image = true};
	struct drive drive = {.path = "/dev/sdz1", .bus = "USB", .number = 1};
	struct faults_question question;

	(void)state;
	assert_true(faults_question_make(&arena, "/nowhere", &image, &question));
	assert_null(question.device);
	assert_true(faults_question_make(&arena, "/nowhere", &drive, &question));
	assert_string_equal(question.device, "/dev/sdz1");
	assert_true(question.is_usb);
	arena_free(&arena);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_sound_ata),
	    cmocka_unit_test(test_wearing_ata),
	    cmocka_unit_test(test_failing_ata),
	    cmocka_unit_test(test_cable),
	    cmocka_unit_test(test_logs),
	    cmocka_unit_test(test_locked),
	    cmocka_unit_test(test_nvme),
	    cmocka_unit_test(test_scsi),
	    cmocka_unit_test(test_unknown),
	    cmocka_unit_test(test_hostile),
	    cmocka_unit_test(test_mangled),
	    cmocka_unit_test(test_json),
	    cmocka_unit_test(test_looks_sealed),
	    cmocka_unit_test(test_ask),
	    cmocka_unit_test(test_ask_usb),
	    cmocka_unit_test(test_no_smartctl),
	    cmocka_unit_test(test_question),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
