/* Old paths of programs: see program_paths.h. */
#include "system/program_paths.h"

#include "base/utf.h"
#include "system/inner.h"

#include <string.h>

enum base { BASE_DRIVE, BASE_PROFILE };

static const struct {
	const char *guid;
	enum base base;
	const char *path;
} folders[] = {
    {"{6D809377-6AF0-444B-8957-A3773F02200E}", BASE_DRIVE, "Program Files"},
    {"{905E63B6-C1BF-494E-B29C-65B732D3D21A}", BASE_DRIVE, "Program Files"},
    {"{7C5A40EF-A0FB-4BFC-874A-C0F2E0B9FA8E}", BASE_DRIVE, "Program Files (x86)"},
    {"{1AC14E77-02E7-4E5D-B744-2EB1AE5198B7}", BASE_DRIVE, "Windows\\System32"},
    {"{D65231B0-B2F1-4857-A4CE-A8E7C6EA7D27}", BASE_DRIVE, "Windows\\SysWOW64"},
    {"{F38BF404-1D43-42F2-9305-67DE0B28FC23}", BASE_DRIVE, "Windows"},
    {"{0139D44E-6AFE-49F2-8690-3DAFCAE6FFB8}", BASE_DRIVE,
	"ProgramData\\Microsoft\\Windows\\Start Menu\\Programs"},
    {"{C4AA340D-F20F-4863-AFEF-F87EF2E6BA25}", BASE_DRIVE, "Users\\Public\\Desktop"},
    {"{A77F5D77-2E2B-44C3-A6A2-ABA601054A51}", BASE_PROFILE,
	"AppData\\Roaming\\Microsoft\\Windows\\Start Menu\\Programs"},
    {"{9E3995AB-1F9C-4F13-B827-48B24B6C7174}", BASE_PROFILE,
	"AppData\\Roaming\\Microsoft\\Internet Explorer\\Quick Launch\\User Pinned"},
    {"{5CD7AEE2-2219-4A67-B85D-6C9CE15660CB}", BASE_PROFILE, "AppData\\Local\\Programs"},
    {"{F1B32785-6FBA-4FCF-9D55-7B8E7F157091}", BASE_PROFILE, "AppData\\Local"},
    {"{3EB685DB-65F9-4CF6-A03A-E3EF65729F3D}", BASE_PROFILE, "AppData\\Roaming"},
};
#define N_FOLDERS (sizeof(folders) / sizeof(folders[0]))
#define DESKTOP "{B4BFCC3A-DB2C-424C-B029-7FE99A87C641}"
#define GUID_LENGTH 38

/* --- what traces call a program --- */

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

static const char *desktop_of(const struct person *person)
{
	for (size_t i = 0; i < person->n_places; i++)
		if (strcmp(person->places[i].role, "desktop") == 0)
			return person->places[i].path;
	return NULL;
}

/* A path that begins with a folder known by role; the path itself where it begins otherwise. */
static const char *behind_folder(
    const struct old_system *system, const struct trace *trace, struct arena *arena)
{
	const struct person *person =
	    trace->person < system->n_persons ? &system->persons[trace->person] : NULL;
	const char *desktop = person ? desktop_of(person) : NULL;

	if (trace->path[0] != '{' || strlen(trace->path) <= GUID_LENGTH ||
	    trace->path[GUID_LENGTH] != '\\')
		return trace->path;
	if (desktop && utf_starts_fold(trace->path, DESKTOP))
		return arena_printf(arena, "%s%s", desktop, trace->path + GUID_LENGTH);
	for (size_t i = 0; i < N_FOLDERS; i++) {
		if (!utf_starts_fold(trace->path, folders[i].guid))
			continue;
		if (folders[i].base == BASE_DRIVE)
			return arena_printf(arena, "%c:\\%s%s", system->letter, folders[i].path,
			    trace->path + GUID_LENGTH);
		if (person)
			return arena_printf(arena, "%s\\%s%s", person->path, folders[i].path,
			    trace->path + GUID_LENGTH);
	}
	return trace->path;
}

const char *trace_path(const struct survey *survey, const struct old_system *system,
    const struct trace *trace, struct arena *arena)
{
	const char *rest = behind_device(trace->path);

	if (!rest)
		return behind_folder(system, trace, arena);
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

/* --- the other way round --- */

/* What of `path` stands behind the folder, from the backslash on; NULL: it does not lie in it. */
static const char *behind(const char *path, const char *folder, size_t length)
{
	const char *path_end = path + strlen(path), *end = folder + length;

	while (folder < end)
		if (path >= path_end ||
		    utf_upcase(utf_next(&path, path_end)) != utf_upcase(utf_next(&folder, end)))
			return NULL;
	return *path == '\\' ? path : NULL;
}

static void take_form(const char *path, const char *folder, const char *guid, struct arena *arena,
    void (*take)(void *context, const char *form), void *context)
{
	const char *rest = folder ? behind(path, folder, strlen(folder)) : NULL;
	const char *form = rest ? arena_printf(arena, "%s%s", guid, rest) : NULL;

	if (form)
		take(context, form);
}

void program_path_forms(const struct old_system *system, const char *path, struct arena *arena,
    void (*take)(void *context, const char *form), void *context)
{
	take(context, path);
	for (size_t i = 0; i < N_FOLDERS; i++) {
		if (folders[i].base == BASE_DRIVE) {
			take_form(path,
			    arena_printf(arena, "%c:\\%s", system->letter, folders[i].path),
			    folders[i].guid, arena, take, context);
			continue;
		}
		for (size_t p = 0; p < system->n_persons; p++)
			if (utf_starts_fold(path, system->persons[p].path))
				take_form(path,
				    arena_printf(
					arena, "%s\\%s", system->persons[p].path, folders[i].path),
				    folders[i].guid, arena, take, context);
	}
}

/* --- folders --- */

bool path_lies_in(const char *path, const char *folder)
{
	size_t length = strlen(folder);

	while (length > 0 && folder[length - 1] == '\\')
		length--;
	return length > 3 && !utf_starts_fold(folder + 1, ":\\Windows") &&
	       behind(path, folder, length);
}

bool path_has_ending(const char *path, const char *ending)
{
	size_t length = strlen(path), n = strlen(ending);

	return length >= n && utf_equal_fold(path + length - n, ending);
}

const char *old_path_of_entry(struct survey *survey, size_t volume, uint32_t entry)
{
	struct buf path = {0};
	const char *made;

	catalogue_path(survey_catalogue(survey, volume), entry, &path);
	made = arena_printf(&survey->arena, "%s%s", survey->volumes[volume].name, buf_text(&path));
	if (path.failed)
		made = NULL;
	buf_free(&path);
	return made;
}

bool program_has_path(const struct program *program, const char *path)
{
	if (program->family)
		return utf_starts_fold(path, program->family) &&
		       (path[strlen(program->family)] == '!' ||
			   path[strlen(program->family)] == '\0');
	return program->place && path_lies_in(path, program->place);
}

/* Does the folder hold many programs, by its name? */
static bool is_top_folder(const struct catalogue *catalogue, uint32_t node)
{
	static const char *const names[] = {"Program Files", "Program Files (x86)", "ProgramData",
	    "Common Files", "Programs", "WindowsApps", "Users", "Documents and Settings", "common"};
	const struct node *of = catalogue_node(catalogue, node);

	if (!of || of->n_entries == 0)
		return true;
	for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++)
		if (utf_equal_fold(
			catalogue_name(catalogue, catalogue->entries[of->first_entry].name),
			names[i]))
			return true;
	return false;
}

/* Is it a person's profile, a place in it, or a folder in which these lie? */
static bool is_of_person(const struct old_system *system, struct location at)
{
	for (size_t p = 0; p < system->n_persons; p++) {
		const struct person *person = &system->persons[p];

		if (person->profile.volume == at.volume && person->profile.node == at.node)
			return true;
		for (size_t i = 0; i < person->n_places; i++)
			if (person->places[i].at.volume == at.volume &&
			    person->places[i].at.node == at.node)
				return true;
	}
	return system->profiles.volume == at.volume && system->profiles.node == at.node;
}

struct location program_own_folder(
    const struct survey *survey, const struct old_system *system, const struct program *program)
{
	struct location at;
	const struct catalogue *catalogue;
	const struct node *node;

	/* A drive's root and the Windows folder: nothing lies in them in this sense. */
	if (!program->place || strlen(program->place) <= 3 ||
	    utf_starts_fold(program->place + 1, ":\\Windows"))
		return NO_LOCATION;
	at = survey_resolve(survey, system, program->place);
	catalogue = survey_catalogue(survey, at.volume);
	node = catalogue ? catalogue_node(catalogue, at.node) : NULL;
	if (!node || !(node->flags & NODE_FOLDER) || at.node == NODE_ROOT ||
	    at.node == system->windows || at.node == system->container ||
	    is_top_folder(catalogue, at.node) || is_of_person(system, at))
		return NO_LOCATION;
	return at;
}
