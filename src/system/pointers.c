/*
 * Folders that settings of programs name and that are not on the drives at hand: on a drive that is
 * not attached, on a share. What lies there is in no place, so nobody would miss it before the old
 * PC is gone.
 *
 * Looked at: library definitions, lists of profiles and preferences of browsers and mail programs,
 * and every text in the person's hive below Software that is a path, but for lists of what was
 * opened last. How such lists are called: common practice, no source.
 */
#include "system/inner.h"

#include "base/text.h"
#include "base/utf.h"
#include "ntfs/data.h"
#include "system/library_file.h"
#include "system/ties.h"

#include <stdlib.h>
#include <string.h>

#define KEY_LIMIT 500000u
#define ROOT_LIMIT 16 /* drives and shares of one person */
#define FILE_LIMIT 64 /* small files that are read */
#define DEPTH_LIMIT 4 /* folders below that of the settings */
#define SCRATCH_LIMIT ((size_t)1 << 20)
#define VALUE_LIMIT ((uint64_t)256 << 20) /* bytes of values */

/* One drive that is not attached, or one share. */
struct far_root {
	const char *name;    /* "E:", "\\server\share" */
	const char *example; /* a path there */
	const char *from;    /* who names it */
	size_t count;
	bool is_share;
};

struct pointers {
	struct learn *learn;
	const struct person *person;
	struct arena arena;
	struct far_root roots[ROOT_LIMIT];
	size_t n_roots;
	size_t n_files;
	uint64_t value_bytes; /* read so far: many values can share one large cell */
};

/* --- one path --- */

static bool is_attached(const struct learn *learn, char letter)
{
	const struct old_system *system = learn->system;

	letter = letter >= 'a' && letter <= 'z' ? (char)(letter - 'a' + 'A') : letter;
	if (letter == system->letter)
		return true;
	for (size_t i = 0; i < system->n_letters; i++)
		if (system->letters[i].letter == letter)
			return system->letters[i].volume != SIZE_MAX;
	return false;
}

/* "E:" or "\\server\share" of a path; NULL when it is neither, or at hand. */
static char *root_of(struct pointers *pointers, const char *path, bool *is_share)
{
	size_t server, share;

	*is_share = path_is_share(path);
	if (!*is_share) {
		bool is_letter = ((path[0] | 0x20) >= 'a' && (path[0] | 0x20) <= 'z') &&
				 path[1] == ':' && (path[2] == '\\' || path[2] == '/');

		return is_letter && path[3] && !is_attached(pointers->learn, path[0])
			   ? arena_printf(&pointers->arena, "%c:", path[0] & ~0x20)
			   : NULL;
	}
	server = strcspn(path + 2, "\\/");
	if (server == 0 || path[2 + server] == 0)
		return NULL;
	share = strcspn(path + 2 + server + 1, "\\/");
	return share == 0 ? NULL : arena_text(&pointers->arena, path, 2 + server + 1 + share);
}

static bool is_below(const char *path, const char *folder)
{
	size_t length = folder ? strlen(folder) : 0;

	return length > 0 && utf_starts_fold(path, folder) && strlen(path) >= length &&
	       (path[length] == 0 || path[length] == '\\');
}

/* Places have findings of their own. */
static bool is_in_place(const struct person *person, const char *path)
{
	for (size_t i = 0; i < person->n_places; i++)
		if (is_below(path, person->places[i].path))
			return true;
	return false;
}

static void add_path(struct pointers *pointers, const char *path, const char *from)
{
	struct far_root *root = pointers->roots;
	bool is_share;
	char *name;

	path = path_without_prefix(path);
	if (strlen(path) > TEXT_LIMIT || is_in_place(pointers->person, path))
		return;
	name = root_of(pointers, path, &is_share);
	if (!name)
		return;
	while (root < pointers->roots + pointers->n_roots && !utf_equal_fold(root->name, name))
		root++;
	if (root == pointers->roots + ROOT_LIMIT)
		return;
	if (root == pointers->roots + pointers->n_roots) {
		*root = (struct far_root){.name = name,
		    .example = arena_strdup(&pointers->arena, path),
		    .from = arena_strdup(&pointers->arena, from),
		    .is_share = is_share};
		if (!root->example || !root->from)
			return;
		pointers->n_roots++;
	}
	root->count++;
}

static void report(struct pointers *pointers)
{
	struct findings *findings = &pointers->learn->later;
	const char *key = pointers->person->key;

	for (size_t i = 0; i < pointers->n_roots; i++) {
		const struct far_root *root = &pointers->roots[i];
		const char *what = root->count == 1 ? "a file or folder" : "files or folders";

		if (root->is_share)
			findings_add(findings, WEIGHT_CAUTION, "settings-point-elsewhere", key,
			    "Ask the owner what lies there, and whether that server will still be "
			    "there.",
			    "Settings of programs name %s on the network share %s: %s (%s).", what,
			    root->name, root->example, root->from);
		else
			findings_add(findings, WEIGHT_CAUTION, "settings-point-elsewhere", key,
			    "Ask the owner what lay there. If that drive still exists, attach it "
			    "and run again.",
			    "Settings of programs name %s on %s, whose drive is not attached: %s "
			    "(%s).",
			    what, root->name, root->example, root->from);
	}
}

/* --- small files --- */

typedef size_t folders_of_file(
    const uint8_t *data, size_t length, struct arena *arena, const char *folders[LIBRARY_FOLDERS]);

/* The same files tell which address the browser or mail program signs in with. */
static void keep_addresses(
    struct pointers *pointers, const uint8_t *data, size_t length, struct arena *arena)
{
	size_t person = (size_t)(pointers->person - pointers->learn->system->persons);
	const char *addresses[LIBRARY_FOLDERS];

	for (int of_mail = 0; of_mail < 2; of_mail++) {
		size_t count = preferences_addresses(data, length, of_mail, arena, addresses);

		for (size_t i = 0; i < count; i++)
			keep_sign_in(pointers->learn, person,
			    of_mail ? SIGN_IN_MAIL : SIGN_IN_BROWSER, addresses[i]);
	}
}

static void read_file(
    struct pointers *pointers, size_t volume, uint32_t entry, folders_of_file *folders_of)
{
	const struct catalogue *catalogue = survey_catalogue(pointers->learn->survey, volume);
	const struct stream *stream =
	    catalogue_stream(catalogue, catalogue->entries[entry].node, "");
	const char *folders[LIBRARY_FOLDERS];
	struct holes holes = {0};
	struct arena arena = {0};
	uint8_t *data;
	size_t length, count;

	if (!stream || pointers->n_files++ >= FILE_LIMIT ||
	    data_content(catalogue, stream) != CONTENT_READABLE)
		return;
	data = data_load(catalogue, stream, LIBRARY_FILE_LIMIT, &arena, &length, &holes);
	count = data ? folders_of(data, length, &arena, folders) : 0;
	for (size_t i = 0; i < count; i++)
		add_path(pointers, folders[i],
		    catalogue_name(catalogue, catalogue->entries[entry].name));
	if (data && folders_of == preferences_folders)
		keep_addresses(pointers, data, length, &arena);
	holes_free(&holes);
	arena_free(&arena);
}

static bool has_ending(const char *name, const char *ending)
{
	size_t length = strlen(name), more = strlen(ending);

	return length > more && utf_equal_fold(name + length - more, ending);
}

static void read_libraries(struct pointers *pointers, struct location roaming)
{
	const struct catalogue *catalogue =
	    survey_catalogue(pointers->learn->survey, roaming.volume);
	uint32_t folder =
	    catalogue_lookup(catalogue, roaming.node, "Microsoft\\Windows\\Libraries");
	const uint32_t *children;
	size_t count = folder == NONE ? 0 : catalogue_children(catalogue, folder, &children);

	for (size_t i = 0; i < count; i++)
		if (has_ending(catalogue_name(catalogue, catalogue->entries[children[i]].name),
			".library-ms"))
			read_file(pointers, roaming.volume, children[i], library_file_folders);
}

/* Files of programs by their name; what they hold decides about the rest. */
static folders_of_file *reader_of(const char *name)
{
	if (utf_equal_fold(name, "profiles.ini"))
		return profile_list_folders;
	if (utf_equal_fold(name, "prefs.js") || utf_equal_fold(name, "Preferences"))
		return preferences_folders;
	return NULL;
}

/* They lie up to four folders deep: maker, program, folder of profiles, profile. */
static void read_preferences(struct pointers *pointers, struct location at, unsigned depth)
{
	const struct catalogue *catalogue = survey_catalogue(pointers->learn->survey, at.volume);
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, at.node, &children);

	for (size_t i = 0; i < count && pointers->n_files < FILE_LIMIT; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const struct node *node = catalogue_node(catalogue, entry->node);
		folders_of_file *folders_of = reader_of(catalogue_name(catalogue, entry->name));

		if (!node)
			continue;
		if (node->flags & NODE_FOLDER && depth < DEPTH_LIMIT && node->reparse_tag == 0)
			read_preferences(
			    pointers, (struct location){at.volume, entry->node}, depth + 1);
		else if (folders_of && !(node->flags & NODE_FOLDER))
			read_file(pointers, at.volume, children[i], folders_of);
	}
}

static bool is_there(const struct pointers *pointers, struct location at)
{
	return at.node != NONE && survey_catalogue(pointers->learn->survey, at.volume) != NULL;
}

static void read_files(struct pointers *pointers)
{
	struct location roaming = settings_folder(pointers->learn->survey,
	    pointers->person, "settings-roaming", "AppData\\Roaming");
	struct location local = settings_folder(pointers->learn->survey,
	    pointers->person, "settings-local", "AppData\\Local");

	if (is_there(pointers, roaming)) {
		read_libraries(pointers, roaming);
		read_preferences(pointers, roaming, 0);
	}
	if (is_there(pointers, local))
		read_preferences(pointers, local, 0);
}

/* --- the hive --- */

/* Keys and values about what was opened, where windows stood, and where programs came from. */
static bool is_passing(const char *name)
{
	static const char *const parts[] = {"MRU", "Recent", "History", "Shell Folders",
	    "UserAssist", "MuiCache", "ComDlg32", "TypedPaths", "MountPoints2", "Uninstall",
	    "AppCompatFlags", "FeatureUsage"};
	static const char *const wholes[] = {
	    "Bags", "Cache", "Installer", "Run", "RunOnce", "Search", "SourceList"};

	for (size_t i = 0; i < sizeof(wholes) / sizeof(wholes[0]); i++)
		if (utf_equal_fold(name, wholes[i]))
			return true;
	for (size_t i = 0; i < sizeof(parts) / sizeof(parts[0]); i++)
		for (const char *at = name; *at; at++)
			if (utf_starts_fold(at, parts[i]))
				return true;
	return utf_starts_fold(name, "Last");
}

/* Does the UTF-16 text begin like a path in full? */
static bool begins_as_path(const uint8_t *data, size_t length)
{
	if (length < 10 || data[1] != 0 || data[3] != 0)
		return false;
	return (data[2] == ':' && data[4] == '\\') || (data[0] == '\\' && data[2] == '\\');
}

static void read_value(struct pointers *pointers, const struct hive *hive, hive_cell value,
    const char *key, struct arena *scratch)
{
	uint32_t type;
	const uint8_t *data;
	size_t length, units = 0;
	char *name, *path;

	if (pointers->value_bytes > VALUE_LIMIT ||
	    !hive_value_data(hive, value, scratch, &type, &data, &length, NULL))
		return;
	pointers->value_bytes += length;
	if ((type != HIVE_SZ && type != HIVE_EXPAND_SZ) || !begins_as_path(data, length))
		return;
	name = hive_value_name(hive, value, scratch);
	if (!name || is_passing(name) || length > TEXT_LIMIT)
		return;
	while (units < length / 2 && (data[2 * units] || data[2 * units + 1]))
		units++;
	path = utf_arena_from_utf16(scratch, data, units, NULL);
	/* A list of paths, or a command, is no folder. */
	if (path && !strpbrk(path, ";\"<>|*?"))
		add_path(pointers, path, key);
}

struct keys {
	hive_cell *items;
	size_t count, capacity;
};

static void read_key(struct pointers *pointers, const struct hive *hive, hive_cell key,
    struct keys *keys, struct arena *scratch)
{
	char *name = hive_key_name(hive, key, scratch);
	struct arena one = {0}; /* of values */
	hive_cell *cells;
	size_t count;

	if (!name || is_passing(name))
		return;
	count = hive_values(hive, key, scratch, &cells);
	for (size_t i = 0; i < count; i++) {
		read_value(pointers, hive, cells[i], name, &one);
		if (one.total > SCRATCH_LIMIT)
			arena_free(&one);
	}
	arena_free(&one);
	count = hive_subkeys(hive, key, scratch, &cells);
	if (!array_reserve(
		&keys->items, &keys->capacity, keys->count + count, sizeof(*keys->items)))
		return;
	/* The first one comes off first. */
	for (size_t i = count; i-- > 0;)
		keys->items[keys->count++] = cells[i];
}

static void read_hive(struct pointers *pointers, const struct hive *hive)
{
	struct keys keys = {0};
	struct arena scratch = {0};
	hive_cell software = hive_find(hive, hive_root(hive), "Software");

	if (software != HIVE_NO_CELL)
		read_key(pointers, hive, software, &keys, &scratch);
	for (size_t done = 0; keys.count > 0 && done < KEY_LIMIT; done++) {
		hive_cell key = keys.items[--keys.count];

		read_key(pointers, hive, key, &keys, &scratch);
		if (scratch.total > SCRATCH_LIMIT)
			arena_free(&scratch);
	}
	arena_free(&scratch);
	free(keys.items);
}

void learn_pointers(struct learn *learn, const struct person *person, const struct hive *hive)
{
	struct pointers pointers = {.learn = learn, .person = person};

	read_files(&pointers);
	if (hive)
		read_hive(&pointers, hive);
	report(&pointers);
	arena_free(&pointers.arena);
}
