/* where.json: see where.h. */
#include "extract/where.h"

#include "base/json.h"
#include "ntfs/catalogue.h"

#include <stdlib.h>
#include <string.h>

struct where {
	const struct plan *plan;
	const struct parts *parts;
	const struct sums *sums;
	bool *holds; /* of each group, for each part; NULL: not several folders */
	struct json json;
};

/* Is something of the group in the part? */
static bool is_in(const struct where *where, size_t group, size_t part)
{
	if (where->parts->items[part].group != NONE)
		return where->parts->items[part].group == group;
	if (where->holds != NULL)
		return where->holds[group * where->parts->count + part];
	return sums_arrived(where->sums, group).count +
		   where->sums->groups[group][STATE_LOCKED].count >
	       0;
}

static size_t find_group(const struct plan *plan, size_t system, size_t person, const char *place)
{
	for (size_t i = 0; i < plan->n_groups; i++)
		if (plan->groups[i].system == system && plan->groups[i].person == person &&
		    strcmp(plan->groups[i].place, place) == 0)
			return i;
	return SIZE_MAX;
}

static void part_names(struct where *where, size_t group)
{
	json_key(&where->json, "parts");
	json_begin_array(&where->json);
	for (size_t i = 0; i < where->parts->count; i++)
		if (is_in(where, group, i))
			json_text(&where->json, where->parts->items[i].name);
	json_end(&where->json);
}

/* What arrived of a group, and what of it did not. */
static void group_facts(struct where *where, size_t group)
{
	static const enum state short_of[] = {STATE_PARTIAL, STATE_INCOMPLETE, STATE_UNREADABLE,
	    STATE_ABSENT, STATE_LOCKED};
	struct tally arrived = {0, 0};

	if (group != SIZE_MAX) {
		json_key_text(&where->json, "folder", where->plan->groups[group].folder);
		part_names(where, group);
		arrived = sums_arrived(where->sums, group);
	}
	json_key_unsigned(&where->json, "files", arrived.count);
	json_key_unsigned(&where->json, "bytes", arrived.bytes);
	for (size_t i = 0; group != SIZE_MAX && i < sizeof(short_of) / sizeof(short_of[0]); i++) {
		uint64_t count = where->sums->groups[group][short_of[i]].count;

		if (count > 0)
			json_key_unsigned(&where->json, state_name(short_of[i]), count);
	}
}

static void place_to_json(struct where *where, size_t system, size_t person,
    const struct place *place)
{
	json_begin_object(&where->json);
	json_key_text(&where->json, "place", place->role);
	json_key_text(&where->json, "path", place->path);
	json_key_text(&where->json, "status", place_status_name(place->status));
	json_key_bool(&where->json, "cloud", place->in_cloud_folder);
	group_facts(where, find_group(where->plan, system, person, place->role));
	json_end(&where->json);
}

/* Groups of a person (or shared, or of no system) that are no place of theirs: settings, other. */
static void other_groups(struct where *where, size_t system, size_t person,
    const struct place *places, size_t n_places)
{
	for (size_t i = 0; i < where->plan->n_groups; i++) {
		const struct group *group = &where->plan->groups[i];
		bool listed = false;

		if (group->system != system || group->person != person)
			continue;
		for (size_t k = 0; k < n_places; k++)
			listed = listed || strcmp(places[k].role, group->place) == 0;
		if (listed)
			continue;
		json_begin_object(&where->json);
		json_key_text(&where->json, "place", group->place);
		group_facts(where, i);
		json_end(&where->json);
	}
}

static void places_to_json(struct where *where, size_t system, size_t person,
    const struct place *places, size_t n_places)
{
	json_begin_array(&where->json);
	for (size_t i = 0; i < n_places; i++)
		place_to_json(where, system, person, &places[i]);
	other_groups(where, system, person, places, n_places);
	json_end(&where->json);
}

static void person_to_json(struct where *where, size_t index, size_t number)
{
	const struct person *person = &where->plan->survey->systems[index].persons[number];

	json_begin_object(&where->json);
	json_key_text(&where->json, "person", person->key);
	json_key_text(&where->json, "account", person->account);
	json_key_text(&where->json, "full_name", person->full_name);
	json_key_text(&where->json, "profile", person->path);
	json_key(&where->json, "places");
	places_to_json(where, index, number, person->places, person->n_places);
	json_end(&where->json);
}

static void system_to_json(struct where *where, size_t index)
{
	const struct old_system *system = &where->plan->survey->systems[index];

	json_begin_object(&where->json);
	json_key_text(&where->json, "pc", system->key);
	json_key_text(&where->json, "computer", system->computer);
	json_key_text(&where->json, "product", system->product);
	json_key(&where->json, "persons");
	json_begin_array(&where->json);
	for (size_t i = 0; i < system->n_persons; i++)
		if (!system->persons[i].is_service)
			person_to_json(where, index, i);
	json_end(&where->json);
	json_key(&where->json, "shared");
	places_to_json(where, index, SIZE_MAX, system->shared, system->n_shared);
	json_end(&where->json);
}

/* Folders at several destinations: each holds something of some groups. False: no memory. */
static bool look_into_folders(struct where *where, const struct outcomes *outcomes)
{
	size_t n_parts = where->parts->count;

	where->holds = calloc(where->plan->n_groups * n_parts + 1, sizeof(*where->holds));
	if (where->holds == NULL)
		return false;
	for (size_t i = 0; i < outcomes->n_items; i++) {
		const struct outcome *outcome = &outcomes->items[i];
		uint32_t group = where->plan->items[i].group;

		if ((outcome->flags & OUTCOME_STORED) != 0 && group < where->plan->n_groups &&
		    outcome->part < n_parts)
			where->holds[group * n_parts + outcome->part] = true;
	}
	return true;
}

bool where_write(const struct job *job, const struct outcomes *outcomes, const struct parts *parts,
    const struct sums *sums, struct digest *digest, struct error *error)
{
	const struct plan *plan = outcomes->plan;
	struct where where = {.plan = plan, .parts = parts, .sums = sums};
	char *path = job_path(job, "where.json");
	struct buf buf = {0};
	bool good;

	if (parts->format == FORMAT_FOLDER && parts->count > 1 &&
	    !look_into_folders(&where, outcomes)) {
		free(path);
		return error_no_memory(error);
	}
	json_start(&where.json, &buf, true);
	json_begin_object(&where.json);
	json_key_text(&where.json, "job", job->name);
	json_key_text(&where.json, "format", format_name(parts->format));
	json_key(&where.json, "systems");
	json_begin_array(&where.json);
	for (size_t i = 0; i < plan->survey->n_systems; i++)
		system_to_json(&where, i);
	json_end(&where.json);
	json_key(&where.json, "drives");
	json_begin_array(&where.json);
	other_groups(&where, SIZE_MAX, SIZE_MAX, NULL, 0);
	json_end(&where.json);
	json_end(&where.json);
	good = path != NULL ? durable_save(path, &buf, digest, error) : error_no_memory(error);
	buf_free(&buf);
	free(where.holds);
	free(path);
	return good;
}
