/*
 * Tests of what is learned from real hives, against hivex as an independent reader.
 *
 * Sources: the open sample hives in the data folder (windows-hives; skipped where they are
 * missing); hivexget of Debian's libhivex-bin.
 */
#include "unit.h"

#include "fake_survey.h"
#include "base/bytes.h"
#include "base/utf.h"
#include "system/inner.h"
#include "system/ties.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct sample {
	char path[64]; /* unpacked copy, for hivexget */
	struct hive *hive;
};

/* Everything that a command prints. */
static void run(struct buf *out, const char *command)
{
	FILE *pipe = popen(command, "r");
	size_t length;

	assert_non_null(pipe);
	do {
		length = fread(buf_reserve(out, 65536), 1, 65536, pipe);
		buf_added(out, length);
	} while (length > 0);
	pclose(pipe);
}

static void sample_open(struct sample *sample, const char *name)
{
	const char *data = getenv("COLDLIFT_DATA");
	struct buf bytes = {0};
	char command[600];
	FILE *file;
	int number;

	snprintf(command, sizeof(command), "%s/hives/windows-hives/%s.xz",
	    data ? data : "../shared/data", name);
	if (access(command, R_OK) != 0 || access("/usr/bin/hivexget", X_OK) != 0)
		skip();
	snprintf(command, sizeof(command), "xz -dc '%s/hives/windows-hives/%s.xz'",
	    data ? data : "../shared/data", name);
	run(&bytes, command);
	sample->hive = hive_open(bytes.data, bytes.length, NULL, 0, NULL);
	assert_non_null(sample->hive);
	strcpy(sample->path, "/tmp/coldlift-unit-XXXXXX");
	number = mkstemp(sample->path);
	assert_true(number >= 0);
	file = fdopen(number, "wb");
	assert_int_equal(fwrite(bytes.data, 1, bytes.length, file), bytes.length);
	fclose(file);
	buf_free(&bytes);
}

static void sample_close(struct sample *sample)
{
	unlink(sample->path);
	hive_close(sample->hive);
}

/* What hivexget says of a value, without the line break behind text. */
static void reference(
    const struct sample *sample, struct buf *out, const char *key, const char *value)
{
	char command[600];

	buf_clear(out);
	snprintf(command, sizeof(command), "hivexget %s '%s' '%s'", sample->path, key, value);
	run(out, command);
}

static uint64_t reference_number(const struct sample *sample, const char *key, const char *value)
{
	struct buf out = {0};
	uint64_t number;

	/* Printed as a dword in decimal. */
	reference(sample, &out, key, value);
	number = strtoull(buf_text(&out), NULL, 0);
	buf_free(&out);
	return number;
}

static const char *without_break(struct buf *out)
{
	while (out->length > 0 && out->data[out->length - 1] == '\n')
		out->data[--out->length] = '\0';
	return buf_text(out);
}

/* --- SYSTEM --- */

#define SET "\\ControlSet001\\Control\\"

static void check_system(const char *name)
{
	struct sample sample;
	struct old_system system = {.letter = 'C', .product = "", .container = NODE_ROOT};
	struct learn learn = {.system = &system};
	struct buf out = {0};
	struct fake fake;

	sample_open(&sample, name);
	fake_start(&fake);
	fake_volume(&fake);
	learn.survey = &fake.survey;
	learn.config = sample.hive;
	learn_identity(&learn);
	learn_letters(&learn);
	reference(&sample, &out, SET "ComputerName\\ComputerName", "ComputerName");
	assert_string_equal(system.computer, without_break(&out));
	reference(&sample, &out, SET "TimeZoneInformation", "TimeZoneKeyName");
	assert_string_equal(system.zone_name, without_break(&out));
	assert_int_equal((uint32_t)system.bias,
	    (uint32_t)reference_number(&sample, SET "TimeZoneInformation", "Bias"));
	reference(&sample, &out, SET "Windows", "ShutdownTime");
	assert_int_equal(out.length, 8);
	assert_int_equal(system.last_shutdown, (int64_t)get_u64(out.data));
	assert_true(system.n_letters >= 3);
	for (size_t i = 0; i < system.n_letters; i++) {
		char value[32];
		struct device_id id;

		if (system.letters[i].letter == 'C')
			continue;
		snprintf(value, sizeof(value), "\\DosDevices\\%c:", system.letters[i].letter);
		reference(&sample, &out, "\\MountedDevices", value);
		id = device_id_read(out.data, out.length, &fake.survey.arena);
		assert_string_equal(
		    system.letters[i].what, device_id_words(&id, &fake.survey.arena));
		assert_true(system.letters[i].removable);
	}
	buf_free(&out);
	fake_end(&fake);
	sample_close(&sample);
}

static void test_system(void **state)
{
	(void)state;
	check_system("SYSTEM");
}

static void test_system_with_guid(void **state)
{
	(void)state;
	check_system("SYSTEM_B");
}

/* --- NTUSER.DAT --- */

#define SHELL "\\Software\\Microsoft\\Windows\\CurrentVersion\\Explorer\\User Shell Folders"

static void check_places(const char *name)
{
	struct sample sample;
	struct old_system system = {.letter = 'C', .container = NODE_ROOT};
	struct person person = {
	    .account = "mara", .folder = "mara", .key = "mara", .path = "C:\\Users\\mara"};
	struct learn learn = {.system = &system};
	struct environment environment = {0};
	struct buf out = {0}, path = {0};
	struct fake fake;
	size_t n_checked = 0;

	sample_open(&sample, name);
	fake_start(&fake);
	person.profile.volume = fake_volume(&fake);
	person.profile.node = fake_folder(&fake, 0, "Users\\mara");
	fake_folder(&fake, 0, "Users\\mara\\Documents");
	learn.survey = &fake.survey;
	assert_true(environment_set(&environment, &fake.survey.arena, "USERPROFILE", person.path));
	learn_places(&learn, &person, sample.hive, &environment);
	assert_int_equal(person.n_places, n_place_roles);
	for (size_t i = 0; i < person.n_places; i++) {
		const struct place *place = &person.places[i];
		const char *text;

		if (strcmp(place->from, "User Shell Folders") != 0)
			continue;
		reference(&sample, &out, SHELL, place_roles[i].names[0]);
		text = without_break(&out);
		assert_string_equal(place->value, text);
		assert_memory_equal(text, "%USERPROFILE%", 13);
		buf_clear(&path);
		buf_printf(&path, "%s%s", person.path, text + 13);
		assert_string_equal(place->path, buf_text(&path));
		n_checked++;
	}
	/* Desktop, documents, downloads, pictures, music, videos, favorites, templates, startup. */
	assert_int_equal(n_checked, 9);
	assert_int_equal(person.places[1].status, PLACE_HERE);
	assert_int_equal(person.places[0].status, PLACE_MISSING);
	buf_free(&out);
	buf_free(&path);
	environment_free(&environment);
	fake_end(&fake);
	sample_close(&sample);
}

static void test_places(void **state)
{
	(void)state;
	check_places("NTUSER.DAT");
}

static void test_places_of_windows_7(void **state)
{
	(void)state;
	check_places("NTUSER-WIN7.DAT");
}

static void test_places_of_windows_10(void **state)
{
	(void)state;
	check_places("NTUSER_BAGMRU.DAT");
}

/* --- accounts --- */

/* One old system whose hive is the sample; `learn` lives as long as `fake`. */
static void start_learn(struct learn *learn, struct old_system *system, struct fake *fake)
{
	fake_start(fake);
	fake_volume(fake);
	*system = (struct old_system){.letter = 'C', .key = "PC", .container = NODE_ROOT};
	*learn = (struct learn){
	    .system = system, .survey = &fake->survey, .control = HIVE_NO_CELL};
	assert_non_null(ties_of(learn));
}

/* A PC of a domain, by its name and by the site that only members are told; and one of none. */
static void check_domain(const char *name, bool is_member)
{
	struct sample sample;
	struct old_system system;
	struct learn learn;
	struct buf out = {0};
	struct fake fake;

	sample_open(&sample, name);
	start_learn(&learn, &system, &fake);
	learn.config = sample.hive;
	learn.control = current_control_set(sample.hive);
	learn_managed(&learn);
	reference(&sample, &out, "\\ControlSet001\\Services\\Tcpip\\Parameters", "Domain");
	assert_int_equal(system.ties->n_managed, is_member ? 1 : 0);
	assert_int_equal(ties_is_managed(&system), is_member);
	assert_int_equal(*without_break(&out) != '\0', is_member);
	if (is_member) {
		assert_int_equal(system.ties->managed[0].how, MANAGED_DOMAIN);
		assert_string_equal(system.ties->managed[0].name, buf_text(&out));
	}
	buf_free(&out);
	fake_end(&fake);
	sample_close(&sample);
}

static void test_domain(void **state)
{
	(void)state;
	check_domain("SYSTEM", true);
	check_domain("SYSTEM_B", false);
}

#define SYNC "\\Software\\Microsoft\\OneDrive\\Accounts\\Personal"

static void test_folder_in_the_cloud(void **state)
{
	struct sample sample;
	struct old_system system;
	struct learn learn;
	struct buf out = {0};
	struct fake fake;

	(void)state;
	sample_open(&sample, "transactions_NTUSER.DAT");
	start_learn(&learn, &system, &fake);
	learn_person_ties(&learn, 0, sample.hive);
	reference(&sample, &out, SYNC, "UserFolder");
	assert_int_equal(system.ties->n_sync_roots, 1);
	assert_string_equal(system.ties->sync_roots[0].path, without_break(&out));
	assert_string_equal(system.ties->sync_roots[0].name, "OneDrive");
	assert_string_equal(system.ties->sync_roots[0].address, "");
	assert_int_equal(system.ties->n_managed, 0);
	buf_free(&out);
	fake_end(&fake);
	sample_close(&sample);
}

#define MAIL                                                                                       \
	"\\Software\\Microsoft\\Windows NT\\CurrentVersion\\Windows Messaging Subsystem\\Profiles"      \
	"\\Outlook\\9375CFF0413111d3B88A00104B2A6676\\00000003"

/*
 * The one hive with an account of mail, as hivexget has its bytes; the address books in the same profile,
 * and the names of directories in all of them, are none.
 */
static void test_addresses(void **state)
{
	static const char *const names[] = {
	    "NTUSER.DAT", "NTUSER-WIN7.DAT", "NTUSER_BAGMRU.DAT", "transactions_NTUSER.DAT"};

	(void)state;
	for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++) {
		struct buf out = {0}, wide = {0};
		struct sample sample;
		struct old_system system;
		struct learn learn;
		struct fake fake;

		sample_open(&sample, names[i]);
		start_learn(&learn, &system, &fake);
		learn_person_ties(&learn, 0, sample.hive);
		assert_int_equal(system.ties->n_sign_ins, i == 1 ? 1 : 0);
		if (i == 1) {
			reference(&sample, &out, MAIL, "Email");
			utf_to_utf16(&wide, system.ties->sign_ins[0].address);
			assert_int_equal(out.length, wide.length + 2);
			assert_memory_equal(out.data, wide.data, wide.length);
			assert_int_equal(system.ties->sign_ins[0].kind, SIGN_IN_MAIL);
		}
		buf_free(&out);
		buf_free(&wide);
		fake_end(&fake);
		sample_close(&sample);
	}
}

/* A file of the edge cases, unpacked; skips the test where the samples are missing. */
static void edge_case(struct buf *out, const char *name)
{
	const char *data = getenv("COLDLIFT_DATA");
	char path[500], command[600];

	snprintf(path, sizeof(path), "%s/hives/edge-cases/NewDirtyHive1/%s.xz",
	    data ? data : "../shared/data", name);
	if (access(path, R_OK) != 0)
		skip();
	snprintf(command, sizeof(command), "xz -dc '%s'", path);
	run(out, command);
}

/*
 * A hive that Windows 10 itself brought up to date from its logs: a page of it that cannot be read
 * comes out of these logs as Windows wrote it, or not at all.
 */
static void test_fill_like_windows(void **state)
{
	struct buf whole = {0}, one = {0}, two = {0};
	uint32_t filled = 0;

	(void)state;
	edge_case(&whole, "RecoveredHive_Windows10");
	edge_case(&one, "NewDirtyHive.LOG1");
	edge_case(&two, "NewDirtyHive.LOG2");
	for (size_t at = 4096; at + 512 <= whole.length; at += 512) {
		struct hive_log logs[] = {{one.data, one.length, NULL}, {two.data, two.length, NULL}};
		struct holes holes = {0};
		uint8_t *copy = malloc(whole.length);
		struct hive *hive;
		size_t length;

		memcpy(copy, whole.data, whole.length);
		memset(copy + at, 0, 512);
		holes_add(&holes, at, 512);
		hive = hive_open_holed(copy, whole.length, &holes, logs, 2, NULL);
		assert_non_null(hive);
		assert_true(hive_health(hive)->bytes_filled == 0 ||
			    hive_health(hive)->bytes_filled == 512);
		if (hive_health(hive)->bytes_filled > 0)
			assert_memory_equal(
			    hive_bins(hive, &length), whole.data + 4096, length);
		filled += hive_health(hive)->bytes_filled;
		hive_close(hive);
		holes_free(&holes);
		free(copy);
	}
	assert_true(filled >= 8 * 512);
	buf_free(&whole);
	buf_free(&one);
	buf_free(&two);
}

int main(void)
{
	const char *data = getenv("COLDLIFT_DATA");
	char path[600];
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_system),
	    cmocka_unit_test(test_system_with_guid),
	    cmocka_unit_test(test_places),
	    cmocka_unit_test(test_places_of_windows_7),
	    cmocka_unit_test(test_places_of_windows_10),
	    cmocka_unit_test(test_domain),
	    cmocka_unit_test(test_folder_in_the_cloud),
	    cmocka_unit_test(test_addresses),
	    cmocka_unit_test(test_fill_like_windows),
	};

	snprintf(path, sizeof(path), "%s/hives/windows-hives", data ? data : "../shared/data");
	if (access(path, R_OK) != 0) {
		puts("skipped: there are no sample hives");
		return 77;
	}
	return cmocka_run_group_tests(tests, NULL, NULL);
}
