/*
 * Programs sorted by the traces of their use, and those that only traces know.
 *
 * What tells a device's program, and that a program of the first days came with the machine: common
 * practice, no source.
 */
#include "base/utf.h"
#include "system/inner.h"
#include "system/program_paths.h"
#include "system/traces.h"

#include <stdio.h>
#include <string.h>

#define PORTABLE_LIMIT 500u
#define FILES_LIMIT 2000u /* looked at in one program's folder */
#define PAIRS_LIMIT 50000000u
#define FIRST_DAYS (3 * 86400 * FILETIME_PER_SECOND)

const char *trace_source_name(enum trace_source source)
{
	static const char *const names[] = {[TRACE_START_COUNT] = "start-count",
	    [TRACE_ACTIVITY] = "background-activity",
	    [TRACE_RUN] = "run-trace",
	    [TRACE_JUMP_LIST] = "jump-list",
	    [TRACE_DOCUMENTS] = "documents"};

	return names[source];
}

const char *program_kind_name(enum program_kind kind)
{
	static const char *const names[] = {[PROGRAM_UNSORTED] = NULL,
	    [PROGRAM_USED] = "used",
	    [PROGRAM_NO_TRACE] = "no-trace",
	    [PROGRAM_CAME_WITH] = "came-with",
	    [PROGRAM_PART] = "part",
	    [PROGRAM_DEVICE] = "device"};

	return names[kind];
}

/* --- sorting --- */

/* Are there set-up files of drivers in the program's folder, or one folder below? */
static bool holds_drivers(const struct catalogue *catalogue, uint32_t folder, unsigned depth)
{
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, folder, &children);
	bool has_setup = false, has_catalogue = false;

	for (size_t i = 0; i < count && i < FILES_LIMIT; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const char *name = catalogue_name(catalogue, entry->name);
		const struct node *node = catalogue_node(catalogue, entry->node);

		has_setup = has_setup || path_has_ending(name, ".inf");
		has_catalogue =
		    has_catalogue || path_has_ending(name, ".cat") || path_has_ending(name, ".sys");
		if (depth > 0 && node && node->flags & NODE_FOLDER && !node->reparse_tag &&
		    holds_drivers(catalogue, entry->node, depth - 1))
			return true;
	}
	return has_setup && has_catalogue;
}

static bool is_of_device(
    const struct survey *survey, const struct old_system *system, const struct program *program)
{
	struct location at;

	if (!program->place || !*program->place || program->origin != PROGRAM_RECORD)
		return false;
	at = survey_resolve(survey, system, program->place);
	return at.node != NONE && at.node != system->windows && at.node != system->container &&
	       holds_drivers(survey_catalogue(survey, at.volume), at.node, 1);
}

/* Was it recorded in the first days of the old system? */
static bool is_of_first_days(const struct old_system *system, const struct program *program)
{
	int64_t day;
	char text[32];

	if (program->is_inbox)
		return true;
	if (strlen(program->installed) != 10 || system->installed == 0)
		return false;
	snprintf(text, sizeof(text), "%sT00:00:00Z", program->installed);
	return filetime_from_text(text, &day) && day <= system->installed + FIRST_DAYS &&
	       day >= system->installed - FIRST_DAYS;
}

/* Of one source: documents of several kinds add up, other sources count the same starts again. */
static void add_use(struct program_use *use, const struct trace *trace)
{
	if (trace->source == TRACE_DOCUMENTS)
		use->count += trace->count;
	else if (trace->count > use->count)
		use->count = trace->count;
	if (trace->last > use->last)
		use->last = trace->last;
}

/*
 * What opens the person's documents was most likely used, but another program may have been: that
 * counts only where nothing else says when the program was seen last.
 */
static void see(const struct old_system *system, struct program *program)
{
	for (size_t i = 0; i < system->n_traces; i++)
		if (program_has_path(program, system->traces[i].path))
			add_use(&program->uses[system->traces[i].source], &system->traces[i]);
	for (size_t i = 0; i < system->n_shortcuts; i++)
		if (program_has_path(program, system->shortcuts[i].target))
			program->shortcuts |= (uint8_t)system->shortcuts[i].kind;
	for (unsigned source = 0; source < TRACE_SOURCES; source++) {
		const struct program_use *use = &program->uses[source];
		bool is_counted = source == TRACE_START_COUNT || source == TRACE_RUN;

		if (is_counted && use->count > program->starts)
			program->starts = use->count;
		if (use->last > program->last_seen &&
		    (source != TRACE_DOCUMENTS || program->last_seen == 0)) {
			program->last_seen = use->last;
			program->seen_by = (enum trace_source)source;
		}
	}
}

static const char *why_used(const struct program *program)
{
	if (program->seen_by == TRACE_DOCUMENTS)
		return "documents that were opened lately open with it";
	return program->seen_by == TRACE_JUMP_LIST ? "things were opened with it"
						   : "it was started";
}

static const char *why_no_trace(const struct program *program)
{
	if (program->shortcuts & SHORTCUT_PINNED)
		return "no trace of recent use was found, but somebody pinned it";
	if (program->shortcuts & SHORTCUT_DESKTOP)
		return "no trace of recent use was found, but there is a shortcut on a desktop";
	return "no trace of recent use was found, which does not mean that it was not used";
}

static void sort_program(
    const struct survey *survey, const struct old_system *system, struct program *program)
{
	see(system, program);
	if (program->is_update || program->is_component) {
		program->kind = PROGRAM_PART;
		program->why = program->is_update
				   ? "an update of another program"
				   : "a part of the old system or of another program";
	} else if (is_of_device(survey, system, program)) {
		program->kind = PROGRAM_DEVICE;
		program->why = "its folder holds drivers";
	} else if (program->last_seen > 0) {
		program->kind = PROGRAM_USED;
		program->why = why_used(program);
	} else if (is_of_first_days(system, program)) {
		program->kind = PROGRAM_CAME_WITH;
		program->why = program->is_inbox
				   ? "it belongs to the old system; no trace of recent use"
				   : "it was there from the first days; no trace of recent use";
	} else {
		program->kind = PROGRAM_NO_TRACE;
		program->why = why_no_trace(program);
	}
}

/* --- programs that were started and never installed --- */

static bool is_known(const struct old_system *system, const char *path)
{
	for (size_t i = 0; i < system->n_programs; i++)
		if (program_has_path(&system->programs[i], path))
			return true;
	return false;
}

/* Below the folder of Windows, of programs, or of temporary files: nothing that was carried there.
 */
static bool is_in_usual_root(const struct old_system *system, const char *path)
{
	static const char *const roots[] = {"Windows\\", "Program Files\\", "Program Files (x86)\\",
	    "ProgramData\\", "$Recycle.Bin\\"};

	if (utf_upcase((uint8_t)path[0]) != (uint8_t)system->letter)
		return false;
	for (size_t i = 0; i < sizeof(roots) / sizeof(roots[0]); i++)
		if (utf_starts_fold(path + 3, roots[i]))
			return true;
	return false;
}

static bool portable_program(struct survey *survey, const struct old_system *system,
    const char *path, struct program *program)
{
	const char *last = strrchr(path, '\\'), *dot;
	char *folder;
	struct location at;

	if (path[0] == '\0' || path[1] != ':' || !last || !path_has_ending(last, ".exe") ||
	    last - path < 4 || is_in_usual_root(system, path))
		return false;
	folder = arena_text(&survey->arena, path, (size_t)(last - path));
	if (!folder)
		return false;
	at = survey_resolve(survey, system, folder);
	/* In a folder of downloads an installer is started once; it is no program. */
	if (at.node == NONE || path_has_ending(folder, "\\Downloads") ||
	    path_has_ending(folder, "\\Temp") ||
	    catalogue_child(survey_catalogue(survey, at.volume), at.node, last + 1) == NONE)
		return false;
	dot = strrchr(last, '.');
	*program = (struct program){.origin = PROGRAM_PORTABLE,
	    .name_from = NAME_FROM_FILE,
	    .person = SIZE_MAX,
	    .publisher = "",
	    .version = "",
	    .installed = "",
	    .folder = "",
	    .web_page = "",
	    .key = path,
	    .place = folder};
	program->name = arena_text(&survey->arena, last + 1, (size_t)(dot - last - 1));
	return program->name != NULL;
}

static void add_one_portable(
    struct survey *survey, struct old_system *system, const char *path, size_t limit)
{
	struct program program;

	if (system->n_programs < limit && !is_known(system, path) &&
	    portable_program(survey, system, path, &program))
		system->programs[system->n_programs++] = program;
}

static bool add_portable(struct survey *survey, struct old_system *system)
{
	struct program *more;
	size_t count = system->n_programs, limit = count + PORTABLE_LIMIT;

	more = arena_array(&survey->arena, limit, sizeof(*more));
	if (!more)
		return false;
	if (count)
		memcpy(more, system->programs, count * sizeof(*more));
	system->programs = more;
	for (size_t i = 0; i < system->n_traces; i++)
		add_one_portable(survey, system, system->traces[i].path, limit);
	for (size_t i = 0; i < system->n_shortcuts; i++)
		add_one_portable(survey, system, system->shortcuts[i].target, limit);
	return true;
}

/* A start that was counted of a shortcut is one of the program that it leads to. NULL: no memory.
 */
static const char *behind_shortcut(
    struct survey *survey, const struct old_system *system, const char *path)
{
	const char *name = strrchr(path, '\\');
	const struct catalogue *catalogue;
	struct location folder;
	uint32_t entry;
	char *text;

	if (!name || !path_has_ending(path, ".lnk"))
		return path;
	text = arena_text(&survey->arena, path, (size_t)(name - path));
	if (!text)
		return NULL;
	folder = survey_resolve(survey, system, text);
	catalogue = survey_catalogue(survey, folder.volume);
	entry = catalogue && folder.node != NONE ? catalogue_child(catalogue, folder.node, name + 1)
						 : NONE;
	for (size_t i = 0; i < system->n_shortcuts && entry != NONE; i++)
		if (system->shortcuts[i].at.volume == folder.volume &&
		    system->shortcuts[i].at.node == catalogue->entries[entry].node)
			return system->shortcuts[i].target;
	return path;
}

bool settle_traces(struct survey *survey, struct old_system *system)
{
	for (size_t i = 0; i < system->n_traces; i++) {
		const char *path = trace_path(survey, system, &system->traces[i], &survey->arena);

		if (path)
			path = behind_shortcut(survey, system, path);
		if (!path)
			return false;
		system->traces[i].path = path;
	}
	return true;
}

bool sort_programs(struct survey *survey, struct old_system *system)
{
	size_t n_paths = system->n_traces + system->n_shortcuts;

	/* Each is compared with each: a damaged hive must not make days of it. */
	if (system->n_programs > 0 && n_paths > PAIRS_LIMIT / system->n_programs) {
		size_t most = PAIRS_LIMIT / system->n_programs / 2;

		if (system->n_traces > most)
			system->n_traces = most;
		if (system->n_shortcuts > most)
			system->n_shortcuts = most;
	}
	if (!add_portable(survey, system))
		return false;
	for (size_t i = 0; i < system->n_programs; i++)
		sort_program(survey, system, &system->programs[i]);
	return true;
}
