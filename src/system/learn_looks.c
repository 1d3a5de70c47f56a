/*
 * Wallpaper, account picture, extra fonts: files that somebody added, wherever they lie.
 *
 * A font is extra where it does not belong to the old system's own installer account
 * (TrustedInstaller), which owns every file that comes with the system since Vista; on systems
 * without such owners, where it was made more than a day after the system was installed; and where
 * a person installed it for themselves.
 *
 * Sources: Microsoft, "Desktop" values (Wallpaper), "Fonts" keys; the SID of TrustedInstaller as
 * derived from the name of a service, [MS-DTYP] 2.4.2.4 (NT SERVICE). TranscodedImageCache (a path
 * from byte 24 on) and the list of account pictures: common practice, no source.
 */
#include "system/learn_devices.h"

#include "base/filetime.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define DAY (INT64_C(86400) * FILETIME_PER_SECOND)
#define TRUSTED_INSTALLER "S-1-5-80-956008885-3418522649-1831038044-1853292631-2271478464"
#define IMAGE_CACHE_PATH 24 /* offset of the path */

/* --- wallpaper --- */

/* Where the picture really came from: what Wallpaper names is often the system's own copy. */
static char *original_of(const struct hive *hive, struct arena *arena)
{
	const uint8_t *data;
	size_t length, units = 0;

	if (!hive_bytes(hive, hive_root(hive), "Control Panel\\Desktop", "TranscodedImageCache",
		arena, &data, &length) ||
	    length < IMAGE_CACHE_PATH || length > IMAGE_CACHE_PATH + 2 * TEXT_LIMIT)
		return NULL;
	data += IMAGE_CACHE_PATH;
	length -= IMAGE_CACHE_PATH;
	while (units < length / 2 && (data[2 * units] || data[2 * units + 1]))
		units++;
	return units ? utf_arena_from_utf16(arena, data, units, NULL) : NULL;
}

static void learn_wallpaper(struct learn *learn, const struct hive *hive, size_t person,
    const struct environment *environment)
{
	struct arena arena = {0};
	char *named =
	    hive_text(hive, hive_root(hive), "Control Panel\\Desktop", "Wallpaper", &arena, NULL);
	char *original = original_of(hive, &arena);
	char *path = original ? original : named;
	struct location at = NO_LOCATION;
	struct thing *thing = NULL;

	if (path && *path && strlen(path) <= TEXT_LIMIT)
		path = environment_expand(environment, path, &arena, NULL);
	if (path && *path)
		thing = learn_thing(learn, THING_WALLPAPER, person, path);
	if (thing) {
		at = picture_at(learn, thing->name);
		if (original && named && !utf_equal_fold(original, named))
			thing_add(learn, thing, "shown_from", named);
		if (at.node == NONE) {
			thing_add(learn, thing, "file", "not here");
			thing->advice =
			    "The picture is not on the drives at hand; the copy that was shown, "
			    "TranscodedWallpaper, is among the person's settings in the job.";
		}
		thing->file = at;
	}
	arena_free(&arena);
}

/* --- account picture --- */

/* The largest of Image32, Image96, Image448, ... */
static char *largest_image(const struct hive *hive, hive_cell key, struct arena *arena)
{
	hive_cell *values;
	size_t count = hive_values(hive, key, arena, &values);
	unsigned long best = 0;
	char *path = NULL;

	for (size_t i = 0; i < count && i < 64; i++) {
		char *name = hive_value_name(hive, values[i], arena);
		unsigned long width =
		    name && utf_starts_fold(name, "Image") ? strtoul(name + 5, NULL, 10) : 0;
		char *text = width > best ? hive_text(hive, key, "", name, arena, NULL) : NULL;

		if (text && *text) {
			best = width;
			path = text;
		}
	}
	return path;
}

/* Before Windows 8 a picture with the account's name lay among those of the machine. */
static struct location picture_by_name(const struct learn *learn, const struct person *person)
{
	static const char *const folders[] = {"ProgramData\\Microsoft\\User Account Pictures",
	    "Documents and Settings\\All Users\\Application Data\\Microsoft\\User Account "
	    "Pictures"};
	static const char *const endings[] = {".bmp", ".dat"};
	const struct old_system *system = learn->system;
	const struct catalogue *catalogue = survey_catalogue(learn->survey, system->volume);
	struct location at = NO_LOCATION;
	struct arena arena = {0};

	for (size_t i = 0; catalogue && *person->account && i < 4 && at.node == NONE; i++) {
		uint32_t folder = catalogue_lookup(catalogue, system->container, folders[i / 2]);
		char *name = arena_printf(&arena, "%s%s", person->account, endings[i % 2]);
		uint32_t entry =
		    folder != NONE && name ? catalogue_child(catalogue, folder, name) : NONE;

		if (entry != NONE)
			at = (struct location){system->volume, catalogue->entries[entry].node};
	}
	arena_free(&arena);
	return at;
}

/* The name that the old system's list gives the picture, in `arena`; NULL: none. */
static char *listed_picture(const struct learn *learn, const char *sid, struct arena *arena)
{
	hive_cell key = HIVE_NO_CELL;
	char *path = NULL;

	if (learn->software && *sid)
		path = arena_printf(arena, KEY_WINDOWS "\\AccountPicture\\Users\\%s", sid);
	if (path)
		key = hive_find(learn->software, hive_root(learn->software), path);
	return key == HIVE_NO_CELL ? NULL : largest_image(learn->software, key, arena);
}

static void learn_account_picture(struct learn *learn, size_t person)
{
	const struct person *of = &learn->system->persons[person];
	struct arena arena = {0};
	char *path = listed_picture(learn, of->sid, &arena);
	struct location at = path ? picture_at(learn, path) : picture_by_name(learn, of);
	struct thing *thing = NULL;
	struct buf words = {0};

	if (!path && at.node != NONE) {
		catalogue_node_path(survey_catalogue(learn->survey, at.volume), at.node, &words);
		path = arena_printf(&arena, "%c:%s", learn->system->letter, buf_text(&words));
		buf_free(&words);
	}
	if (path)
		thing = learn_thing(learn, THING_ACCOUNT_PICTURE, person, path);
	if (thing)
		thing->file = at;
	if (thing && at.node == NONE) {
		thing_add(learn, thing, "file", "not here");
		thing->advice = "The picture is not on the drives at hand: ask its owner for it.";
	}
	arena_free(&arena);
}

/* --- fonts --- */

static bool is_font(const char *name)
{
	static const char *const endings[] = {
	    ".ttf", ".ttc", ".otf", ".otc", ".fon", ".fnt", ".pfb", ".pfm", ".pfa"};

	for (size_t i = 0; i < sizeof(endings) / sizeof(endings[0]); i++)
		if (name_ends_in(name, endings[i]))
			return true;
	return false;
}

static bool is_installers(const struct catalogue *catalogue, const struct node *node)
{
	return strcmp(catalogue_name(catalogue, node->owner), TRUSTED_INSTALLER) == 0;
}

static bool is_extra(const struct learn *learn, const struct catalogue *catalogue,
    const struct node *node, bool by_owner)
{
	if (by_owner && node->owner)
		return !is_installers(catalogue, node);
	return learn->system->installed > 0 && node->created > learn->system->installed + DAY;
}

static struct thing *add_font(
    struct learn *learn, const char *name, size_t person, struct location at)
{
	struct thing *thing = learn_thing(learn, THING_FONT, person, name);
	const struct catalogue *catalogue = survey_catalogue(learn->survey, at.volume);
	const struct stream *stream =
	    catalogue && at.node != NONE ? catalogue_stream(catalogue, at.node, "") : NULL;

	if (thing && stream && stream->size <= PICTURE_LIMIT)
		thing->file = at;
	else if (thing)
		thing->advice = "The file of this font is not on the drives at hand: get it again "
				"from where it came.";
	return thing;
}

/* What the registry calls the font in a file: "Hill Sans (TrueType)"; "" when it does not name it.
 */
struct font_name {
	char *file, *name;
};

static size_t read_font_names(
    const struct hive *hive, hive_cell key, struct arena *arena, struct font_name **names)
{
	hive_cell *values;
	size_t count = hive_values(hive, key, arena, &values), n_names = 0;

	*names = arena_array(arena, count + 1, sizeof(**names));
	for (size_t i = 0; *names && i < count && i < 8 * KEYS_LIMIT; i++) {
		char *name = hive_value_name(hive, values[i], arena);
		char *file = name ? hive_text(hive, key, "", name, arena, NULL) : NULL;

		if (file && *file && strlen(file) <= TEXT_LIMIT && strlen(name) <= TEXT_LIMIT)
			(*names)[n_names++] = (struct font_name){file, name};
	}
	return n_names;
}

static void learn_font_folder(struct learn *learn, const struct font_name *names, size_t n_names)
{
	const struct old_system *system = learn->system;
	const struct catalogue *catalogue = survey_catalogue(learn->survey, system->volume);
	uint32_t folder = catalogue ? catalogue_lookup(catalogue, system->windows, "Fonts") : NONE;
	const uint32_t *children;
	size_t count = folder == NONE ? 0 : catalogue_children(catalogue, folder, &children);
	bool by_owner = false;
	size_t n_extra = 0;

	for (size_t i = 0; i < count; i++) {
		const struct node *node =
		    catalogue_node(catalogue, catalogue->entries[children[i]].node);

		by_owner = by_owner || (node && is_installers(catalogue, node));
	}
	for (size_t i = 0; i < count && n_extra < KEYS_LIMIT; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const struct node *node = catalogue_node(catalogue, entry->node);
		const char *file = catalogue_name(catalogue, entry->name), *name = NULL;

		if (!node || node->flags & NODE_FOLDER || !is_font(file) ||
		    !is_extra(learn, catalogue, node, by_owner))
			continue;
		n_extra++;
		for (size_t n = 0; n < n_names && !name; n++)
			if (utf_equal_fold(names[n].file, file))
				name = names[n].name;
		thing_add(learn,
		    add_font(learn, name ? name : file, SIZE_MAX,
			(struct location){system->volume, entry->node}),
		    "file", file);
	}
}

/* Fonts that lie elsewhere are named with their whole path. */
static void learn_fonts_elsewhere(
    struct learn *learn, const struct font_name *names, size_t n_names, size_t person)
{
	for (size_t i = 0; i < n_names && i < KEYS_LIMIT; i++) {
		const char *file = names[i].file;

		if (!is_font(file) || (!path_is_share(file) && !(file[0] && file[1] == ':')))
			continue;
		thing_add(learn, add_font(learn, names[i].name, person, file_at(learn, file)),
		    "file", file);
	}
}

static void learn_font_key(
    struct learn *learn, const struct hive *hive, const char *path, size_t person)
{
	struct arena arena = {0};
	hive_cell key = hive ? hive_find(hive, hive_root(hive), path) : HIVE_NO_CELL;
	struct font_name *names = NULL;
	size_t n_names = key == HIVE_NO_CELL ? 0 : read_font_names(hive, key, &arena, &names);

	if (person == SIZE_MAX)
		learn_font_folder(learn, names, n_names);
	learn_fonts_elsewhere(learn, names, n_names, person);
	arena_free(&arena);
}

void learn_fonts(struct learn *learn)
{
	learn_font_key(learn, learn->software, KEY_NT "\\Fonts", SIZE_MAX);
}

void learn_looks(struct learn *learn, const struct hive *hive, size_t person,
    const struct environment *environment)
{
	learn_font_key(learn, hive, "Software\\" KEY_NT "\\Fonts", person);
	learn_wallpaper(learn, hive, person, environment);
	learn_account_picture(learn, person);
}
