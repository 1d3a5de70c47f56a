/* Reading what `drives --json` and `survey --json` said: see look.h. */
#include "console/json_in.h"
#include "console/look.h"

#include <string.h>

/* More than anybody reads, and looking for doubles takes longer the more there are. */
#define MOST_FINDINGS 2000

/* --- findings --- */

static bool read_findings(struct findings *findings, const json_t *array)
{
	size_t index;
	json_t *item;

	json_array_foreach(array, index, item)
	{
		if (index >= MOST_FINDINGS)
			break;
		if (!json_in_finding(item, findings))
			return false;
	}
	findings_sort(findings);
	return !findings->incomplete;
}

/* --- drives --- */

static bool read_volume(struct arena *arena, struct look_volume *volume, const json_t *item)
{
	volume->device = json_in_text(arena, item, "device");
	volume->filesystem = json_in_text(arena, item, "filesystem");
	volume->label = json_in_text(arena, item, "label");
	volume->letter = json_in_text(arena, item, "letter");
	volume->kind = json_in_text(arena, item, "kind");
	volume->number = (unsigned)(json_in_number(item, "number", 0) & 0xFFFF);
	volume->size = json_in_number(item, "size", 0);
	volume->free = json_in_number(item, "free", LOOK_FREE_UNKNOWN);
	volume->is_system = json_in_is_true(item, "system");
	volume->dirty = json_in_is_true(item, "dirty");
	return volume->device != NULL && volume->filesystem != NULL && volume->label != NULL &&
	       volume->letter != NULL && volume->kind != NULL;
}

/* In words, for the levels that `drives --json` knows; "single" stands for no set at all. */
static const char *set_words(const char *level)
{
	static const char *const words[][2] = {{"mirror", "a mirrored set"},
	    {"stripe", "a striped set"}, {"parity", "a set with parity"},
	    {"span", "a set whose volumes reach over several drives"},
	    {"spare", "a set, as its spare"}};

	for (size_t i = 0; i < sizeof(words) / sizeof(words[0]); i++)
		if (strcmp(words[i][0], level) == 0)
			return words[i][1];
	return "a set";
}

static bool read_set(struct arena *arena, struct look_drive *drive, const json_t *set)
{
	const char *level = json_in_text(arena, set, "level");
	uint64_t members = json_in_number(set, "members", 0);

	drive->set = "";
	drive->set_readable = true;
	if (!json_is_object(set) || json_in_is_text(set, "level", "single"))
		return true;
	drive->set_readable = json_in_is_true(set, "readable_alone");
	if (level == NULL)
		return false;
	drive->set = members > 1 ? arena_printf(arena, "%s of %u drives", set_words(level),
				       (unsigned)(members & 0xFFFF))
				 : set_words(level);
	return drive->set != NULL;
}

static bool read_volumes(struct arena *arena, struct look_drive *drive, const json_t *array)
{
	size_t index;
	json_t *item;

	drive->volumes = arena_array(arena, json_array_size(array), sizeof(*drive->volumes));
	if (drive->volumes == NULL)
		return false;
	json_array_foreach(array, index,
	    item) if (!read_volume(arena, &drive->volumes[drive->n_volumes++], item)) return false;
	return true;
}

static bool read_drive(struct arena *arena, struct look_drive *drive, const json_t *item)
{
	const json_t *faults = json_object_get(item, "faults");

	drive->path = json_in_text(arena, item, "path");
	drive->model = json_in_text(arena, item, "model");
	drive->serial = json_in_text(arena, item, "serial");
	drive->bus = json_in_text(arena, item, "bus");
	drive->problem = json_in_text(arena, item, "problem");
	drive->verdict = json_in_text(arena, faults, "verdict");
	/* Of an answer that is not there, the reason says more than the sentence. */
	drive->faults = json_in_text(arena, faults,
	    drive->verdict != NULL && strcmp(drive->verdict, "unknown") == 0 ? "why_unknown"
									     : "sentence");
	if (drive->path == NULL || drive->model == NULL || drive->serial == NULL ||
	    drive->bus == NULL || drive->problem == NULL || drive->verdict == NULL ||
	    drive->faults == NULL)
		return false;
	drive->size = json_in_number(item, "size", 0);
	drive->removable = json_in_is_true(item, "removable") || strcmp(drive->bus, "USB") == 0;
	drive->stick = json_in_is_true(item, "stick");
	drive->readable = json_in_is_true(item, "readable");
	drive->link_megabits =
	    (unsigned)(json_in_number(json_object_get(item, "link"), "megabits", 0) & 0xFFFFFF);
	return read_set(arena, drive, json_object_get(item, "set")) &&
	       read_volumes(arena, drive, json_object_get(item, "volumes")) &&
	       read_findings(&drive->findings, json_object_get(item, "findings"));
}

static bool read_drives(struct look *look, const json_t *document)
{
	const json_t *array = json_object_get(document, "drives");
	size_t index;
	json_t *item;

	look->drives = arena_array(&look->arena, json_array_size(array), sizeof(*look->drives));
	if (look->drives == NULL)
		return false;
	json_array_foreach(array, index, item)
	{
		struct look_drive *drive = &look->drives[look->n_drives++];

		findings_init(&drive->findings);
		if (!read_drive(&look->arena, drive, item))
			return false;
	}
	return read_findings(&look->general, json_object_get(document, "findings"));
}

bool look_read_drives(struct look *look, const char *json, size_t length, struct error *error)
{
	json_t *document = json_in_load(json, length, "list of drives", error);
	bool good;

	look_free(look);
	look_init(look);
	if (document == NULL)
		return false;
	good = read_drives(look, document);
	json_decref(document);
	return good || error_no_memory(error);
}

/* --- old systems --- */

static struct look_drive *find_drive(struct look *look, const char *path)
{
	for (size_t i = 0; path != NULL && i < look->n_drives; i++)
		if (strcmp(look->drives[i].path, path) == 0)
			return &look->drives[i];
	return NULL;
}

static const json_t *find_volume(const json_t *volumes, const char *name)
{
	size_t index;
	json_t *item;

	json_array_foreach(volumes, index,
	    item) if (name != NULL && json_in_is_text(item, "name", name)) return item;
	return NULL;
}

/* Notes that the drive of the volume with that name is one of the old PC. */
static void mark_old(struct look *look, const json_t *volumes, const json_t *name)
{
	const json_t *volume = find_volume(volumes, json_string_value(name));
	struct look_drive *drive =
	    find_drive(look, json_string_value(json_object_get(volume, "drive")));

	if (drive != NULL)
		drive->is_old = true;
}

/* A partition that only a PC's own drive has: every Windows puts a reserved one on any drive. */
static bool belongs_to_system(const json_t *volume)
{
	return json_in_is_true(volume, "system") && !json_in_is_text(volume, "kind", "reserved") &&
	       !json_in_is_text(volume, "kind", "protective") &&
	       !json_in_is_text(volume, "kind", "Linux swap") &&
	       !json_in_is_text(volume, "kind", "BIOS boot");
}

/* Letters of the volumes, and drives that are known to be the old PC's from their tables. */
static bool read_survey_volumes(struct look *look, const json_t *volumes)
{
	size_t index;
	json_t *item;

	json_array_foreach(volumes, index, item)
	{
		struct look_drive *drive =
		    find_drive(look, json_string_value(json_object_get(item, "drive")));
		const char *letter = json_in_text(&look->arena, item, "letter");
		uint64_t number = json_in_number(item, "partition", 0);

		if (letter == NULL)
			return false;
		if (drive == NULL)
			continue;
		drive->is_old = drive->is_old || belongs_to_system(item);
		for (size_t i = 0; i < drive->n_volumes; i++)
			if (drive->volumes[i].number == number)
				drive->volumes[i].letter = letter;
	}
	return true;
}

static bool holds_system(const json_t *systems, const json_t *volume)
{
	const char *name = json_string_value(json_object_get(volume, "name"));
	size_t index;
	json_t *item;

	json_array_foreach(systems, index,
	    item) if (name != NULL && json_in_is_text(item, "volume", name)) return true;
	return false;
}

static uint64_t in_use(struct look *look, const json_t *volume)
{
	const struct look_drive *drive =
	    find_drive(look, json_string_value(json_object_get(volume, "drive")));
	uint64_t number = json_in_number(volume, "partition", 0);

	for (size_t i = 0; drive != NULL && i < drive->n_volumes; i++) {
		const struct look_volume *seen = &drive->volumes[i];

		if (seen->number == number && seen->free <= seen->size)
			return seen->size - seen->free;
	}
	return json_in_number(volume, "length", 0);
}

static void add_other_volumes(struct look *look, const json_t *volumes, const json_t *systems)
{
	size_t index;
	json_t *item;

	look->other_bytes = 0;
	json_array_foreach(volumes, index,
	    item) if (json_in_is_true(item, "readable") && !json_in_is_true(item, "system") &&
		      !holds_system(systems, item)) look->other_bytes += in_use(look, item);
}

/* Does `inner` lie in the folder `outer`? Both are {"volume":"C:","path":"\\Users\\mara"}. */
static bool lies_in(const json_t *inner, const json_t *outer)
{
	const char *path = json_string_value(json_object_get(inner, "path"));
	const char *folder = json_string_value(json_object_get(outer, "path"));
	const char *volume = json_string_value(json_object_get(outer, "volume"));
	size_t length;

	if (path == NULL || folder == NULL || volume == NULL ||
	    !json_in_is_text(inner, "volume", volume))
		return false;
	length = strlen(folder);
	/* Both come from the same table: they are spelt alike. */
	return strncmp(path, folder, length) == 0 &&
	       (path[length] == '\0' || path[length] == '\\' ||
		   (length > 0 && folder[length - 1] == '\\'));
}

/* Adds the places that lie outside the profile and in no place that was added before. */
static void add_places(struct look *look, const json_t *volumes, const json_t *places,
    const json_t *profile, uint64_t *files, uint64_t *bytes)
{
	size_t index, other;
	json_t *place, *before;

	json_array_foreach(places, index, place)
	{
		const json_t *at = json_object_get(place, "at");
		bool counted = !json_is_object(at) || lies_in(at, profile);

		mark_old(look, volumes, json_object_get(at, "volume"));
		json_array_foreach(places, other, before)
		{
			const json_t *there = json_object_get(before, "at");

			if (other != index && lies_in(at, there) &&
			    (other < index || !lies_in(there, at)))
				counted = true;
		}
		if (counted)
			continue;
		*files += json_in_number(place, "files", 0);
		*bytes += json_in_number(place, "bytes", 0);
	}
}

static bool read_person(
    struct look *look, struct look_person *person, const json_t *volumes, const json_t *item)
{
	const json_t *profile = json_object_get(item, "profile");

	person->key = json_in_text(&look->arena, item, "key");
	person->account = json_in_text(&look->arena, item, "account");
	person->full_name = json_in_text(&look->arena, item, "full_name");
	person->folder = json_in_text(&look->arena, item, "folder");
	person->files = json_in_number(item, "files", 0);
	person->bytes = json_in_number(item, "bytes", 0);
	mark_old(look, volumes, json_object_get(profile, "volume"));
	add_places(look, volumes, json_object_get(item, "places"), profile, &person->files,
	    &person->bytes);
	return person->key != NULL && person->account != NULL && person->full_name != NULL &&
	       person->folder != NULL;
}

static void mark_lettered(struct look *look, const json_t *volumes, const json_t *letters)
{
	size_t index;
	json_t *item;

	/* A letter for a drive that can be taken out says only that it was plugged in once. */
	json_array_foreach(letters, index, item)
	{
		const json_t *name = json_object_get(item, "volume");
		const json_t *volume = find_volume(volumes, json_string_value(name));
		const struct look_drive *drive =
		    find_drive(look, json_string_value(json_object_get(volume, "drive")));

		if (drive != NULL && !drive->removable)
			mark_old(look, volumes, name);
	}
}

static bool read_system(
    struct look *look, struct look_system *system, const json_t *volumes, const json_t *item)
{
	const json_t *persons = json_object_get(item, "persons");
	uint64_t files = 0;
	size_t index;
	json_t *person;

	system->pc = json_in_text(&look->arena, item, "computer");
	if (system->pc != NULL && *system->pc == '\0')
		system->pc = json_in_text(&look->arena, item, "key");
	system->product = json_in_text(&look->arena, item, "product");
	system->volume = json_in_text(&look->arena, item, "volume");
	system->persons =
	    arena_array(&look->arena, json_array_size(persons), sizeof(*system->persons));
	if (system->pc == NULL || system->product == NULL || system->volume == NULL ||
	    system->persons == NULL)
		return false;
	mark_old(look, volumes, json_object_get(item, "volume"));
	mark_lettered(look, volumes, json_object_get(item, "letters"));
	json_array_foreach(
	    persons, index, person) if (!json_in_is_true(person, "service") &&
					!read_person(look, &system->persons[system->n_persons++],
					    volumes, person)) return false;
	add_places(
	    look, volumes, json_object_get(item, "shared"), NULL, &files, &system->shared_bytes);
	return true;
}

static bool read_survey(struct look *look, const json_t *document)
{
	const json_t *volumes = json_object_get(document, "volumes");
	const json_t *systems = json_object_get(document, "systems");
	size_t index;
	json_t *item;

	look->n_systems = 0;
	findings_free(&look->findings);
	findings_init(&look->findings);
	for (size_t i = 0; i < look->n_drives; i++)
		look->drives[i].is_old = false;
	look->systems = arena_array(&look->arena, json_array_size(systems), sizeof(*look->systems));
	if (look->systems == NULL || !read_survey_volumes(look, volumes))
		return false;
	json_array_foreach(
	    systems, index, item) if (!read_system(look, &look->systems[look->n_systems++], volumes,
					  item)) return false;
	add_other_volumes(look, volumes, systems);
	return read_findings(&look->findings, json_object_get(document, "findings"));
}

bool look_read_survey(struct look *look, const char *json, size_t length, struct error *error)
{
	json_t *document = json_in_load(json, length, "list of old systems", error);
	bool good;

	look->surveyed = false;
	if (document == NULL)
		return false;
	good = read_survey(look, document);
	json_decref(document);
	look->surveyed = good;
	return good || error_no_memory(error);
}
