/* Names of store apps: see app_names.h. */
#include "system/app_names.h"

#include "base/utf.h"
#include "ntfs/data.h"
#include "ntfs/extents.h"
#include "system/inner.h"
#include "system/library_file.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

#define MANIFEST_LIMIT ((size_t)1 << 20)
#define MANIFESTS_LIMIT 1000u
#define CACHE_KEYS 5000u
#define CACHE_DEPTH 4u
#define KEY_APPS "Local Settings\\Software\\" KEY_WINDOWS "\\AppModel\\"

/* Apps that people know by a name: no parts, and not named yet. */
static bool wants_name(const struct program *program)
{
	return program->origin == PROGRAM_STORE_APP && !program->is_component &&
	       program->name_from == NAME_FROM_PACKAGE;
}

static bool is_plain(const char *text)
{
	return text && *text && *text != '@' && !utf_starts_fold(text, "ms-resource:") &&
	       strlen(text) <= 300;
}

/* --- the hive of classes --- */

/* The keys of a cache of texts that resources stand for, at whatever depth. */
struct text_cache {
	const struct hive *hive;
	hive_cell keys[CACHE_KEYS];
	size_t count;
};

static void collect_keys(
    struct text_cache *cache, hive_cell key, struct arena *arena, unsigned depth)
{
	hive_cell *keys;
	size_t n_keys = hive_subkeys(cache->hive, key, arena, &keys);

	if (cache->count < CACHE_KEYS)
		cache->keys[cache->count++] = key;
	for (size_t i = 0; i < n_keys && depth > 0 && cache->count < CACHE_KEYS; i++)
		collect_keys(cache, keys[i], arena, depth - 1);
}

/* The text itself, or what the cache has for "@{package?ms-resource://...}"; NULL: neither. */
static char *plain_text(const struct text_cache *cache, char *text, struct arena *arena)
{
	char *found = is_plain(text) ? text : NULL;

	if (!text || *text != '@')
		return found;
	for (size_t i = 0; i < cache->count && !found; i++) {
		found = hive_text(cache->hive, cache->keys[i], "", text, arena, NULL);
		if (!is_plain(found))
			found = NULL;
	}
	return found;
}

/* What its start picture is shown with, where the package itself has no name that can be read. */
static char *name_on_start(
    const struct text_cache *cache, const struct program *program, struct arena *arena)
{
	const struct hive *hive = cache->hive;
	const char *path =
	    arena_printf(arena, KEY_APPS "SystemAppData\\%s\\SplashScreen", program->family);
	hive_cell list = path ? hive_find(hive, hive_root(hive), path) : HIVE_NO_CELL, *apps;
	size_t n_apps = list == HIVE_NO_CELL ? 0 : hive_subkeys(hive, list, arena, &apps);

	return n_apps > 0
		   ? plain_text(cache, hive_text(hive, apps[0], "", "AppName", arena, NULL), arena)
		   : NULL;
}

static bool name_by_hive(
    struct survey *survey, struct program *program, const struct text_cache *cache)
{
	const struct hive *hive = cache->hive;
	struct arena arena = {0};
	const char *path = arena_printf(&arena, KEY_APPS "Repository\\Packages\\%s", program->key);
	hive_cell key = path ? hive_find(hive, hive_root(hive), path) : HIVE_NO_CELL;
	char *name = NULL, *folder = NULL;
	bool good = path != NULL;

	if (key != HIVE_NO_CELL) {
		name = plain_text(
		    cache, hive_text(hive, key, "", "DisplayName", &arena, NULL), &arena);
		folder = hive_text(hive, key, "", "PackageRootFolder", &arena, NULL);
	}
	if (!name)
		name = name_on_start(cache, program, &arena);
	if (name) {
		program->name = arena_strdup(&survey->arena, name);
		program->name_from = NAME_FROM_HIVE;
		good = program->name != NULL;
	}
	if (!program->place && folder && *folder && strlen(folder) <= TEXT_LIMIT)
		program->place = arena_strdup(&survey->arena, folder);
	arena_free(&arena);
	return good;
}

static bool name_by_person(
    struct survey *survey, struct old_system *system, const struct person *person)
{
	struct learn learn = {.survey = survey, .system = system};
	struct hive *hive = load_classes_hive(&learn, person);
	struct text_cache *cache = hive ? malloc(sizeof(*cache)) : NULL;
	struct arena arena = {0};
	bool good = !hive || cache;

	if (cache) {
		hive_cell texts = hive_find(hive, hive_root(hive), "Local Settings\\MrtCache");

		cache->hive = hive;
		cache->count = 0;
		if (texts != HIVE_NO_CELL)
			collect_keys(cache, texts, &arena, CACHE_DEPTH);
		for (size_t i = 0; i < system->n_programs && good; i++)
			if (wants_name(&system->programs[i]))
				good = name_by_hive(survey, &system->programs[i], cache);
	}
	free(cache);
	arena_free(&arena);
	hive_close(hive);
	return good;
}

/* --- manifests --- */

char *manifest_property(
    const uint8_t *data, size_t length, const char *element, struct arena *arena)
{
	struct buf text = {0}, start = {0};
	const char *at = strstr(file_text(data, length, &text), "<Properties"), *end, *stop;
	char *found = NULL;

	buf_printf(&start, "<%s>", element);
	end = at ? strstr(at, "</Properties>") : NULL;
	at = end ? strstr(at, buf_text(&start)) : NULL;
	if (at && at < end) {
		at += start.length;
		at += strspn(at, " \t\r\n");
		stop = at + strcspn(at, "<");
		while (stop > at && strchr(" \t\r\n", stop[-1]))
			stop--;
		found = xml_text(at, (size_t)(stop - at), arena);
	}
	buf_free(&text);
	buf_free(&start);
	return found;
}

struct manifest {
	uint64_t place;
	size_t program, volume;
	const struct stream *stream;
};

static int by_place(const void *a, const void *b)
{
	const struct manifest *one = a, *two = b;

	if (one->volume != two->volume)
		return one->volume < two->volume ? -1 : 1;
	if (one->place != two->place)
		return one->place < two->place ? -1 : 1;
	return one->program < two->program ? -1 : one->program > two->program;
}

/* The manifest in a package's folder, if it can be read. */
static bool find_manifest(const struct survey *survey, const struct old_system *system,
    size_t program, struct manifest *manifest)
{
	const char *place = system->programs[program].place;
	struct location at;
	const struct catalogue *catalogue;
	uint32_t entry;

	if (system->programs[program].origin != PROGRAM_STORE_APP ||
	    system->programs[program].is_component || !place || !*place)
		return false;
	at = survey_resolve(survey, system, place);
	catalogue = survey_catalogue(survey, at.volume);
	if (!catalogue || at.node == NONE || traces_spare(survey, at.volume))
		return false;
	entry = catalogue_child(catalogue, at.node, "AppxManifest.xml");
	if (entry == NONE)
		return false;
	*manifest = (struct manifest){.program = program,
	    .volume = at.volume,
	    .stream = catalogue_stream(catalogue, catalogue->entries[entry].node, "")};
	if (!manifest->stream || manifest->stream->size > MANIFEST_LIMIT ||
	    data_content(catalogue, manifest->stream) != CONTENT_READABLE)
		return false;
	manifest->place = extents_place(catalogue, manifest->stream);
	return true;
}

static bool read_manifest(
    struct survey *survey, struct old_system *system, const struct manifest *manifest)
{
	struct program *program = &system->programs[manifest->program];
	struct arena arena = {0};
	struct holes holes = {0};
	size_t length = 0;
	const uint8_t *bytes = data_load(survey_catalogue(survey, manifest->volume),
	    manifest->stream, MANIFEST_LIMIT, &arena, &length, &holes);
	char *name = NULL, *publisher = NULL;

	if (bytes) {
		name = manifest_property(bytes, length, "DisplayName", &arena);
		publisher = manifest_property(bytes, length, "PublisherDisplayName", &arena);
	}
	if (wants_name(program) && is_plain(name)) {
		program->name = arena_strdup(&survey->arena, name);
		program->name_from = NAME_FROM_MANIFEST;
	}
	if (is_plain(publisher))
		program->publisher = arena_strdup(&survey->arena, publisher);
	holes_free(&holes);
	arena_free(&arena);
	return program->name && program->publisher;
}

static bool read_manifests(struct survey *survey, struct old_system *system, struct error *error)
{
	struct manifest *manifests = malloc(MANIFESTS_LIMIT * sizeof(*manifests));
	size_t count = 0;
	bool good = manifests || error_no_memory(error);

	for (size_t i = 0; good && i < system->n_programs && count < MANIFESTS_LIMIT; i++)
		count += find_manifest(survey, system, i, &manifests[count]);
	if (count > 1)
		qsort(manifests, count, sizeof(*manifests), by_place);
	for (size_t i = 0; good && i < count; i++) {
		good = !survey_is_stopped(error);
		if (good && !traces_spare(survey, manifests[i].volume) &&
		    !read_manifest(survey, system, &manifests[i]))
			good = error_no_memory(error);
	}
	free(manifests);
	return good;
}

/* --- the package's name --- */

/* Eight or more hexadecimal digits stand for a maker who chose no name. */
static bool is_number(const char *text, size_t length)
{
	for (size_t i = 0; i < length; i++)
		if (!isxdigit((unsigned char)text[i]) && text[i] != '-')
			return false;
	return length >= 8;
}

struct app_name app_name_of_package(const char *package, struct arena *arena)
{
	const char *dot = strrchr(package, '.'), *from = dot && dot[1] ? dot + 1 : package;
	size_t maker = strcspn(package, ".");
	struct buf name = {0};
	struct app_name made;

	if (is_number(package, strlen(package)))
		from = package;
	for (const char *at = from; *at; at++) {
		if (at > from && isupper((unsigned char)*at) && islower((unsigned char)at[-1]))
			buf_add_byte(&name, ' ');
		buf_add_byte(&name, (uint8_t)*at);
	}
	made.name = name.failed ? NULL : arena_strdup(arena, buf_text(&name));
	made.publisher = dot && !is_number(package, maker) ? arena_text(arena, package, maker)
							   : arena_strdup(arena, "");
	buf_free(&name);
	return made;
}

/* --- all of it --- */

bool app_names_find(struct survey *survey, struct old_system *system, struct error *error)
{
	size_t n_apps = 0;

	for (size_t i = 0; i < system->n_programs; i++)
		n_apps += wants_name(&system->programs[i]);
	if (n_apps == 0)
		return true;
	for (size_t p = 0; p < system->n_persons; p++) {
		const struct person *person = &system->persons[p];

		if (person->is_service || person->profile.node == NONE ||
		    traces_spare(survey, person->profile.volume))
			continue;
		if (survey_is_stopped(error))
			return false;
		if (!name_by_person(survey, system, person))
			return error_no_memory(error);
	}
	if (!read_manifests(survey, system, error))
		return false;
	for (size_t i = 0; i < system->n_programs; i++) {
		struct program *program = &system->programs[i];
		struct app_name made;

		if (!wants_name(program))
			continue;
		made = app_name_of_package(program->name, &survey->arena);
		if (!made.name || !made.publisher)
			return error_no_memory(error);
		program->name = made.name;
		if (!*program->publisher)
			program->publisher = made.publisher;
	}
	return true;
}
