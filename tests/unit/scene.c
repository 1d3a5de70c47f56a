/* One test's drives and plan: see scene.h. */
#include "unit.h"

#include "scene.h"

#include <stdlib.h>
#include <string.h>

void scene_start(struct scene *scene)
{
	struct forge *forge = &scene->forge;

	memset(scene, 0, sizeof(*scene));
	findings_init(&scene->findings);
	forge_start(forge);
	forge_volume(forge, "C:");
	forge_volume(forge, "D:");
	forge_file(forge, 0, "\\Windows\\System32\\config\\SYSTEM", 1);
	forge_folder(forge, 0, "\\Windows\\System32\\drivers");
	forge_file(forge, 0, "\\Users\\mara\\Documents\\mara.txt", 10);
	forge_file(forge, 0, "\\Users\\mara\\AppData\\Roaming\\Prog\\prog.ini", 10);
	forge_file(forge, 0, "\\Users\\rowan\\Documents\\rowan.txt", 10);
	forge_folder(forge, 0, "\\Users\\rowan\\AppData\\Local");
	forge_file(forge, 0, "\\Users\\Public\\Documents\\all.txt", 10);
	forge_folder(forge, 0, "\\Users\\Default");
	forge_folder(forge, 0, "\\Program Files");
	forge_folder(forge, 0, "\\ProgramData");
}

/* Catalogues are done: now who is who. */
void scene_settle(struct scene *scene)
{
	struct forge *forge = &scene->forge;

	forge_finish(forge);
	scene->system = forge_system(forge, 0, "FERNHILL-PC");
	scene->mara = forge_person(forge, scene->system, "mara", "C:\\Users\\mara");
	forge->persons[0][scene->mara].full_name = "Mara Quill";
	forge_place(forge, 0, scene->mara, "documents", "Documents", "C:\\Users\\mara\\Documents",
	    PLACE_HERE);
	scene->rowan = forge_person(forge, scene->system, "rowan", "C:\\Users\\rowan");
	forge_place(forge, 0, scene->rowan, "documents", "Documents", "C:\\Users\\rowan\\Documents",
	    PLACE_HERE);
	forge_place(forge, 0, SIZE_MAX, "documents", "Documents", "C:\\Users\\Public\\Documents",
	    PLACE_HERE);
}

void scene_make(struct scene *scene, const struct plan_options *options)
{
	struct error error;

	if (!plan_make(&scene->plan, &scene->forge.survey, options, &scene->findings, &error))
		fail_msg("%s", error.text);
}

void scene_end(struct scene *scene)
{
	plan_free(&scene->plan);
	findings_free(&scene->findings);
	forge_free(&scene->forge);
}

/* "C:\Users\mara\x.txt" or, for a stream, "...x.txt:note". */
const struct item *scene_item(const struct scene *scene, const char *full)
{
	const struct plan *plan = &scene->plan;
	const struct item *found = NULL;

	for (size_t i = 0; i < plan->n_items; i++) {
		const struct item *item = &plan->items[i];
		const struct catalogue *catalogue =
		    plan->survey->volumes[item->volume].volume->catalogue;
		struct buf old = {0};

		buf_add_text(&old, plan->survey->volumes[item->volume].name);
		plan_old_path(plan, item, &old);
		if (item->stream != NONE &&
		    *catalogue_name(catalogue, catalogue->streams[item->stream].name))
			buf_printf(&old, ":%s",
			    catalogue_name(catalogue, catalogue->streams[item->stream].name));
		if (strcmp(buf_text(&old), full) == 0) {
			if (found)
				fail_msg("two items for %s", full);
			found = item;
		}
		buf_free(&old);
	}
	if (!found)
		fail_msg("no item for %s", full);
	return found;
}

/* State, reason and archive path in one text: "taken place data/PC/mara/Documents/x.txt". */
void scene_expect(const struct scene *scene, const char *full, const char *expected)
{
	const struct item *item = scene_item(scene, full);
	struct buf text = {0};

	buf_printf(&text, "%s %s", state_name(item->state), reason_name(item->reason));
	if (item->state != STATE_LEFT && item->group != NONE) {
		buf_add_byte(&text, ' ');
		plan_archive_path(&scene->plan, item, &text);
	}
	if (strcmp(buf_text(&text), expected) != 0)
		fail_msg("%s: %s, not %s", full, buf_text(&text), expected);
	buf_free(&text);
}
