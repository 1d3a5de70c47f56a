/* Tests of devices and connections as text: short, whatever there is. The promise is the header's own. */
#include "unit.h"

#include "report/devices_text.h"
#include "system/devices.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define EACH 40u

/* What is printed of EACH things of every kind; their names come from `name`. */
static char *print(const char *name, bool usual)
{
	struct thing *things = calloc(EACH * (size_t)THING_COUNT, sizeof(*things));
	struct person person = {.key = "mara"};
	struct old_system system = {.persons = &person,
	    .n_persons = 1,
	    .things = things,
	    .n_things = EACH * (size_t)THING_COUNT};
	char *text = NULL;
	size_t length;
	FILE *out = open_memstream(&text, &length);

	assert_non_null(things);
	assert_non_null(out);
	for (size_t i = 0; i < system.n_things; i++) {
		things[i] = (struct thing){.kind = (enum thing_kind)(i / EACH),
		    .person = i % 2 ? 0 : SIZE_MAX,
		    .name = name,
		    .advice = "None.",
		    .comes_with_windows = usual};
		things[i].details[0] = (struct detail){"address", name};
		things[i].n_details = 1;
	}
	devices_print(&system, out);
	fclose(out);
	free(things);
	return text;
}

static void expect_short(const char *name, unsigned limit)
{
	char *text = print(name, false);
	unsigned lines = 0;

	for (const char *at = text; *at; at += strcspn(at, "\n") + 1) {
		assert_in_range(strcspn(at, "\n"), 0, 80);
		lines++;
	}
	assert_in_range(lines, 5, limit);
	assert_non_null(strstr(text, "more in devices.json"));
	free(text);
}

static void test_short(void **state)
{
	char name[1200];

	(void)state;
	expect_short("laser", 29);
	expect_short("The old laser in the hut behind the hedge", 29);
	/* One name is always shown, as long as it may be. */
	for (size_t i = 0; i < sizeof(name) - 1; i++)
		name[i] = i % 9 == 8 ? ' ' : 'x';
	name[sizeof(name) - 1] = '\0';
	expect_short(name, 60);
}

static void test_what_is_not_shown(void **state)
{
	char *text = print("laser", true);

	(void)state;
	assert_string_equal(text, "");
	free(text);
	text = print("a\033[31mb", false);
	assert_null(strchr(text, '\033'));
	free(text);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_short),
	    cmocka_unit_test(test_what_is_not_shown),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
