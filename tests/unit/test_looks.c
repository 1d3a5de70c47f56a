/*
 * Tests of which files go with a person's looks: what a hive names is taken, so it must be what it
 * says, and only what came later than the system is extra.
 *
 * The SID of TrustedInstaller: as in learn_looks.c. What is expected follows the project's own
 * promises.
 */
#include "unit.h"

#include "fake_survey.h"
#include "system/learn_devices.h"

#include <stdlib.h>
#include <string.h>

#define OWNER "S-1-5-80-956008885-3418522649-1831038044-1853292631-2271478464"
#define INSTALLED INT64_C(131000000000000000)
#define DAYS (INT64_C(86400) * 10000000)

struct bench {
	struct fake fake;
	struct old_system system;
	struct learn learn;
};

static void start(struct bench *bench)
{
	fake_start(&bench->fake);
	fake_volume(&bench->fake);
	bench->system = (struct old_system){.letter = 'C', .container = NODE_ROOT, .key = "PC"};
	bench->system.installed = INSTALLED;
	bench->learn = (struct learn){
	    .survey = &bench->fake.survey, .system = &bench->system, .control = HIVE_NO_CELL};
}

static void end(struct bench *bench)
{
	free(bench->learn.things);
	fake_end(&bench->fake);
}

static uint32_t font(struct bench *bench, const char *path, int64_t days, const char *owner)
{
	struct catalogue *catalogue = &bench->fake.catalogues[0];
	uint32_t node = fake_file(&bench->fake, 0, path, 100);

	catalogue->nodes[node].created = INSTALLED + days * DAYS;
	if (owner) {
		catalogue->nodes[node].owner = (uint32_t)catalogue->names_length;
		strcpy(catalogue->names + catalogue->names_length, owner);
		catalogue->names_length += strlen(owner) + 1;
	}
	bench->system.windows = fake_folder(&bench->fake, 0, "Windows");
	return node;
}

static void expect(const struct bench *bench, const char *names)
{
	char found[400] = "";

	for (size_t i = 0; i < bench->learn.n_things; i++) {
		assert_int_equal(bench->learn.things[i].kind, THING_FONT);
		assert_int_not_equal(bench->learn.things[i].file.node, NONE);
		strcat(found, bench->learn.things[i].name);
		strcat(found, " ");
	}
	assert_string_equal(found, names);
}

static void test_fonts_by_owner(void **state)
{
	struct bench bench;

	(void)state;
	start(&bench);
	font(&bench, "Windows\\Fonts\\late.ttf", 300, OWNER); /* came with an update */
	font(&bench, "Windows\\Fonts\\hand.ttf", 300, "S-1-5-32-544");
	font(&bench, "Windows\\Fonts\\early.otf", 0, "S-1-5-18");
	font(&bench, "Windows\\Fonts\\notes.txt", 300, "S-1-5-32-544");
	font(&bench, "Windows\\hand.ttf", 300, "S-1-5-32-544");
	learn_fonts(&bench.learn);
	expect(&bench, "hand.ttf early.otf ");
	end(&bench);
}

static void test_fonts_by_time(void **state)
{
	struct bench bench;

	(void)state;
	start(&bench);
	font(&bench, "Windows\\Fonts\\with.ttf", 0, "S-1-5-32-544");
	font(&bench, "Windows\\Fonts\\later.ttf", 2, NULL);
	font(&bench, "Windows\\Fonts\\old.fon", -900, "S-1-5-32-544");
	learn_fonts(&bench.learn);
	expect(&bench, "later.ttf ");
	bench.learn.n_things = 0;
	bench.system.installed = 0; /* nobody knows what is later */
	learn_fonts(&bench.learn);
	expect(&bench, "");
	end(&bench);
}

static void test_only_pictures_are_taken(void **state)
{
	struct bench bench;

	(void)state;
	start(&bench);
	fake_file(&bench.fake, 0, "Windows\\Web\\hills.JPG", 100);
	fake_file(&bench.fake, 0, "Windows\\System32\\config\\SAM", 100);
	fake_file(&bench.fake, 0, "huge.png", PICTURE_LIMIT + 1);
	fake_file(&bench.fake, 0, "a.png", PICTURE_LIMIT);
	fake_folder(&bench.fake, 0, "folder.png");
	assert_int_not_equal(picture_at(&bench.learn, "C:\\Windows\\Web\\hills.jpg").node, NONE);
	assert_int_not_equal(picture_at(&bench.learn, "c:\\A.PNG").node, NONE);
	assert_int_equal(picture_at(&bench.learn, "C:\\Windows\\System32\\config\\SAM").node, NONE);
	assert_int_equal(picture_at(&bench.learn, "C:\\huge.png").node, NONE);
	assert_int_equal(picture_at(&bench.learn, "C:\\folder.png").node, NONE);
	assert_int_equal(picture_at(&bench.learn, "D:\\a.png").node, NONE);
	assert_int_equal(picture_at(&bench.learn, "\\\\server\\share\\a.png").node, NONE);
	assert_int_equal(picture_at(&bench.learn, "a.png").node, NONE);
	assert_int_equal(picture_at(&bench.learn, "").node, NONE);
	end(&bench);
}

/* As many things, and as much text, as no old system has, are not all kept. */
static void test_limits(void **state)
{
	static char long_name[TEXT_LIMIT + 2];
	struct bench bench;
	struct thing *thing;

	(void)state;
	start(&bench);
	memset(long_name, 'x', TEXT_LIMIT + 1);
	assert_null(learn_thing(&bench.learn, THING_PIN, SIZE_MAX, long_name));
	assert_null(learn_thing(&bench.learn, THING_PIN, SIZE_MAX, ""));
	assert_null(learn_thing(&bench.learn, THING_PIN, SIZE_MAX, NULL));
	thing = learn_thing(&bench.learn, THING_PIN, SIZE_MAX, "a");
	thing_add(&bench.learn, thing, "long", long_name);
	for (size_t i = 0; i < THING_DETAILS + 5; i++)
		thing_add(&bench.learn, thing, "more", "b");
	assert_int_equal(thing->n_details, THING_DETAILS);
	assert_null(thing_detail(thing, "long"));
	long_name[TEXT_LIMIT] = '\0';
	for (size_t i = 0; i < 6000; i++)
		learn_thing(&bench.learn, THING_PIN, SIZE_MAX, long_name);
	assert_in_range(bench.learn.n_things, 100, 5000);
	assert_false(bench.learn.no_memory);
	end(&bench);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_fonts_by_owner),
	    cmocka_unit_test(test_fonts_by_time),
	    cmocka_unit_test(test_only_pictures_are_taken),
	    cmocka_unit_test(test_limits),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
