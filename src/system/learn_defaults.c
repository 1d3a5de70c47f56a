/*
 * Default programs that a person chose by file type, and for web and mail addresses, one thing for
 * each program.
 *
 * Sources: Microsoft, "Default Programs" and "Application Registration" (UserChoice, ProgId,
 * ApplicationName, RegisteredApplications' keys); winreg-kb, "File associations" where it agrees.
 * How names of store apps are kept
 * ("@{Package_1.2?ms-resource:...}"): common practice, no source.
 */
#include "system/learn_devices.h"
#include "system/openers.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define TYPES_LIMIT 3000u /* bytes of one program's list */
#define PROGRAMS_LIMIT 500u

/* A program with what it opens. */
struct choice {
	char *name, *id;
	bool is_systems; /* comes with the old system, as with every one */
	struct buf types;
};

struct choices {
	struct learn *learn;
	const struct hive *classes; /* the person's, or NULL */
	struct arena arena;
	struct choice *items;
	size_t count, capacity;
};

/* --- the program's name --- */

/* What a class record tells of its program. */
struct program_words {
	char *name; /* NULL: nothing */
	bool is_systems;
};

/* Does it lie in the old system's folder, or in those that every one has beside other programs? */
static bool is_systems_path(const struct learn *learn, const char *path)
{
	const char *windows = environment_get(&learn->machine, "SystemRoot");
	size_t length = windows ? strlen(windows) : 0;

	if (length > 0 && utf_starts_fold(path, windows) && path[length] == '\\')
		return true;
	return strcasestr(path, "\\Internet Explorer\\") ||
	       strcasestr(path, "\\Windows Media Player\\") ||
	       strcasestr(path, "\\Windows Photo Viewer\\") || strcasestr(path, "\\Windows NT\\");
}

static struct program_words words_of_command(
    const struct learn *learn, const char *command, struct arena *arena)
{
	const char *whole = environment_expand(&learn->machine, command, arena, NULL);
	char *program = whole ? command_program(whole, arena) : NULL;
	char *name = program ? strrchr(program, '\\') : NULL;

	if (!program)
		return (struct program_words){0};
	return (struct program_words){
	    name && name[1] ? name + 1 : program, is_systems_path(learn, program)};
}

/* Packages of the old system's own maker end in one of two hashes of its name. */
static bool is_systems_package(const char *package)
{
	return strstr(package, "__8wekyb3d8bbwe") || strstr(package, "__cw5n1h2txyewy") ||
	       strstr(package, "_8wekyb3d8bbwe?") || strstr(package, "_cw5n1h2txyewy?");
}

/*
 * "Meadow Browser"; "@{Hedgerow.Photos_1.2.0.0_x64__5eed?ms-resource:...}" names a package;
 * "@C:\x.dll,-1" nothing.
 */
static struct program_words plain_words(char *name, struct arena *arena)
{
	if (!name || !*name || (name[0] == '@' && name[1] != '{'))
		return (struct program_words){0};
	if (name[0] != '@')
		return (struct program_words){name, false};
	return (struct program_words){
	    arena_text(arena, name + 2, strcspn(name + 2, "_?}")), is_systems_package(name)};
}

static struct program_words words_of_class(const struct learn *learn, const struct hive *hive,
    hive_cell classes, const char *id, struct arena *arena)
{
	hive_cell class = hive ? hive_find(hive, classes, id) : HIVE_NO_CELL;
	struct program_words words;
	char *command;

	if (class == HIVE_NO_CELL)
		return (struct program_words){0};
	words = plain_words(
	    hive_text(hive, class, "Application", "ApplicationName", arena, NULL), arena);
	if (words.name)
		return words;
	command = hive_text(hive, class, "shell\\open\\command", "", arena, NULL);
	if (command && strlen(command) <= TEXT_LIMIT)
		words = words_of_command(learn, command, arena);
	return words.name ? words : plain_words(hive_text(hive, class, "", "", arena, NULL), arena);
}

static struct program_words program_words(
    struct choices *choices, const char *id, struct arena *arena)
{
	const struct learn *learn = choices->learn;
	const char *last = strrchr(id, '\\');
	struct program_words words = {0};
	hive_cell classes = HIVE_NO_CELL;

	/* "Applications\planner.exe" */
	if (last && last[1])
		return (struct program_words){arena_strdup(arena, last + 1), false};
	if (choices->classes)
		words =
		    words_of_class(learn, choices->classes, hive_root(choices->classes), id, arena);
	if (!words.name && learn->software)
		classes = hive_find(learn->software, hive_root(learn->software), "Classes");
	if (classes != HIVE_NO_CELL)
		words = words_of_class(learn, learn->software, classes, id, arena);
	if (!words.name)
		words.name = arena_strdup(arena, id);
	return words;
}

/* --- the choices --- */

static struct choice *choice_of(
    struct choices *choices, const struct program_words *words, const char *id)
{
	const char *name = words->name;
	struct choice *choice;

	for (size_t i = 0; i < choices->count; i++)
		if (utf_equal_fold(choices->items[i].name, name))
			return &choices->items[i];
	if (choices->count >= PROGRAMS_LIMIT)
		return NULL;
	if (!array_reserve(
		&choices->items, &choices->capacity, choices->count + 1, sizeof(*choices->items))) {
		choices->learn->no_memory = true;
		return NULL;
	}
	choice = &choices->items[choices->count];
	*choice = (struct choice){.name = arena_strdup(&choices->arena, name),
	    .id = arena_strdup(&choices->arena, id),
	    .is_systems = words->is_systems};
	if (!choice->name || !choice->id) {
		choices->learn->no_memory = true;
		return NULL;
	}
	choices->count++;
	return choice;
}

static void add_choice(
    struct choices *choices, const struct hive *hive, hive_cell key, const char *type)
{
	struct arena arena = {0};
	char *id = hive_text(hive, key, "UserChoice", "ProgId", &arena, NULL);
	struct program_words words = {0};
	struct choice *choice = NULL;

	if (id && *id && strlen(id) <= TEXT_LIMIT)
		words = program_words(choices, id, &arena);
	if (words.name && strlen(words.name) <= TEXT_LIMIT)
		choice = choice_of(choices, &words, id);
	if (choice && choice->types.length + strlen(type) < TYPES_LIMIT)
		buf_printf(&choice->types, "%s%s", choice->types.length > 0 ? " " : "", type);
	arena_free(&arena);
}

static void add_choices(struct choices *choices, const struct hive *hive, const char *path)
{
	struct arena arena = {0};
	hive_cell *keys;
	size_t count = keys_below(hive, hive_root(hive), path, &arena, &keys);

	for (size_t i = 0; i < count; i++) {
		char *type = hive_key_name(hive, keys[i], &arena);

		if (type && *type)
			add_choice(choices, hive, keys[i], type);
	}
	arena_free(&arena);
}

void learn_default_programs(
    struct learn *learn, const struct hive *hive, const struct hive *classes, size_t person)
{
	struct choices choices = {.learn = learn, .classes = classes};

	add_choices(&choices, hive, "Software\\" KEY_WINDOWS "\\Explorer\\FileExts");
	add_choices(
	    &choices, hive, "Software\\Microsoft\\Windows\\Shell\\Associations\\UrlAssociations");
	for (size_t i = 0; i < choices.count; i++) {
		struct choice *choice = &choices.items[i];
		struct thing *thing = NULL;

		if (choice->types.length > 0 && !choice->types.failed)
			thing = learn_thing(learn, THING_DEFAULT_PROGRAM, person, choice->name);
		thing_add(learn, thing, "types", buf_text(&choice->types));
		thing_add(learn, thing, "class", choice->id);
		if (thing && choice->is_systems) {
			thing->comes_with_windows = true;
			thing->advice = "Nothing to do: every new machine brings it along.";
		}
		buf_free(&choice->types);
	}
	free(choices.items);
	arena_free(&choices.arena);
}
