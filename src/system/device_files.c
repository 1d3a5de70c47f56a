/*
 * Things in small files: profiles of wireless networks, phone books, tasks made by persons, pinned
 * things, network places; and which kept driver package belongs to which printer. See
 * devices_read().
 *
 * Sources: Microsoft, "WLAN_profile Schema" (name, SSIDConfig, MSM); task_file.h; shell_link.h. The
 * folders: common practice, no source.
 */
#include "system/learn_devices.h"

#include "ntfs/data.h"
#include "ntfs/reparse.h"
#include "system/phone_book.h"
#include "system/shell_link.h"
#include "system/task_file.h"
#include "system/library_file.h"
#include "system/xml_element.h"

#include <stdlib.h>
#include <string.h>

#define FILES_LIMIT 4000u  /* of one old system */
#define FOLDER_LIMIT 4000u /* entries of one folder that are looked at */
#define DEPTH_LIMIT 6u
#define ENTRIES_LIMIT 200000u /* looked at in all: damage can give one folder many names */
#define NAMES_LIMIT 6u                  /* of networks in one finding */
#define PROFILE_LIMIT ((size_t)1 << 20) /* bytes of a network's profile */

struct reading {
	struct learn learn;
	struct old_system *system;
	struct error *error;
	size_t n_files, n_entries;
	struct buf keys; /* names of the wireless networks whose key is kept */
	size_t n_keys;
	bool stopped;
};

/* A file that was found, and below which folder. */
struct found {
	struct location at;
	const char *name; /* the file's own */
	const char *path; /* from the folder that was asked for */
	size_t person;
	const char *where; /* in words */
};

typedef void take_file(struct reading *reading, const struct found *found);

/* --- going through folders --- */

static uint8_t *load(
    struct reading *reading, struct location at, size_t limit, struct arena *arena, size_t *length)
{
	const struct catalogue *catalogue = survey_catalogue(reading->learn.survey, at.volume);
	const struct stream *stream = catalogue_stream(catalogue, at.node, "");
	struct holes holes = {0};
	uint8_t *data = NULL;

	if (stream && stream->size > 0 && data_content(catalogue, stream) == CONTENT_READABLE &&
	    !traces_spare(reading->learn.survey, at.volume))
		data = data_load(catalogue, stream, limit, arena, length, &holes);
	holes_free(&holes);
	return data;
}

static void take_one(struct reading *reading, const struct found *found, take_file *take)
{
	if (reading->n_files++ >= FILES_LIMIT)
		return;
	reading->stopped = survey_is_stopped(reading->error);
	if (!reading->stopped)
		take(reading, found);
}

/*
 * Every file below a folder, down to a depth; links are not followed, nor a folder called `except`
 * at its top.
 */
static void go_through(struct reading *reading, const struct found *folder, unsigned depth,
    const char *except, take_file *take)
{
	const struct catalogue *catalogue =
	    survey_catalogue(reading->learn.survey, folder->at.volume);
	const uint32_t *children;
	size_t count = catalogue && folder->at.node != NONE
			   ? catalogue_children(catalogue, folder->at.node, &children)
			   : 0;

	for (size_t i = 0; i < count && i < FOLDER_LIMIT && !reading->stopped; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const struct node *node = catalogue_node(catalogue, entry->node);
		const char *name = catalogue_name(catalogue, entry->name);
		struct arena arena = {0};
		struct found found = *folder;

		if (reading->n_entries++ >= ENTRIES_LIMIT)
			return;
		if (!node || reparse_kind(node->reparse_tag) == REPARSE_KIND_LINK ||
		    (except && utf_equal_fold(name, except)))
			continue;
		found.at.node = entry->node;
		found.name = name;
		found.path =
		    *folder->path ? arena_printf(&arena, "%s\\%s", folder->path, name) : name;
		if (found.path && !(node->flags & NODE_FOLDER))
			take_one(reading, &found, take);
		else if (found.path && depth > 0)
			go_through(reading, &found, depth - 1, NULL, take);
		arena_free(&arena);
	}
}

/* The same for a folder by its path. */
static void go_below(struct reading *reading, struct location from, const char *path,
    unsigned depth, const char *except, take_file *take, size_t person, const char *where)
{
	const struct catalogue *catalogue = survey_catalogue(reading->learn.survey, from.volume);
	struct found folder = {
	    .at = from, .name = "", .path = "", .person = person, .where = where};

	if (!catalogue || from.node == NONE)
		return;
	folder.at.node = catalogue_lookup(catalogue, from.node, path);
	go_through(reading, &folder, depth, except, take);
}

/* --- wireless networks --- */

/* One that the list of networks told already, so that nothing is told twice. */
static struct thing *known_network(struct reading *reading, const char *name)
{
	for (size_t i = 0; i < reading->system->n_things; i++) {
		struct thing *thing = &reading->system->things[i];

		if (thing->kind == THING_NETWORK && utf_equal_fold(thing->name, name))
			return thing;
	}
	return learned_thing(&reading->learn, THING_NETWORK, SIZE_MAX, name);
}

static void tell_network(
    struct reading *reading, const char *xml, const char *name, struct arena *arena)
{
	struct thing *thing = known_network(reading, name);
	char *kind =
	    xml_element(xml, "WLANProfile/MSM/security/authEncryption/authentication", arena);
	char *network = xml_element(xml, "WLANProfile/SSIDConfig/SSID/name", arena);
	/* Whether there is a key, and never what it is. */
	bool has_key = xml_has(xml, "WLANProfile/MSM/security/sharedKey/keyMaterial");

	if (!thing)
		thing = learn_thing(&reading->learn, THING_NETWORK, SIZE_MAX, name);
	if (!thing || thing_detail(thing, "key"))
		return;
	if (!thing_detail(thing, "network"))
		thing_add(&reading->learn, thing, "network", "wireless");
	if (network && strcmp(network, name) != 0)
		thing_add(&reading->learn, thing, "network_name", network);
	thing_add(&reading->learn, thing, "security", kind);
	thing_add(&reading->learn, thing, "key", has_key ? "kept" : "none");
	if (has_key) {
		thing->advice = "Choose this wireless network on the new machine and type in its "
				"key: it stands on the "
				"router or in its papers, and the old PC's network settings show "
				"it while it still "
				"starts.";
		if (reading->n_keys++ < NAMES_LIMIT)
			buf_printf(
			    &reading->keys, "%s%s", reading->n_keys > 1 ? ", " : "", thing->name);
	} else if (kind && strcmp(kind, "open") == 0) {
		thing->advice =
		    "Choose this wireless network on the new machine; it asks for no key.";
	} else {
		thing->advice = "Choose this wireless network on the new machine and sign in again "
				"with the account "
				"that it asks for.";
	}
}

static void take_network(struct reading *reading, const struct found *found)
{
	struct arena arena = {0};
	struct buf text = {0};
	size_t length = 0;
	uint8_t *data = name_ends_in(found->name, ".xml")
			    ? load(reading, found->at, PROFILE_LIMIT, &arena, &length)
			    : NULL;
	const char *xml = data ? file_text(data, length, &text) : "";
	char *name = xml_element(xml, "WLANProfile/name", &arena);

	if (name && *name)
		tell_network(reading, xml, name, &arena);
	buf_free(&text);
	arena_free(&arena);
}

static void tell_keys(struct reading *reading)
{
	if (reading->n_keys == 0 || reading->keys.failed)
		return;
	if (reading->n_keys > NAMES_LIMIT)
		buf_printf(&reading->keys, " and %zu more", reading->n_keys - NAMES_LIMIT);
	findings_add(reading->learn.survey->findings, WEIGHT_CAUTION, "wireless-keys",
	    reading->system->key,
	    "Have each key at hand before the old PC is given away: it stands on the router or in "
	    "its papers, and "
	    "the old PC's network settings show it while it still starts.",
	    "The %s kept for the old PC alone, and not in a job: %s.",
	    reading->n_keys == 1 ? "key of one wireless network is"
				 : "keys of wireless networks are",
	    buf_text(&reading->keys));
}

/* --- connections in phone books --- */

static void take_phone_book(struct reading *reading, const struct found *found)
{
	struct phone_book_entry entries[PHONE_BOOK_ENTRIES];
	struct arena arena = {0};
	size_t length = 0, count = 0;
	uint8_t *data = name_ends_in(found->name, ".pbk")
			    ? load(reading, found->at, PHONE_BOOK_LIMIT, &arena, &length)
			    : NULL;

	if (data)
		count = phone_book_read(data, length, &arena, entries);
	for (size_t i = 0; i < count; i++) {
		struct thing *thing = known_network(reading, entries[i].name);

		if (!thing)
			thing = learn_thing(
			    &reading->learn, THING_NETWORK, found->person, entries[i].name);
		if (!thing || thing_detail(thing, "address"))
			continue;
		if (!thing_detail(thing, "network"))
			thing_add(&reading->learn, thing, "network", entries[i].kind);
		thing_add(&reading->learn, thing, "address", entries[i].address);
		thing->advice = "Set this connection up again on the new machine, with the same "
				"address; the name and password to sign in with are needed.";
	}
	arena_free(&arena);
}

/* --- tasks --- */

/* The person that made it; SIZE_MAX: nobody of this old system, but the system itself or a program.
 */
static size_t author_of(const struct old_system *system, const char *author)
{
	const char *name = strrchr(author, '\\');

	name = name ? name + 1 : author;
	for (size_t i = 0; *name && i < system->n_persons; i++) {
		const struct person *person = &system->persons[i];

		if (!person->is_service && (utf_equal_fold(person->account, name) ||
					       utf_equal_fold(person->full_name, name) ||
					       utf_equal_fold(person->sid, name)))
			return i;
	}
	return SIZE_MAX;
}

static void take_task(struct reading *reading, const struct found *found)
{
	struct learn *learn = &reading->learn;
	struct arena arena = {0};
	struct task_file task;
	size_t length = 0, person = SIZE_MAX;
	uint8_t *data = load(reading, found->at, TASK_FILE_LIMIT, &arena, &length);
	struct thing *thing = NULL;

	if (data && task_file_read(data, length, &arena, &task))
		person = author_of(reading->system, task.author);
	if (person != SIZE_MAX)
		thing = learn_thing(learn, THING_TASK, person, found->path);
	if (thing) {
		thing_add(learn, thing, "program", task.program);
		thing_add(learn, thing, "arguments", task.arguments);
		thing_add(learn, thing, "folder", task.folder);
		thing_add(learn, thing, "when", task.when);
		thing_add(learn, thing, "remark", task.comment);
		thing_add(learn, thing, "author", task.author);
		thing_add(learn, thing, "off", task.is_off ? "yes" : NULL);
		thing->file = found->at;
	}
	arena_free(&arena);
}

/* --- shortcuts: pinned things, network places --- */

static void take_link(
    struct reading *reading, const struct found *found, enum thing_kind kind, const char *name)
{
	struct arena arena = {0};
	struct shell_link link;
	size_t length = 0;
	uint8_t *data = load(reading, found->at, SHELL_LINK_LIMIT, &arena, &length);
	struct thing *thing = NULL;

	if (data && shell_link_read(data, length, &arena, &link))
		thing = learn_thing(&reading->learn, kind, found->person, name);
	if (thing) {
		thing_add(&reading->learn, thing, "target", link.target);
		thing_add(&reading->learn, thing, "arguments", link.arguments);
		thing_add(&reading->learn, thing, "where", found->where);
	}
	arena_free(&arena);
}

static void take_pin(struct reading *reading, const struct found *found)
{
	struct arena arena = {0};
	size_t length = strlen(found->name);
	char *name =
	    name_ends_in(found->name, ".lnk") ? arena_text(&arena, found->name, length - 4) : NULL;

	if (name)
		take_link(reading, found, THING_PIN, name);
	arena_free(&arena);
}

/* A folder with the place's name holds "target.lnk". */
static void take_place(struct reading *reading, const struct found *found)
{
	struct arena arena = {0};
	const char *end = strrchr(found->path, '\\');
	char *name = end && utf_equal_fold(found->name, "target.lnk")
			 ? arena_text(&arena, found->path, (size_t)(end - found->path))
			 : NULL;

	if (name)
		take_link(reading, found, THING_NETWORK_PLACE, name);
	arena_free(&arena);
}

/* --- kept drivers --- */

static bool has_part(const char *path, const char *part)
{
	for (; path && *part && *path; path++)
		if (utf_starts_fold(path, part))
			return true;
	return false;
}

/* By the folder that the driver's set-up file names, else by the maker. */
static void tie_driver(struct reading *reading, struct thing *thing)
{
	const struct old_system *system = reading->system;
	const char *setup = thing_detail(thing, "driver_setup_file");
	const char *provider = thing_detail(thing, "driver_provider");
	const struct driver_package *best = NULL;

	for (size_t i = 0; i < system->n_drivers && !thing->comes_with_windows; i++) {
		const struct driver_package *driver = &system->drivers[i];
		const char *folder = strrchr(driver->folder, '\\');

		if (driver->is_scanner != (thing->kind == THING_SCANNER))
			continue;
		if (folder && has_part(setup, folder + 1)) {
			best = driver;
			break;
		}
		if (!best && provider && utf_equal_fold(provider, driver->provider))
			best = driver;
	}
	if (best && !thing_detail(thing, "driver_package"))
		thing_add(&reading->learn, thing, "driver_package", best->folder);
}

/* A default printer that every system has needs no choosing. */
static void tie_default(const struct old_system *system, struct thing *thing)
{
	for (size_t i = 0; i < system->n_things && !thing->comes_with_windows; i++)
		thing->comes_with_windows = system->things[i].kind == THING_PRINTER &&
					    system->things[i].comes_with_windows &&
					    utf_equal_fold(system->things[i].name, thing->name);
}

/* --- the stage --- */

static void read_person_files(struct reading *reading, size_t person)
{
	static const struct {
		const char *folder;
		unsigned depth;
		take_file *take;
		const char *where;
	} folders[] = {
	    {"AppData\\Roaming\\Microsoft\\Internet Explorer\\Quick Launch\\User Pinned\\TaskBar",
		0, take_pin, "taskbar"},
	    {"AppData\\Roaming\\Microsoft\\Internet Explorer\\Quick Launch\\User Pinned\\StartMenu",
		0, take_pin, "start menu"},
	    {"Application Data\\Microsoft\\Internet Explorer\\Quick Launch", 0, take_pin,
		"quick launch"},
	    {"AppData\\Roaming\\Microsoft\\Windows\\Network Shortcuts", 1, take_place, NULL},
	    {"NetHood", 1, take_place, NULL},
	    {"AppData\\Roaming\\Microsoft\\Network\\Connections\\Pbk", 0, take_phone_book, NULL},
	    {"Application Data\\Microsoft\\Network\\Connections\\Pbk", 0, take_phone_book, NULL}};

	for (size_t i = 0; i < sizeof(folders) / sizeof(folders[0]); i++)
		go_below(reading, reading->system->persons[person].profile, folders[i].folder,
		    folders[i].depth, NULL, folders[i].take, person, folders[i].where);
}

static void read_files(struct reading *reading)
{
	const struct old_system *system = reading->system;
	struct location windows = {system->volume, system->windows};
	struct location root = {system->volume, system->container};

	go_below(reading, root, "ProgramData\\Microsoft\\Wlansvc\\Profiles\\Interfaces", 1, NULL,
	    take_network, SIZE_MAX, NULL);
	go_below(reading, root, "ProgramData\\Microsoft\\Network\\Connections\\Pbk", 0, NULL,
	    take_phone_book, SIZE_MAX, NULL);
	/* Before Vista. */
	go_below(reading, system->public_profile,
	    "Application Data\\Microsoft\\Network\\Connections\\Pbk", 0, NULL, take_phone_book,
	    SIZE_MAX, NULL);
	/* The system's own tasks fill a folder of that name; no person's lie there. */
	go_below(reading, windows, "System32\\Tasks", DEPTH_LIMIT, "Microsoft", take_task, SIZE_MAX,
	    NULL);
	go_below(reading, windows, "Tasks", 0, NULL, take_task, SIZE_MAX, NULL);
	for (size_t i = 0; i < system->n_persons; i++)
		if (!system->persons[i].is_service)
			read_person_files(reading, i);
}

bool devices_read(struct survey *survey, struct old_system *system, bool files, struct error *error)
{
	struct reading reading = {
	    .learn = {.survey = survey, .system = system}, .system = system, .error = error};
	bool good;

	for (size_t i = 0; i < system->n_things; i++) {
		struct thing *thing = &system->things[i];

		if (thing->kind == THING_PRINTER || thing->kind == THING_SCANNER)
			tie_driver(&reading, thing);
		else if (thing->kind == THING_DEFAULT_PRINTER)
			tie_default(system, thing);
	}
	if (files)
		read_files(&reading);
	good = !reading.stopped;
	if (good && (reading.learn.no_memory || !keep_things(&reading.learn)))
		good = error_no_memory(error);
	if (good)
		tell_keys(&reading);
	free(reading.learn.things);
	buf_free(&reading.keys);
	return good;
}
