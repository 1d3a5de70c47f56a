/*
 * When this computer's clock is doubted. The times are the tests' own (no outside source applies);
 * FILETIME: [MS-DTYP] 2.3.3.
 */
#include "unit.h"

#include "fake_survey.h"

#include "base/filetime.h"
#include "extract/clock.h"

#include <string.h>

static int64_t at(const char *text)
{
	int64_t time;

	assert_true(filetime_from_text(text, &time));
	return time;
}

/* The sentence of the only finding about the clock; "" when there is none. */
static const char *told(int64_t now, const struct survey *survey, struct findings *findings)
{
	findings_init(findings);
	clock_check(now, survey, findings);
	assert_true(findings->count <= 1);
	if (findings->count == 0)
		return "";
	assert_int_equal(findings->items[0].weight, WEIGHT_NOTE);
	assert_string_equal(findings->items[0].code, "clock-doubtful");
	assert_string_equal(findings->items[0].subject, "");
	assert_true(*findings->items[0].advice != '\0');
	return findings->items[0].sentence;
}

static void expect(int64_t now, const struct survey *survey, const char *part)
{
	struct findings findings;
	const char *sentence = told(now, survey, &findings);

	if (*part == '\0')
		assert_string_equal(sentence, "");
	else
		assert_non_null(strstr(sentence, part));
	findings_free(&findings);
}

static void test_alone(void **state)
{
	static const struct survey nothing;

	(void)state;
	assert_int_equal(clock_last_used(&nothing), 0);
	expect(at("2027-03-01T09:30:00Z"), &nothing, "");
	/* An empty battery: the year of the firmware, or of the clock's first second. */
	expect(at("2009-01-01T00:01:00Z"), &nothing, "2009-01-01 00:01 UTC");
	expect(at("1970-01-01T00:00:00Z"), &nothing, "cannot be right");
	expect(0, &nothing, "an impossible time");
	expect(at("2041-01-01T00:00:00Z"), &nothing, "");
	expect(at("2099-12-31T00:00:00Z"), &nothing, "probably wrong");
}

static void test_old_system(void **state)
{
	struct old_system systems[2];
	struct survey survey = {.systems = systems, .n_systems = 2};

	(void)state;
	memset(systems, 0, sizeof(systems));
	systems[0].last_used = at("2028-05-04T18:00:00Z");
	systems[1].last_used = at("2019-01-01T00:00:00Z");
	expect(at("2028-05-05T10:00:00Z"), &survey, "");
	/* A clock in local time, read as UTC, is up to 14 hours off. */
	expect(at("2028-05-04T04:00:00Z"), &survey, "");
	expect(at("2028-05-03T17:00:00Z"), &survey, "2028-05-04 18:00 UTC");
	expect(at("2027-02-01T00:00:00Z"), &survey, "one of the two clocks");
	/* One sentence is enough: which one says the surer thing. */
	expect(at("2015-02-01T00:00:00Z"), &survey, "cannot be right");
	/* The old system's clock was wrong once, far ahead: that tells nothing. */
	systems[0].last_used = at("2098-01-01T00:00:00Z");
	assert_int_equal(clock_last_used(&survey), at("2019-01-01T00:00:00Z"));
	expect(at("2027-02-01T00:00:00Z"), &survey, "");
	systems[0].last_used = INT64_MIN;
	expect(at("2027-02-01T00:00:00Z"), &survey, "");
}

/* A drive without an old system: its root folder; a photo from the future does no harm. */
static void test_data_drive(void **state)
{
	struct fake fake;
	size_t volume;
	uint32_t file;

	(void)state;
	fake_start(&fake);
	volume = fake_volume(&fake);
	file = fake_file(&fake, volume, "Fernhill\\plot 7.jpg", 10);
	fake.catalogues[volume].nodes[file].modified = at("2030-01-01T00:00:00Z");
	fake.catalogues[volume].nodes[NODE_ROOT].modified = at("2027-06-01T12:00:00Z");
	assert_int_equal(clock_last_used(&fake.survey), at("2027-06-01T12:00:00Z"));
	expect(at("2027-07-01T00:00:00Z"), &fake.survey, "");
	expect(at("2027-05-01T00:00:00Z"), &fake.survey, "2027-06-01 12:00 UTC");
	fake.catalogues[volume].nodes[NODE_ROOT].flags = 0; /* its record was lost */
	assert_int_equal(clock_last_used(&fake.survey), 0);
	fake.volumes[volume].volume = NULL;
	assert_int_equal(clock_last_used(&fake.survey), 0);
	fake_end(&fake);
}

int main(void)
{
	static const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_alone),
	    cmocka_unit_test(test_old_system),
	    cmocka_unit_test(test_data_drive),
	};

	return cmocka_run_group_tests_name("clock", tests, NULL, NULL);
}
