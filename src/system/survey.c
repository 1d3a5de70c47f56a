/* The survey's course: open the drives, read tables, volumes and catalogues, learn the old systems.
 */
#include "system/survey.h"

#include "base/stop.h"
#include "base/text.h"
#include "base/utf.h"
#include "disk/device.h"
#include "disk/listed.h"
#include "system/inner.h"
#include "system/learn_system.h"
#include "system/open_volumes.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

/* --- drives --- */

/* Is the source the same file or device as an earlier one? */
static bool is_named_twice(const char *const *paths, size_t index)
{
	struct stat one, other;

	if (stat(paths[index], &one) != 0)
		return false;
	for (size_t i = 0; i < index; i++)
		if (stat(paths[i], &other) == 0 && one.st_dev == other.st_dev &&
		    one.st_ino == other.st_ino)
			return true;
	return false;
}

void findings_rename(struct findings *findings, const char *from, const char *to)
{
	char *copy;

	if (!findings)
		return;
	pthread_mutex_lock(&findings->lock);
	copy = arena_strdup(&findings->arena, to);
	for (size_t i = 0; copy && i < findings->count; i++)
		if (strcmp(findings->items[i].subject, from) == 0)
			findings->items[i].subject = copy;
	pthread_mutex_unlock(&findings->lock);
}

bool survey_is_stopped(struct error *error)
{
	if (!stop_is_asked())
		return false;
	error_set(error, STATUS_OTHER, "stopped before the drives were read");
	return true;
}

static bool open_source(
    struct survey *survey, const char *path, const struct faults *faults, struct error *error)
{
	struct survey_drive *drive = &survey->drives[survey->n_drives];
	struct device *device = faults_open_device(faults, path, error);

	if (!device)
		return false;
	drive->faults = *faults;
	drive->source = source_open(device, error);
	if (!drive->source)
		return false;
	survey->n_drives++;
	return true;
}

/*
 * All drives at once, before any is read. One that cannot be described is not asked: opening it
 * says why. NULL: no memory.
 */
static struct faults_question *ask_drives(
    struct survey *survey, const char *const *paths, size_t n_paths, const struct survey_way *way)
{
	struct faults_question *questions =
	    arena_array(&survey->arena, n_paths + 1, sizeof(*questions));
	struct drive drive;

	if (!questions)
		return NULL;
	for (size_t i = 0; i < n_paths; i++)
		if (!way->unasked && !is_named_twice(paths, i) &&
		    drive_describe(&survey->arena, "", paths[i], &drive, NULL))
			faults_question_make(&survey->arena, "", &drive, &questions[i]);
	faults_ask(FAULTS_PROGRAM, questions, n_paths);
	for (size_t i = 0; i < n_paths; i++)
		faults_find(&questions[i].answer, paths[i], survey->findings);
	return questions;
}

/* What could not be read when an image was made counts as unreadable now. */
static void say_listed(
    const struct survey_drive *drive, const char *path, struct findings *findings)
{
	const struct holes *holes = listed_holes(source_device(drive->source));

	if (!holes || holes->count == 0)
		return;
	findings_add(findings, WEIGHT_CAUTION, "image-has-holes", path,
	    "Files in these places are marked as not whole. If the drive itself can still be read, "
	    "an extraction from there may get more.",
	    "When this image was made, %s in %s %s could not be read; the list beside it says so.",
	    text_size(holes_total(holes)).text, text_count(holes->count).text,
	    holes->count == 1 ? "place" : "places");
}

static bool look_at_drive(struct survey *survey, struct survey_drive *drive, struct error *error)
{
	const char *path = drive->about.path;

	if (!table_read(drive->source, &survey->arena, survey->findings, &drive->table, error))
		return false;
	say_listed(drive, path, survey->findings);
	drive_find_slow_link(&drive->about, survey->findings);
	if (source_is_lost(drive->source))
		findings_add(survey->findings, WEIGHT_LOSS, "drive-lost", path,
		    "If it clicks, smells or drops out, switch it off: it belongs to a recovery "
		    "laboratory.",
		    "The drive stopped answering while it was looked at.");
	return true;
}

static bool open_drives(struct survey *survey, const char *const *paths, size_t n_paths,
    const struct survey_way *way, struct error *error)
{
	struct error trouble = {0};
	const struct faults_question *questions =
	    ask_drives(survey, paths, n_paths, way);

	survey->drives = arena_array(&survey->arena, n_paths + 1, sizeof(*survey->drives));
	if (!survey->drives || !questions)
		return error_no_memory(error);
	for (size_t i = 0; i < n_paths; i++) {
		if (is_named_twice(paths, i)) {
			findings_add(survey->findings, WEIGHT_NOTE, "source-named-twice", paths[i],
			    "", "The same drive was named twice; it is read once.");
			continue;
		}
		if (survey_is_stopped(error))
			return false;
		if (open_source(survey, paths[i], &questions[i].answer, &trouble)) {
			if (!drive_describe(&survey->arena, "", paths[i],
				&survey->drives[survey->n_drives - 1].about, error))
				return false;
			continue;
		}
		if (!way->chosen) {
			*error = trouble;
			return false;
		}
		if (questions[i].answer.verdict == FAULTS_LOCKED)
			continue; /* a finding says so already */
		findings_add(survey->findings, WEIGHT_LOSS, "drive-not-opened", paths[i],
		    "Look at its plugs, or try it in another slot or adapter. A drive that asks for "
		    "a password when the PC starts is locked until its owner types it there.",
		    "This drive was left out: %s.", trouble.text);
	}
	if (survey->n_drives > 0)
		return true;
	return error_set(error, STATUS_NO_VOLUME, "none of the drives can be opened; the last: %s",
	    trouble.text);
}

/* All of them are open before anything is read. */
static bool look_at_drives(struct survey *survey, const struct survey_way *way, struct error *error)
{
	if (way->opened && !way->opened(way->context, survey, error))
		return false;
	for (size_t d = 0; d < survey->n_drives; d++)
		if (survey_is_stopped(error) || !look_at_drive(survey, &survey->drives[d], error))
			return false;
	return true;
}

/* --- sets --- */

/* Sets come before volumes: a further copy of a mirror is not listed again. */
static bool look_at_sets(struct survey *survey, const struct survey_way *way, struct error *error)
{
	struct set_member *members =
	    arena_array(&survey->arena, survey->n_drives + 1, sizeof(*members));

	if (!members)
		return error_no_memory(error);
	for (size_t d = 0; d < survey->n_drives; d++) {
		struct survey_drive *drive = &survey->drives[d];

		set_learn(
		    drive->source, &drive->about, &drive->table, survey->findings, &drive->set);
		faults_add_sealed(&drive->faults, &drive->about, drive->table.sealed);
		members[d] = (struct set_member){.path = drive->about.path, .set = &drive->set,
		    .table = &drive->table,
		    .failing = source_has_holes(drive->source) || source_is_lost(drive->source) ||
			       drive->faults.verdict == FAULTS_FAILING};
	}
	sets_say(members, survey->n_drives, way->chosen ? SETS_CHOSEN : SETS_NAMED,
	    survey->findings);
	for (size_t d = 0; d < survey->n_drives; d++)
		survey->drives[d].left_out = members[d].left_out;
	return true;
}

/* --- names of volumes --- */

static bool letter_is_used(const struct survey *survey, char letter)
{
	for (size_t v = 0; v < survey->n_volumes; v++)
		if (survey->volumes[v].letter == letter)
			return true;
	return false;
}

/* The most recently used system comes first and its own drive before all others. */
static void give_letters(struct survey *survey)
{
	for (size_t s = 0; s < survey->n_systems; s++) {
		const struct old_system *system = &survey->systems[s];
		struct survey_volume *own = &survey->volumes[system->volume];

		if (system->is_copy)
			continue;
		if (!own->letter && !letter_is_used(survey, system->letter))
			own->letter = system->letter;
		for (size_t i = 0; i < system->n_letters; i++) {
			const struct letter *letter = &system->letters[i];

			if (letter->volume == SIZE_MAX || survey->volumes[letter->volume].letter ||
			    letter_is_used(survey, letter->letter))
				continue;
			survey->volumes[letter->volume].letter = letter->letter;
		}
	}
}

struct naming {
	const struct survey *survey;
	size_t named; /* volumes before this have their final name */
};

static bool volume_name_taken(const void *context, const char *name)
{
	const struct naming *naming = context;

	/* In the archive "D:" is called "D", so no label may be. */
	if (name[0] && !name[1] &&
	    letter_is_used(naming->survey, (char)utf_upcase((uint8_t)name[0])))
		return true;
	for (size_t v = 0; v < naming->named; v++)
		if (utf_equal_fold(naming->survey->volumes[v].name, name))
			return true;
	return false;
}

static bool name_volumes(struct survey *survey, struct error *error)
{
	struct naming naming = {survey, 0};

	for (size_t v = 0; v < survey->n_volumes; v++) {
		struct survey_volume *volume = &survey->volumes[v];
		const char *first = volume->name, *label = "";

		if (volume->letter)
			volume->name = arena_printf(&survey->arena, "%c:", volume->letter);
		else if (volume->volume)
			label = volume->volume->label;
		if (*label)
			volume->name = key_make(&survey->arena, label, volume->name);
		if (!volume->name)
			return error_no_memory(error);
		naming.named = v;
		volume->name = key_unique(&survey->arena, volume->name, volume_name_taken, &naming);
		if (strcmp(first, volume->name) != 0)
			findings_rename(survey->findings, first, volume->name);
	}
	return true;
}

/* --- systems --- */

static int by_use(const void *a, const void *b)
{
	const struct old_system *one = a, *two = b;

	if (one->is_copy != two->is_copy)
		return one->is_copy ? 1 : -1;
	if (one->last_used != two->last_used)
		return one->last_used > two->last_used ? -1 : 1;
	return one->volume < two->volume ? -1 : one->volume > two->volume;
}

static bool learn_systems(struct survey *survey, struct error *error)
{
	if (!find_systems(survey, error))
		return false;
	for (size_t i = 0; i < survey->n_systems; i++) {
		if (survey_is_stopped(error))
			return false;
		if (!learn_system(survey, &survey->systems[i], survey->findings))
			return error_no_memory(error);
	}
	if (survey->n_systems > 1)
		qsort(survey->systems, survey->n_systems, sizeof(*survey->systems), by_use);
	if (survey->n_systems == 0)
		findings_add(survey->findings, WEIGHT_NOTE, "no-old-system", "",
		    "If these are only data drives, that is as it should be; otherwise attach the "
		    "drive "
		    "that Windows was on, too.",
		    "No Windows installation was found, so nobody's folders are known by name.");
	return true;
}

bool survey_run_with(struct survey *survey, const char *const *paths, size_t n_paths,
    const struct survey_way *way, struct progress *progress, struct findings *findings,
    struct error *error)
{
	*survey = (struct survey){.findings = findings, .progress = progress};
	arena_init(&survey->arena);
	return open_drives(survey, paths, n_paths, way, error) &&
	       look_at_drives(survey, way, error) && look_at_sets(survey, way, error) &&
	       open_volumes(survey, error) && learn_systems(survey, error) &&
	       (give_letters(survey), name_volumes(survey, error));
}

bool survey_run(struct survey *survey, const char *const *paths, size_t n_paths,
    struct progress *progress, struct findings *findings, struct error *error)
{
	const struct survey_way way = {0};

	return survey_run_with(survey, paths, n_paths, &way, progress, findings, error);
}

bool survey_run_unasked(struct survey *survey, const char *const *paths, size_t n_paths,
    struct progress *progress, struct findings *findings, struct error *error)
{
	const struct survey_way way = {.unasked = true};

	return survey_run_with(survey, paths, n_paths, &way, progress, findings, error);
}

bool survey_run_chosen(struct survey *survey, const char *const *paths, size_t n_paths,
    struct progress *progress, struct findings *findings, struct error *error)
{
	const struct survey_way way = {.chosen = true};

	return survey_run_with(survey, paths, n_paths, &way, progress, findings, error);
}

void survey_free(struct survey *survey)
{
	for (size_t v = 0; v < survey->n_volumes; v++)
		volume_close(survey->volumes[v].volume);
	for (size_t d = 0; d < survey->n_drives; d++)
		source_close(survey->drives[d].source);
	free(survey->systems);
	arena_free(&survey->arena);
	*survey = (struct survey){0};
}
