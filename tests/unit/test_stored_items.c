/*
 * Which entries a part has by the outcomes of a job: whole files, folders, pieces in several parts.
 * The project's own rules; that they are true of real parts is tried where jobs are gone on with.
 */
#include "unit.h"

#include "scene.h"

#include "extract/stored_items.h"

#include <string.h>

static struct outcome *outcome_for(struct outcomes *outcomes, const struct scene *scene,
    const char *full)
{
	return &outcomes->items[scene_item(scene, full) - scene->plan.items];
}

static void expect(const struct outcomes *outcomes, uint32_t part, const char *expected)
{
	struct stored_items items;
	struct member member;
	struct buf text = {0};

	stored_items_start(&items, outcomes, part);
	while (stored_items_next(&items, &member))
		buf_printf(&text, "%s%s%s;", member.path,
		    member.kind == MEMBER_FOLDER ? "/" : "", member.is_readonly ? " fixed" : "");
	assert_false(items.no_memory);
	assert_string_equal(buf_text(&text), expected);
	stored_items_free(&items);
	buf_free(&text);
}

static void test_entries(void **state)
{
	static const struct piece pieces[] = {{.part = 1}, {.part = 2}};
	struct scene scene;
	struct outcomes outcomes;
	struct outcome *outcome;
	uint32_t node;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 0, "\\Users\\mara\\Documents\\beds.txt", 100);
	node = forge_file(&scene.forge, 0, "\\Users\\mara\\Documents\\film.mov", 900);
	forge_file(&scene.forge, 0, "\\Users\\mara\\Documents\\gone.txt", 100);
	scene_settle(&scene);
	scene.forge.survey.volumes[0].volume->catalogue->nodes[node].attributes |=
	    ATTRIBUTE_READONLY;
	scene_make(&scene, NULL);
	assert_true(outcomes_start(&outcomes, &scene.plan));
	for (uint32_t part = 0; part < 3; part++)
		expect(&outcomes, part, ""); /* nothing has been done yet */
	outcome = outcome_for(&outcomes, &scene, "C:\\Users\\mara\\Documents");
	outcome->flags |= OUTCOME_STORED;
	outcome->part = 0;
	outcome = outcome_for(&outcomes, &scene, "C:\\Users\\mara\\Documents\\beds.txt");
	outcome->flags |= OUTCOME_STORED;
	outcome->part = 0;
	/* Of another name of it in a zip file only the part is known. */
	outcome_for(&outcomes, &scene, "C:\\Users\\mara\\Documents\\gone.txt")->part = 0;
	outcome = outcome_for(&outcomes, &scene, "C:\\Users\\mara\\Documents\\film.mov");
	outcome->flags |= OUTCOME_STORED;
	outcome->part = 1;
	for (int i = 0; i < 2; i++)
		assert_true(outcomes_add_piece(&outcomes,
		    (uint32_t)(outcome - outcomes.items), &pieces[i]));
	expect(&outcomes, 0, PC "mara/Documents/;" PC "mara/Documents/beds.txt;");
	expect(&outcomes, 1, PC "mara/Documents/film.mov.piece-01-of-02 fixed;");
	expect(&outcomes, 2, PC "mara/Documents/film.mov.piece-02-of-02 fixed;");
	outcomes_free(&outcomes);
	scene_end(&scene);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_entries),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
