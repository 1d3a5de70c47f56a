/* Which program opens a kind of file: see openers.h. */
#include "system/openers.h"

#include "base/utf.h"
#include "system/inner.h"

#include <string.h>

#define KINDS_LIMIT 3000u /* of one person */
#define OPENERS_LIMIT 20000u
#define KEY_KINDS "Software\\" KEY_WINDOWS "\\Explorer\\FileExts"
#define KEY_PATHS KEY_WINDOWS "\\App Paths"

char *command_program(const char *command, struct arena *arena)
{
	const char *end;

	if (*command == '"') {
		end = strchr(++command, '"');
		return end && end > command ? arena_text(arena, command, (size_t)(end - command))
					    : NULL;
	}
	for (end = command; *end; end++)
		if (utf_starts_fold(end, ".exe") && (end[4] == '\0' || end[4] == ' '))
			return arena_text(arena, command, (size_t)(end + 4 - command));
	return NULL;
}

/* --- the machine's list of kinds and programs --- */

/* A text of the machine's hive, with variables replaced; NULL: not there. */
static char *machine_text(
    struct learn *learn, const char *path, const char *name, struct arena *arena)
{
	char *text =
	    path && learn->software
		? hive_text(learn->software, hive_root(learn->software), path, name, arena, NULL)
		: NULL;

	return text && strlen(text) <= TEXT_LIMIT
		   ? environment_expand(&learn->machine, text, arena, NULL)
		   : NULL;
}

static char *program_of_command(struct learn *learn, const char *class, struct arena *arena)
{
	char *command = machine_text(
	    learn, arena_printf(arena, "Classes\\%s\\shell\\open\\command", class), "", arena);

	return command ? command_program(command, arena) : NULL;
}

/* By the name of its file, "planner.exe": the name itself where no path is registered. */
static char *program_of_name(struct learn *learn, const char *name, struct arena *arena)
{
	char *path =
	    program_of_command(learn, arena_printf(arena, "Applications\\%s", name), arena);

	if (!path)
		path = machine_text(learn, arena_printf(arena, KEY_PATHS "\\%s", name), "", arena);
	if (path && *path == '"')
		path = command_program(path, arena);
	return path && *path ? path : arena_strdup(arena, name);
}

/* By a program identifier: "PlotPlanner.Plan", "Applications\planner.exe", or a store app's. */
static char *program_of_identifier(struct learn *learn, const char *identifier, struct arena *arena)
{
	static const char by_name[] = "Applications\\";
	char *path;

	if (utf_starts_fold(identifier, by_name))
		return program_of_name(learn, identifier + sizeof(by_name) - 1, arena);
	path = program_of_command(learn, identifier, arena);
	if (!path)
		path =
		    machine_text(learn, arena_printf(arena, "Classes\\%s\\Application", identifier),
			"AppUserModelID", arena);
	return path && *path ? path : NULL;
}

/* --- one kind --- */

static char *chosen(
    struct learn *learn, const struct hive *hive, hive_cell kind, struct arena *arena)
{
	char *identifier = hive_text(hive, kind, "UserChoice", "ProgId", arena, NULL);

	return identifier ? program_of_identifier(learn, identifier, arena) : NULL;
}

/* The list's order is a text of the values' names, which are letters: the first was used last. */
static char *used_last(
    struct learn *learn, const struct hive *hive, hive_cell kind, struct arena *arena)
{
	char *order = hive_text(hive, kind, "OpenWithList", "MRUList", arena, NULL);
	char name[2] = {order ? order[0] : '\0', '\0'};
	char *program = *name ? hive_text(hive, kind, "OpenWithList", name, arena, NULL) : NULL;

	return program && *program && !strchr(program, '\\') && strlen(program) < 260
		   ? program_of_name(learn, program, arena)
		   : NULL;
}

static char *usual(struct learn *learn, const char *extension, struct arena *arena)
{
	char *identifier =
	    machine_text(learn, arena_printf(arena, "Classes\\%s", extension), "", arena);

	return identifier && *identifier ? program_of_identifier(learn, identifier, arena) : NULL;
}

static void learn_kind(struct learn *learn, const struct hive *hive, hive_cell kind, size_t person)
{
	struct arena arena = {0};
	char *extension = hive_key_name(hive, kind, &arena), *program = NULL;

	if (extension && *extension == '.' && strlen(extension) < 64) {
		program = chosen(learn, hive, kind, &arena);
		if (!program)
			program = used_last(learn, hive, kind, &arena);
		if (!program)
			program = usual(learn, extension, &arena);
	}
	if (program && strlen(program) <= TEXT_LIMIT) {
		if (array_reserve(&learn->openers, &learn->openers_capacity, learn->n_openers + 1,
			sizeof(*learn->openers)))
			learn->openers[learn->n_openers++] = (struct opener){.person = person,
			    .extension = learn_text(learn, "%s", extension),
			    .program = learn_text(learn, "%s", program)};
		else
			learn->no_memory = true;
	}
	arena_free(&arena);
}

void learn_openers(struct learn *learn, const struct hive *hive, size_t person)
{
	hive_cell list = hive_find(hive, hive_root(hive), KEY_KINDS), *kinds;
	struct arena arena = {0};
	size_t n_kinds = list == HIVE_NO_CELL ? 0 : hive_subkeys(hive, list, &arena, &kinds);

	for (size_t i = 0; i < n_kinds && i < KINDS_LIMIT && learn->n_openers < OPENERS_LIMIT; i++)
		learn_kind(learn, hive, kinds[i], person);
	arena_free(&arena);
}

/* --- counting documents --- */

void openers_count(struct old_system *system, size_t person, const char *document, int64_t used)
{
	const char *name = strrchr(document, '\\'), *dot = name ? strrchr(name, '.') : NULL;

	if (!dot)
		return;
	for (size_t i = 0; i < system->n_openers; i++) {
		struct opener *opener = &system->openers[i];

		if (opener->person != person || !utf_equal_fold(opener->extension, dot))
			continue;
		opener->documents++;
		if (used > opener->last)
			opener->last = used;
		return;
	}
}
