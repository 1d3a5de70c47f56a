/* Things that a new machine must be told again: how they are kept, and as JSON. See devices.h. */
#include "system/learn_devices.h"

#include "base/json.h"

#include <stdlib.h>
#include <string.h>

#define THINGS_LIMIT 20000u
#define THINGS_BYTES ((size_t)16 << 20) /* of texts */

static const struct {
	const char *name, *words, *advice;
} kinds[THING_COUNT] = {
    [THING_PRINTER] = {"printer", "printers", "Add this printer on the new machine."},
    [THING_DEFAULT_PRINTER] = {"default-printer", "default printer",
	"Once this printer is added on the new machine, choose it as the default one."},
    [THING_SCANNER] = {"scanner", "scanners, cameras",
	"Plug it in on the new machine; if it is not recognised, get its driver from its maker."},
    [THING_PAIRED] = {"paired-device", "paired devices",
	"Pair it with the new machine again; it may have to be told to forget the old one first."},
    [THING_MAPPED_DRIVE] = {"mapped-drive", "mapped drives",
	"Give the network folder this letter again on the new machine."},
    [THING_NETWORK_PLACE] = {"network-place", "network places",
	"Add this network place again on the new machine."},
    [THING_SHARE] = {"share", "shared folders",
	"Other computers may rely on this shared folder: share it again under the same name, or "
	"tell who used it."},
    [THING_NETWORK] = {"network", "networks", "Connect to this network once on the new machine."},
    [THING_TASK] = {"task", "tasks",
	"Make this task again on the new machine, once the program that it starts is there; its "
	"definition is in the "
	"job."},
    [THING_FONT] = {"font", "extra fonts",
	"Install this font on the new machine, so that documents look the same; the file is in the "
	"job."},
    [THING_DEFAULT_PROGRAM] = {"default-program", "default programs",
	"When this program is installed on the new machine, choose it as the default one for these "
	"kinds of files."},
    [THING_PIN] = {"pin", "pinned", "Pin it again on the new machine, once it is there."},
    [THING_WALLPAPER] = {"wallpaper", "wallpaper",
	"Choose this picture as the background on the new machine; the file is in the job."},
    [THING_ACCOUNT_PICTURE] = {"account-picture", "account picture",
	"Choose this picture for the account on the new machine; the file is in the job."},
    [THING_KEYBOARD] = {"keyboard", "keyboards",
	"Add this keyboard layout in the new machine's language settings."},
    [THING_LANGUAGE] = {"language", "languages",
	"Add this language in the new machine's language settings."},
    [THING_FORMATS] = {"formats", "region formats",
	"Choose these formats of dates, numbers and money in the new machine's region settings."},
    [THING_TIME_ZONE] = {"time-zone", "time zone",
	"Check that the new machine has the same time zone."},
    [THING_POWER] = {"power", "power choices",
	"Choose the same in the new machine's power settings."},
    [THING_VARIABLE] = {"variable", "variables",
	"Set this environment variable again only if a program that is installed again needs it."},
    [THING_SCREEN_SAVER] = {"screen-saver", "screen saver",
	"Choose the same screen saver and waiting time on the new machine."},
    [THING_MOUSE] = {"mouse", "mouse", "Choose the same in the new machine's mouse settings."},
    [THING_ACCESSIBILITY] = {"accessibility", "accessibility",
	"Switch this on in the new machine's accessibility settings, before the person has to work "
	"without it."},
};

const char *thing_kind_name(enum thing_kind kind)
{
	return kinds[kind].name;
}

const char *thing_kind_words(enum thing_kind kind)
{
	return kinds[kind].words;
}

const char *thing_detail(const struct thing *thing, const char *name)
{
	for (size_t i = 0; i < thing->n_details; i++)
		if (strcmp(thing->details[i].name, name) == 0)
			return thing->details[i].value;
	return NULL;
}

/* --- while they are learned --- */

/* A copy in the survey's arena; NULL for what is empty, too long, or too much. */
static const char *keep_text(struct learn *learn, const char *text)
{
	size_t length = text ? strlen(text) : 0;

	if (length == 0 || length > TEXT_LIMIT || learn->things_bytes + length > THINGS_BYTES)
		return NULL;
	learn->things_bytes += length + 1;
	return learn_text(learn, "%s", text);
}

struct thing *learn_thing(
    struct learn *learn, enum thing_kind kind, size_t person, const char *name)
{
	struct thing *thing;
	const char *kept;

	if (learn->n_things >= THINGS_LIMIT || !(kept = keep_text(learn, name)))
		return NULL;
	if (!array_reserve(&learn->things, &learn->things_capacity, learn->n_things + 1,
		sizeof(*learn->things))) {
		learn->no_memory = true;
		return NULL;
	}
	thing = &learn->things[learn->n_things++];
	*thing = (struct thing){.kind = kind,
	    .person = person,
	    .name = kept,
	    .advice = kinds[kind].advice,
	    .file = NO_LOCATION};
	return thing;
}

void thing_add(struct learn *learn, struct thing *thing, const char *name, const char *value)
{
	const char *kept;

	if (!thing || thing->n_details >= THING_DETAILS || !(kept = keep_text(learn, value)))
		return;
	thing->details[thing->n_details++] = (struct detail){name, kept};
}

void thing_add_text(struct learn *learn, struct thing *thing, const char *name,
    const struct hive *hive, hive_cell key, const char *value)
{
	struct arena arena = {0};

	if (thing)
		thing_add(learn, thing, name, hive_text(hive, key, "", value, &arena, NULL));
	arena_free(&arena);
}

struct thing *learned_thing(
    struct learn *learn, enum thing_kind kind, size_t person, const char *name)
{
	for (size_t i = 0; i < learn->n_things; i++) {
		struct thing *thing = &learn->things[i];

		if (thing->kind == kind && thing->person == person &&
		    utf_equal_fold(thing->name, name))
			return thing;
	}
	return NULL;
}

size_t keys_below(const struct hive *hive, hive_cell key, const char *path, struct arena *arena,
    hive_cell **cells)
{
	size_t count;

	if (!hive || key == HIVE_NO_CELL || (key = hive_find(hive, key, path)) == HIVE_NO_CELL)
		return 0;
	count = hive_subkeys(hive, key, arena, cells);
	return count < KEYS_LIMIT ? count : KEYS_LIMIT;
}

struct location file_at(const struct learn *learn, const char *path)
{
	const char *name = strrchr(path, '\\');
	struct arena arena = {0};
	char *folder = name && name[1] ? arena_text(&arena, path, (size_t)(name - path)) : NULL;
	struct location at = NO_LOCATION;
	const struct catalogue *catalogue;
	uint32_t entry;

	if (folder)
		at = survey_resolve(learn->survey, learn->system, folder);
	arena_free(&arena);
	catalogue = survey_catalogue(learn->survey, at.volume);
	if (!catalogue || at.node == NONE)
		return NO_LOCATION;
	entry = catalogue_child(catalogue, at.node, name + 1);
	if (entry == NONE)
		return NO_LOCATION;
	at.node = catalogue->entries[entry].node;
	return at;
}

struct location picture_at(const struct learn *learn, const char *path)
{
	static const char *const endings[] = {".jpg", ".jpeg", ".jfif", ".png", ".bmp", ".dib",
	    ".gif", ".tif", ".tiff", ".webp", ".heic", ".avif"};
	struct location at = file_at(learn, path);
	const struct catalogue *catalogue = survey_catalogue(learn->survey, at.volume);
	const struct node *node = catalogue ? catalogue_node(catalogue, at.node) : NULL;
	const struct stream *stream = node ? catalogue_stream(catalogue, at.node, "") : NULL;
	bool is_picture = false;

	for (size_t i = 0; i < sizeof(endings) / sizeof(endings[0]); i++)
		is_picture = is_picture || name_ends_in(path, endings[i]);
	return is_picture && node && !(node->flags & NODE_FOLDER) && stream &&
		       stream->size <= PICTURE_LIMIT
		   ? at
		   : NO_LOCATION;
}

bool name_ends_in(const char *name, const char *ending)
{
	size_t length = strlen(name), n = strlen(ending);

	return length > n && utf_equal_fold(name + length - n, ending);
}

/* Adds those of a kind, the machine's or persons'. */
static size_t sort_into(struct thing *all, size_t count, const struct thing *things,
    size_t n_things, enum thing_kind kind, bool of_persons)
{
	for (size_t i = 0; i < n_things; i++)
		if (things[i].kind == kind && (things[i].person != SIZE_MAX) == of_persons)
			all[count++] = things[i];
	return count;
}

/* By kind, the machine's first, and then in the order in which they were learned. */
bool keep_things(struct learn *learn)
{
	struct old_system *system = learn->system;
	size_t total = system->n_things + learn->n_things, count = 0;
	struct thing *all;

	if (learn->n_things == 0)
		return true;
	all = arena_array(&learn->survey->arena, total, sizeof(*all));
	if (!all)
		return false;
	for (unsigned part = 0; part < 2 * THING_COUNT; part++) {
		count = sort_into(
		    all, count, system->things, system->n_things, part / 2, part % 2 == 1);
		count =
		    sort_into(all, count, learn->things, learn->n_things, part / 2, part % 2 == 1);
	}
	system->things = all;
	system->n_things = count;
	return true;
}

/* --- as JSON --- */

static void thing_to_json(
    const struct old_system *system, const struct thing *thing, struct json *json)
{
	json_begin_object(json);
	json_key_text(json, "kind", kinds[thing->kind].name);
	json_key_text(json, "person",
	    thing->person < system->n_persons ? system->persons[thing->person].key : NULL);
	json_key_text(json, "name", thing->name);
	json_key(json, "details");
	json_begin_object(json);
	for (size_t i = 0; i < thing->n_details; i++)
		json_key_text(json, thing->details[i].name, thing->details[i].value);
	json_end(json);
	json_key_bool(json, "comes_with_windows", thing->comes_with_windows);
	json_key_text(json, "advice", thing->advice);
	json_end(json);
}

void things_to_json(const struct old_system *system, struct json *json)
{
	json_begin_array(json);
	for (size_t i = 0; i < system->n_things; i++)
		thing_to_json(system, &system->things[i], json);
	json_end(json);
}

void devices_to_json(const struct survey *survey, struct json *json)
{
	json_begin_array(json);
	for (size_t s = 0; s < survey->n_systems; s++) {
		json_begin_object(json);
		json_key_text(json, "pc", survey->systems[s].key);
		json_key(json, "things");
		things_to_json(&survey->systems[s], json);
		json_end(json);
	}
	json_end(json);
}
