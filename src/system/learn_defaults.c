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

/* The file's name of the program that a command starts. */
static char *name_of_command(const char *command, struct arena *arena)
{
	char *program = command_program(command, arena);
	char *name = program ? strrchr(program, '\\') : NULL;

	return name && name[1] ? name + 1 : program;
}

/* "@{Hedgerow.Photos_1.2.0.0_x64__5eed?ms-resource:...}" names a package; "@C:\x.dll,-1" nothing.
 */
static char *plain_name(char *name, struct arena *arena)
{
	if (!name || !*name)
		return NULL;
	if (name[0] != '@')
		return name;
	if (name[1] != '{')
		return NULL;
	return arena_text(arena, name + 2, strcspn(name + 2, "_?}"));
}

/* What a class record says; NULL when it says nothing. */
static char *name_of_class(
    const struct hive *hive, hive_cell classes, const char *id, struct arena *arena)
{
	hive_cell class = hive ? hive_find(hive, classes, id) : HIVE_NO_CELL;
	char *name, *command;

	if (class == HIVE_NO_CELL)
		return NULL;
	name = plain_name(
	    hive_text(hive, class, "Application", "ApplicationName", arena, NULL), arena);
	if (name)
		return name;
	command = hive_text(hive, class, "shell\\open\\command", "", arena, NULL);
	name = command ? name_of_command(command, arena) : NULL;
	return name ? name : plain_name(hive_text(hive, class, "", "", arena, NULL), arena);
}

static char *program_name(struct choices *choices, const char *id, struct arena *arena)
{
	const struct hive *software = choices->learn->software;
	const char *last = strrchr(id, '\\');
	char *name = NULL;

	/* "Applications\planner.exe" */
	if (last && last[1])
		return arena_strdup(arena, last + 1);
	if (choices->classes)
		name = name_of_class(choices->classes, hive_root(choices->classes), id, arena);
	if (!name && software) {
		hive_cell classes = hive_find(software, hive_root(software), "Classes");

		if (classes != HIVE_NO_CELL)
			name = name_of_class(software, classes, id, arena);
	}
	return name ? name : arena_strdup(arena, id);
}

/* --- the choices --- */

static struct choice *choice_of(struct choices *choices, const char *name, const char *id)
{
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
	*choice = (struct choice){
	    arena_strdup(&choices->arena, name), arena_strdup(&choices->arena, id), {0}};
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
	char *name = NULL;
	struct choice *choice;

	if (id && *id && strlen(id) <= TEXT_LIMIT)
		name = program_name(choices, id, &arena);
	choice = name && strlen(name) <= TEXT_LIMIT ? choice_of(choices, name, id) : NULL;
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
		buf_free(&choice->types);
	}
	free(choices.items);
	arena_free(&choices.arena);
}
