/*
 * Programs sorted by the traces of their use, and those that only traces know.
 *
 * Source: KNOWNFOLDERID (Windows developer documentation) for the folders in start counts. What
 * tells a device's program, and that a program of the first days came with the machine: common
 * practice, no source.
 */
#include "base/utf.h"
#include "system/inner.h"
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
	    [TRACE_JUMP_LIST] = "jump-list"};

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

/* --- old paths --- */

static const struct {
	const char *guid, *path; /* %c: the old system's letter */
} folders[] = {
    {"{6D809377-6AF0-444B-8957-A3773F02200E}", "Program Files"},
    {"{905E63B6-C1BF-494E-B29C-65B732D3D21A}", "Program Files"},
    {"{7C5A40EF-A0FB-4BFC-874A-C0F2E0B9FA8E}", "Program Files (x86)"},
    {"{F38BF404-1D43-42F2-9305-67DE0B28FC23}", "Windows"},
    {"{1AC14E77-02E7-4E5D-B744-2EB1AE5198B7}", "Windows\\System32"},
    {"{D65231B0-B2F1-4857-A4CE-A8E7C6EA7D27}", "Windows\\SysWOW64"},
};

/* "\Device\HarddiskVolume3\x" and "\VOLUME{...}\x" without the device; NULL for others. */
static const char *behind_device(const char *path)
{
	const char *rest = NULL;

	if (utf_starts_fold(path, "\\VOLUME{"))
		rest = strchr(path + 1, '\\');
	else if (utf_starts_fold(path, "\\Device\\HarddiskVolume"))
		rest = strchr(path + 8, '\\');
	return rest && rest[1] ? rest + 1 : NULL;
}

const char *trace_path(const struct survey *survey, const struct old_system *system,
    const struct trace *trace, struct arena *arena)
{
	const char *rest = behind_device(trace->path), *made = NULL;

	for (size_t i = 0; i < sizeof(folders) / sizeof(folders[0]); i++)
		if (utf_starts_fold(trace->path, folders[i].guid) &&
		    trace->path[strlen(folders[i].guid)] == '\\')
			made = arena_printf(arena, "%c:\\%s%s", system->letter, folders[i].path,
			    trace->path + strlen(folders[i].guid));
	if (!rest)
		return made ? made : trace->path;
	/* The devices' numbers are not recorded: the volume that has such a file. */
	if (catalogue_lookup(survey_catalogue(survey, system->volume), system->container, rest) !=
	    NONE)
		return arena_printf(arena, "%c:\\%s", system->letter, rest);
	for (size_t v = 0; v < survey->n_volumes; v++) {
		const struct catalogue *catalogue = survey_catalogue(survey, v);

		if (catalogue && survey->volumes[v].letter &&
		    catalogue_lookup(catalogue, NODE_ROOT, rest) != NONE)
			return arena_printf(arena, "%c:\\%s", survey->volumes[v].letter, rest);
	}
	return trace->path;
}

/* Does the path lie in the folder? A drive's root and the old system's own folders count as none.
 */
static bool lies_in(const char *path, const char *folder)
{
	const char *end = folder + strlen(folder), *path_end = path + strlen(path);

	while (end > folder && end[-1] == '\\')
		end--;
	if (end - folder <= 3 || utf_starts_fold(folder + 1, ":\\Windows"))
		return false;
	while (folder < end)
		if (path >= path_end ||
		    utf_upcase(utf_next(&path, path_end)) != utf_upcase(utf_next(&folder, end)))
			return false;
	return *path == '\\';
}

static bool is_of(const struct trace *trace, const struct program *program)
{
	if (program->family)
		return utf_starts_fold(trace->path, program->family) &&
		       (trace->path[strlen(program->family)] == '!' ||
			   trace->path[strlen(program->family)] == '\0');
	return program->place && lies_in(trace->path, program->place);
}

/* --- sorting --- */

static bool has_ending(const char *name, const char *ending)
{
	size_t length = strlen(name), n = strlen(ending);

	return length >= n && utf_equal_fold(name + length - n, ending);
}

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

		has_setup = has_setup || has_ending(name, ".inf");
		has_catalogue =
		    has_catalogue || has_ending(name, ".cat") || has_ending(name, ".sys");
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

static void see(const struct old_system *system, struct program *program)
{
	for (size_t i = 0; i < system->n_traces; i++) {
		const struct trace *trace = &system->traces[i];

		if (!is_of(trace, program))
			continue;
		if (trace->count > program->starts)
			program->starts = trace->count;
		if (trace->last > program->last_seen) {
			program->last_seen = trace->last;
			program->seen_by = trace->source;
		}
	}
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
		program->why = "it was started";
	} else if (is_of_first_days(system, program)) {
		program->kind = PROGRAM_CAME_WITH;
		program->why = program->is_inbox
				   ? "it belongs to the old system; no trace of recent use"
				   : "it was there from the first days; no trace of recent use";
	} else {
		program->kind = PROGRAM_NO_TRACE;
		program->why = "no trace of recent use was found, which does not mean that it was "
			       "not used";
	}
}

/* --- programs that were started and never installed --- */

static bool is_known(const struct old_system *system, size_t n_programs, const struct trace *trace)
{
	for (size_t i = 0; i < n_programs; i++)
		if (is_of(trace, &system->programs[i]))
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
    const struct trace *trace, struct program *program)
{
	const char *last = strrchr(trace->path, '\\'), *dot;
	char *folder;
	struct location at;

	if (trace->path[0] == '\0' || trace->path[1] != ':' || !last || !has_ending(last, ".exe") ||
	    last - trace->path < 4 || is_in_usual_root(system, trace->path))
		return false;
	folder = arena_text(&survey->arena, trace->path, (size_t)(last - trace->path));
	if (!folder)
		return false;
	at = survey_resolve(survey, system, folder);
	/* In a folder of downloads an installer is started once; it is no program. */
	if (at.node == NONE || has_ending(folder, "\\Downloads") || has_ending(folder, "\\Temp") ||
	    catalogue_child(survey_catalogue(survey, at.volume), at.node, last + 1) == NONE)
		return false;
	dot = strrchr(last, '.');
	*program = (struct program){.origin = PROGRAM_PORTABLE,
	    .person = SIZE_MAX,
	    .publisher = "",
	    .version = "",
	    .installed = "",
	    .folder = "",
	    .web_page = "",
	    .key = trace->path,
	    .place = folder};
	program->name = arena_text(&survey->arena, last + 1, (size_t)(dot - last - 1));
	return program->name != NULL;
}

static bool add_portable(struct survey *survey, struct old_system *system)
{
	struct program *more, program;
	size_t count = system->n_programs, limit = count + PORTABLE_LIMIT;

	more = arena_array(&survey->arena, limit, sizeof(*more));
	if (!more)
		return false;
	if (count)
		memcpy(more, system->programs, count * sizeof(*more));
	system->programs = more;
	for (size_t i = 0; i < system->n_traces && system->n_programs < limit; i++)
		if (!is_known(system, system->n_programs, &system->traces[i]) &&
		    portable_program(survey, system, &system->traces[i], &program))
			system->programs[system->n_programs++] = program;
	return true;
}

bool sort_programs(struct survey *survey, struct old_system *system)
{
	/* Each is compared with each: a damaged hive must not make days of it. */
	if (system->n_programs > 0 && system->n_traces > PAIRS_LIMIT / system->n_programs)
		system->n_traces = PAIRS_LIMIT / system->n_programs;
	for (size_t i = 0; i < system->n_traces; i++) {
		const char *path = trace_path(survey, system, &system->traces[i], &survey->arena);

		if (!path)
			return false;
		system->traces[i].path = path;
	}
	if (!add_portable(survey, system))
		return false;
	for (size_t i = 0; i < system->n_programs; i++)
		sort_program(survey, system, &system->programs[i]);
	return true;
}
