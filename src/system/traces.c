/* The stage behind the survey that reads small files with traces: see traces.h. */
#include "system/traces.h"

#include "base/stop.h"
#include "base/utf.h"
#include "ntfs/data.h"
#include "ntfs/extents.h"
#include "system/app_names.h"
#include "system/bulk_data.h"
#include "system/devices.h"
#include "system/driver_packages.h"
#include "system/inner.h"
#include "system/installers.h"
#include "system/jump_list.h"
#include "system/link_targets.h"
#include "system/openers.h"
#include "system/program_licences.h"
#include "system/run_trace.h"
#include "system/shortcuts.h"
#include "system/use_traces.h"

#include <stdlib.h>
#include <string.h>

#define FILES_LIMIT 6000u /* small files of one old system */
#define FOLDER_LIMIT 4000u
#define LISTS_LIMIT 5000u /* jump lists */

enum trace_file_kind { FILE_RUN, FILE_LINK, FILE_AUTOMATIC, FILE_CUSTOM };

/* A file to be read. */
struct trace_file {
	uint64_t place; /* grows with its place on the drive */
	size_t volume, person;
	uint32_t node;
	enum trace_file_kind kind;
	unsigned shortcut; /* of a link: enum shortcut_kind, 0: to what was opened lately */
};

struct stage {
	struct survey *survey;
	struct old_system *system;
	struct trace_file *files;
	size_t n_files, files_capacity;
	struct learn learn; /* only its traces are used */
	struct link_targets targets;
	struct shortcuts shortcuts;
	struct jump_use *lists;
	size_t n_lists, lists_capacity;
};

/* --- which files --- */

static bool ends_in(const char *name, const char *ending)
{
	size_t length = strlen(name), n = strlen(ending);

	return length > n && utf_equal_fold(name + length - n, ending);
}

static bool kind_of(const char *name, enum trace_file_kind *kind)
{
	static const struct {
		const char *ending;
		enum trace_file_kind kind;
	} endings[] = {{".pf", FILE_RUN}, {".lnk", FILE_LINK},
	    {".automaticDestinations-ms", FILE_AUTOMATIC}, {".customDestinations-ms", FILE_CUSTOM}};

	for (size_t i = 0; i < sizeof(endings) / sizeof(endings[0]); i++)
		if (ends_in(name, endings[i].ending)) {
			*kind = endings[i].kind;
			return true;
		}
	return false;
}

static void add_file(struct stage *stage, struct trace_file file)
{
	const struct catalogue *catalogue = survey_catalogue(stage->survey, file.volume);
	const struct stream *stream = catalogue_stream(catalogue, file.node, "");

	if (!stream || stream->size == 0 || data_content(catalogue, stream) != CONTENT_READABLE ||
	    stage->n_files >= FILES_LIMIT)
		return;
	if (!array_reserve(
		&stage->files, &stage->files_capacity, stage->n_files + 1, sizeof(*stage->files))) {
		stage->learn.no_memory = true;
		return;
	}
	file.place = extents_place(catalogue, stream);
	stage->files[stage->n_files++] = file;
}

/* Collects the files of a folder and, down to a depth, below; links are not followed. */
static void add_folder(
    struct stage *stage, struct location at, size_t person, unsigned shortcut, unsigned depth)
{
	const struct catalogue *catalogue = survey_catalogue(stage->survey, at.volume);
	const uint32_t *children;
	size_t count;

	if (!catalogue || at.node == NONE)
		return;
	count = catalogue_children(catalogue, at.node, &children);
	for (size_t i = 0; i < count && i < FOLDER_LIMIT; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const struct node *node = catalogue_node(catalogue, entry->node);
		enum trace_file_kind kind;

		if (!node)
			continue;
		if (node->flags & NODE_FOLDER) {
			if (depth > 0 && !node->reparse_tag)
				add_folder(stage, (struct location){at.volume, entry->node}, person,
				    shortcut, depth - 1);
		} else if (kind_of(catalogue_name(catalogue, entry->name), &kind)) {
			add_file(stage, (struct trace_file){.volume = at.volume,
					    .person = person,
					    .node = entry->node,
					    .kind = kind,
					    .shortcut = shortcut});
		}
	}
}

/* What was opened lately, with jump lists. */
static void add_recent(struct stage *stage, size_t index)
{
	static const char *const folders[] = {
	    "AppData\\Roaming\\Microsoft\\Windows\\Recent", "Recent" /* XP */};
	const struct person *person = &stage->system->persons[index];
	const struct catalogue *catalogue = survey_catalogue(stage->survey, person->profile.volume);

	if (person->is_service || !catalogue || person->profile.node == NONE)
		return;
	for (size_t i = 0; i < sizeof(folders) / sizeof(folders[0]); i++)
		add_folder(stage,
		    (struct location){person->profile.volume,
			catalogue_lookup(catalogue, person->profile.node, folders[i])},
		    index, 0, 2);
}

static void add_shortcuts(
    void *context, struct location folder, size_t person, enum shortcut_kind kind, unsigned depth)
{
	add_folder(context, folder, person, kind, depth);
}

static int by_place(const void *a, const void *b)
{
	const struct trace_file *one = a, *two = b;

	if (one->volume != two->volume)
		return one->volume < two->volume ? -1 : 1;
	if (one->place != two->place)
		return one->place < two->place ? -1 : 1;
	return one->node < two->node ? -1 : one->node > two->node;
}

static void collect(struct stage *stage)
{
	const struct old_system *system = stage->system;
	const struct catalogue *catalogue = survey_catalogue(stage->survey, system->volume);

	add_folder(stage,
	    (struct location){
		system->volume, catalogue_lookup(catalogue, system->windows, "Prefetch")},
	    SIZE_MAX, 0, 0);
	for (size_t i = 0; i < system->n_persons; i++)
		add_recent(stage, i);
	shortcut_folders(stage->survey, system, add_shortcuts, stage);
	if (stage->n_files > 1)
		qsort(stage->files, stage->n_files, sizeof(*stage->files), by_place);
}

/* --- reading them --- */

static void take_run(struct stage *stage, const uint8_t *bytes, size_t length, struct arena *arena)
{
	struct run_trace run;

	if (run_trace_read(bytes, length, arena, &run) && run.times[0] > 0 && *run.path)
		learn_trace(&stage->learn, &(struct trace){.source = TRACE_RUN,
					       .person = SIZE_MAX,
					       .path = run.path,
					       .count = run.count,
					       .last = run.times[0]});
}

/* A jump list's name begins with the number of its program; its file changes when it is used. */
static void take_list(struct stage *stage, const struct trace_file *file, const char *name,
    int64_t written, const struct jump_list *list)
{
	struct jump_use use = {.number = strtoull(name, NULL, 16), .person = file->person};

	for (size_t i = 0; i < list->n_entries; i++) {
		const struct jump_entry *entry = &list->entries[i];

		if (entry->has_link)
			link_targets_add(&stage->targets, stage->survey, stage->system,
			    file->person, entry->link.target, entry->last);
		if (entry->last > use.last)
			use.last = entry->last;
		use.count++;
	}
	if (use.last == 0)
		use.last = written;
	if (stage->n_lists >= LISTS_LIMIT)
		return;
	if (array_reserve(
		&stage->lists, &stage->lists_capacity, stage->n_lists + 1, sizeof(*stage->lists)))
		stage->lists[stage->n_lists++] = use;
	else
		stage->learn.no_memory = true;
}

static void take_link(struct stage *stage, const struct trace_file *file,
    const struct shell_link *link, int64_t written)
{
	struct location at = {file->volume, file->node};

	link_targets_add(
	    &stage->targets, stage->survey, stage->system, file->person, link->target, written);
	if (file->shortcut)
		shortcuts_add(&stage->shortcuts, stage->survey, (enum shortcut_kind)file->shortcut,
		    file->person, at, link);
	else
		openers_count(stage->system, file->person, link->target, written);
}

static void read_one(struct stage *stage, const struct trace_file *file)
{
	const struct catalogue *catalogue = survey_catalogue(stage->survey, file->volume);
	const struct node *node = catalogue_node(catalogue, file->node);
	const char *name =
	    node ? catalogue_name(catalogue, catalogue->entries[node->first_entry].name) : "";
	int64_t written = node ? node->modified : 0;
	struct arena arena = {0};
	struct holes holes = {0};
	struct shell_link link;
	struct jump_list list;
	size_t length = 0;
	const uint8_t *bytes = data_load(catalogue, catalogue_stream(catalogue, file->node, ""),
	    file->kind == FILE_LINK ? SHELL_LINK_LIMIT : JUMP_LIST_LIMIT, &arena, &length, &holes);

	if (bytes && file->kind == FILE_RUN)
		take_run(stage, bytes, length, &arena);
	else if (bytes && file->kind == FILE_LINK && shell_link_read(bytes, length, &arena, &link))
		take_link(stage, file, &link, written);
	else if (bytes && ((file->kind == FILE_AUTOMATIC &&
			       jump_list_read_automatic(bytes, length, &arena, &list)) ||
			      (file->kind == FILE_CUSTOM &&
				  jump_list_read_custom(bytes, length, &arena, &list))))
		take_list(stage, file, name, written, &list);
	holes_free(&holes);
	arena_free(&arena);
}

/* --- the stage --- */

/* Is a drive that the files lie on failing? Its first reads belong to what people need. */
bool traces_spare(const struct survey *survey, size_t volume)
{
	const struct survey_drive *drive = &survey->drives[survey->volumes[volume].drive];

	return drive->faults.verdict == FAULTS_FAILING ||
	       (drive->source &&
		   (source_has_holes(drive->source) || source_is_lost(drive->source)));
}

static bool keep_traces(struct stage *stage)
{
	struct old_system *system = stage->system;
	struct trace *all;
	size_t more = stage->learn.n_traces;

	if (more == 0)
		return true;
	all = arena_array(&stage->survey->arena, system->n_traces + more, sizeof(*all));
	if (!all)
		return false;
	if (system->n_traces)
		memcpy(all, system->traces, system->n_traces * sizeof(*all));
	memcpy(all + system->n_traces, stage->learn.traces, more * sizeof(*all));
	system->traces = all;
	system->n_traces += more;
	stage->learn.n_traces = 0;
	return true;
}

/* Ties what was read to programs, and sorts these. */
static bool conclude(struct stage *stage)
{
	struct survey *survey = stage->survey;
	struct old_system *system = stage->system;

	return !stage->learn.no_memory && !stage->targets.failed &&
	       shortcuts_keep(&stage->shortcuts, survey, system) && keep_traces(stage) &&
	       settle_traces(survey, system) &&
	       use_traces_find(&stage->learn, stage->lists, stage->n_lists) && keep_traces(stage) &&
	       sort_programs(survey, system) && link_targets_keep(&stage->targets, survey, system);
}

static bool read_system(struct survey *survey, struct old_system *system, struct error *error)
{
	struct stage stage = {
	    .survey = survey, .system = system, .learn = {.survey = survey, .system = system}};
	bool good = true;

	if (traces_spare(survey, system->volume))
		findings_add(survey->findings, WEIGHT_NOTE, "traces-not-read", system->key,
		    "Ask the owner which programs were in use.",
		    "Which programs were in use is told from the registry alone, to spare the "
		    "failing drive.");
	else
		collect(&stage);
	for (size_t i = 0; good && i < stage.n_files; i++) {
		if (traces_spare(survey, stage.files[i].volume))
			break;
		good = !survey_is_stopped(error);
		if (good)
			read_one(&stage, &stage.files[i]);
	}
	for (size_t i = 0; good && i < system->n_recents; i++)
		link_targets_add(&stage.targets, survey, system, system->recents[i].person,
		    system->recents[i].path, system->recents[i].used);
	if (good && !conclude(&stage))
		good = error_no_memory(error);
	if (good)
		good = program_licences_find(survey, system) || error_no_memory(error);
	if (good)
		good = app_names_find(survey, system, error) &&
		       installers_find(survey, system, error) &&
		       driver_packages_find(survey, system, error) &&
		       devices_read(
			   survey, system, !traces_spare(survey, system->volume), error);
	if (good)
		link_targets_tell(&stage.targets, survey, system);
	link_targets_free(&stage.targets);
	free(stage.shortcuts.items);
	free(stage.lists);
	free(stage.files);
	free(stage.learn.traces);
	return good;
}

bool traces_read(struct survey *survey, struct error *error)
{
	for (size_t i = 0; i < survey->n_systems; i++)
		if (!survey->systems[i].is_copy && !read_system(survey, &survey->systems[i], error))
			return false;
	return bulk_data_find(survey) || error_no_memory(error);
}
