/* The sector stores of a job's drives: see stores.h. */
#include "extract/stores.h"

#include "disk/salvage.h"
#include "extract/destination.h"
#include "extract/drive_mark.h"
#include "ntfs/extents.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

#define FILE_NAMES "drive-" /* stores' files begin with that */
#define MOST_STORES 1000u   /* numbers that are tried */
#define MEMORY_SHARE 16u    /* no more than this part of the computer's memory */
#define LOG_FILE 2u    /* record of $LogFile */
#define WITNESS 8192u  /* bytes: both restart pages of it */

void stores_start(struct stores *stores, const struct stores_options *options)
{
	*stores = (struct stores){.options = *options};
}

/* --- leftovers ------------------------------------------------------------------------------ */

static bool has_ending(const char *name, const char *ending)
{
	size_t length = strlen(name), own = strlen(ending);

	return length >= own && strcmp(name + length - own, ending) == 0;
}

/* Does a run hold one of the indexes in the folder? */
static bool is_in_use(int folder, DIR *list)
{
	const struct dirent *entry;
	bool in_use = false;

	while (!in_use && (entry = readdir(list)) != NULL) {
		int fd = has_ending(entry->d_name, ".index") ?
			     openat(folder, entry->d_name, O_RDONLY | O_CLOEXEC | O_NOFOLLOW) :
			     -1;

		if (fd < 0)
			continue;
		in_use = flock(fd, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK;
		close(fd);
	}
	rewinddir(list);
	return in_use;
}

void stores_remove(const char *folder)
{
	int fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC | O_NOFOLLOW);
	DIR *list = fd < 0 ? NULL : fdopendir(fd);
	const struct dirent *entry;

	if (list == NULL) {
		if (fd >= 0)
			close(fd);
		return;
	}
	if (!is_in_use(fd, list))
		while ((entry = readdir(list)) != NULL)
			if (strncmp(entry->d_name, FILE_NAMES, strlen(FILE_NAMES)) == 0)
				unlinkat(fd, entry->d_name, 0);
	closedir(list);
	(void)rmdir(folder);
}

/* --- where they are ------------------------------------------------------------------------- */

/* "TO/coldlift-survey.unfinished", or with a number where another run is using that. */
static char *choose_early(const char *to)
{
	for (unsigned i = 1; i <= MOST_STORES; i++) {
		char *path, number[16] = "";

		if (i > 1)
			snprintf(number, sizeof(number), "-%u", i);
		if (asprintf(&path, "%s/%s%s", to, STORES_EARLY, number) < 0)
			return NULL;
		stores_remove(path);
		if (access(path, F_OK) != 0)
			return path;
		free(path);
	}
	return NULL;
}

static bool choose_folder(struct stores *stores, struct error *error)
{
	const char *job = stores->options.job;

	free(stores->folder);
	stores->folder = NULL;
	stores->is_early = job == NULL;
	if (job == NULL)
		stores->folder = choose_early(stores->options.to);
	else if (asprintf(&stores->folder, "%s/%s", job, STORES_FOLDER) < 0)
		stores->folder = NULL;
	return stores->folder != NULL || error_no_memory(error);
}

/* --- one drive's ---------------------------------------------------------------------------- */

static bool is_there(const struct stores *stores, const char *name)
{
	char *path;
	bool there;

	if (asprintf(&path, "%s/%s.index", stores->folder, name) < 0)
		return false;
	there = access(path, F_OK) == 0;
	free(path);
	return there;
}

/* The drives' stores as they are given out. */
struct giving {
	struct stores *stores;
	const struct survey *survey;
	unsigned *numbers; /* of each drive, 0: none yet */
};

static bool is_given(const struct giving *giving, unsigned number)
{
	for (size_t i = 0; i < giving->survey->n_drives; i++)
		if (giving->numbers[i] == number)
			return true;
	return false;
}

/*
 * The store of this number, with what an earlier run left in it. NULL with *error; STATUS_USAGE: it
 * is another drive's.
 */
static struct salvage *open_store(const struct giving *giving, size_t drive, unsigned number,
    const char *identity, struct error *error)
{
	const struct source *source = giving->survey->drives[drive].source;
	const struct salvage_drive about = {
	    source_size(source), source_sector_size(source), identity};
	struct salvage *salvage;
	char name[40];

	snprintf(name, sizeof(name), FILE_NAMES "%u", number);
	salvage = salvage_new(giving->stores->folder, name, &about);
	if (salvage == NULL) {
		error_no_memory(error);
	} else if (is_there(giving->stores, name) && !salvage_load(salvage, error)) {
		salvage_free(salvage);
		salvage = NULL;
	}
	if (salvage != NULL)
		giving->numbers[drive] = number;
	return salvage;
}

/* Those that are there come first. NULL with *error. */
static struct salvage *find_store(
    const struct giving *giving, size_t drive, const char *identity, struct error *error)
{
	for (unsigned pass = 0; pass < 2; pass++)
		for (unsigned number = 1; number <= MOST_STORES; number++) {
			struct error trouble = {0};
			struct salvage *salvage;
			char name[40];

			snprintf(name, sizeof(name), FILE_NAMES "%u", number);
			if (is_given(giving, number) ||
			    is_there(giving->stores, name) != (pass == 0))
				continue;
			salvage = open_store(giving, drive, number, identity, &trouble);
			if (salvage == NULL && trouble.status == STATUS_USAGE)
				continue;
			if (salvage == NULL)
				*error = trouble;
			return salvage;
		}
	error_set(error, STATUS_DESTINATION, "there are too many files in '%s'",
	    giving->stores->folder);
	return NULL;
}

/* What was read to know a faulty drive by, perhaps at a second try, is not asked for again. */
static void keep_mark(struct source *source, const struct drive_mark *mark)
{
	size_t sector = source_sector_size(source);

	if (!source_is_faulty(source) || mark->holes.failed)
		return;
	for (size_t at = 0; at < mark->length; at += sector)
		if (!holes_meet(&mark->holes, at, sector))
			salvage_put(source_salvage(source), at, mark->bytes + at, sector);
}

static bool is_empty(struct salvage *salvage)
{
	struct holes missed = {0};
	bool empty;

	salvage_notes(salvage, SALVAGE_MISSED, &missed);
	empty = salvage_bytes(salvage) == 0 && missed.count == 0;
	holes_free(&missed);
	return empty;
}

static size_t memory_share(size_t n_drives)
{
	uint64_t pages = (uint64_t)sysconf(_SC_PHYS_PAGES), page = (uint64_t)sysconf(_SC_PAGESIZE);
	uint64_t most = pages * page / MEMORY_SHARE;

	return (size_t)((most < STORES_MEMORY ? most : STORES_MEMORY) / (n_drives > 0 ? n_drives : 1));
}

static bool give_store(const struct giving *giving, size_t number, struct error *error)
{
	const struct stores_options *options = &giving->stores->options;
	const struct survey_drive *drive = &giving->survey->drives[number];
	struct drive_mark *mark;
	struct salvage *salvage;

	if (options->patience != 0)
		source_set_effort(drive->source, options->patience);
	mark = drive_mark_read(drive->source);
	if (mark == NULL)
		return error_no_memory(error);
	salvage = find_store(giving, number, mark->text.text, error);
	if (salvage != NULL) {
		source_set_salvage(drive->source, salvage);
		if (options->careful || drive->faults.verdict == FAULTS_FAILING ||
		    !is_empty(salvage))
			source_set_faulty(drive->source);
		source_look(drive->source, memory_share(giving->survey->n_drives));
		keep_mark(drive->source, mark);
	}
	drive_mark_free(mark);
	return salvage != NULL;
}

bool stores_open(void *context, const struct survey *survey, struct error *error)
{
	struct stores *stores = context;
	struct giving giving = {
	    stores, survey, calloc(survey->n_drives + 1, sizeof(*giving.numbers))};
	bool good = giving.numbers != NULL || error_no_memory(error);

	good = good && destination_is_apart(stores->options.to, survey, error) &&
	       choose_folder(stores, error);
	for (size_t i = 0; good && i < survey->n_drives; i++)
		good = give_store(&giving, i, error);
	free(giving.numbers);
	return good;
}

/* --- is it the same drive? ------------------------------------------------------------------ */

static bool agrees_at(struct source *source, uint64_t offset, size_t length)
{
	uint8_t stored[WITNESS], now[WITNESS];

	length = length < WITNESS ? length : WITNESS;
	return !source_read(source, offset, stored, length, NULL) ||
	       !source_read_fresh(source, offset, now, length) ||
	       memcmp(stored, now, length) == 0;
}

struct witness {
	struct source *source;
	bool agrees;
};

/* Of the first range only. */
static bool look_at_log(void *context, uint64_t offset, uint64_t length)
{
	struct witness *witness = context;

	witness->agrees =
	    agrees_at(witness->source, offset, (size_t)(length < WITNESS ? length : WITNESS));
	return false;
}

/* Whoever opens a volume for writing leaves a mark at the beginning of its log. */
static bool volume_agrees(const struct volume *volume)
{
	struct witness witness = {volume->source, true};
	const struct stream *log =
	    volume->catalogue == NULL ? NULL : catalogue_stream(volume->catalogue, LOG_FILE, "");

	if (!agrees_at(volume->source, volume->offset, volume->sector_size))
		return false;
	if (log != NULL)
		extents_visit(volume->catalogue, log, 0, WITNESS, look_at_log, &witness);
	return witness.agrees;
}

bool stores_agree(const struct survey *survey)
{
	for (size_t i = 0; i < survey->n_volumes; i++) {
		const struct volume *volume = survey->volumes[i].volume;

		if (volume != NULL && source_salvage(volume->source) != NULL &&
		    salvage_bytes(source_salvage(volume->source)) > 0 && !volume_agrees(volume))
			return false;
	}
	return true;
}

/* --- the job, or none ----------------------------------------------------------------------- */

bool stores_settle(struct stores *stores, const struct survey *survey, const struct job *job,
    struct error *error)
{
	char *folder = job_path(job, STORES_FOLDER);
	bool good = folder != NULL || error_no_memory(error);

	for (size_t i = 0; good && i < survey->n_drives; i++) {
		struct source *source = survey->drives[i].source;
		struct salvage *salvage = source == NULL ? NULL : source_salvage(source);

		if (source != NULL)
			source_look_end(source);
		if (salvage != NULL)
			good = (!stores->is_early || salvage_move(salvage, folder, error)) &&
			       salvage_sync(salvage, error);
	}
	if (good) {
		if (stores->is_early)
			(void)rmdir(stores->folder);
		stores->is_early = false;
	}
	free(folder);
	return good;
}

bool stores_follow(const struct survey *survey, const struct job *job, struct error *error)
{
	char *folder = job_path(job, STORES_FOLDER);
	bool good = folder != NULL || error_no_memory(error);

	for (size_t i = 0; good && i < survey->n_drives; i++) {
		struct source *source = survey->drives[i].source;
		struct salvage *salvage = source == NULL ? NULL : source_salvage(source);

		if (salvage != NULL)
			good = salvage_follow(salvage, folder, error);
	}
	free(folder);
	return good;
}

void stores_end(struct stores *stores)
{
	if (stores->is_early && stores->folder != NULL)
		stores_remove(stores->folder);
	free(stores->folder);
	stores->folder = NULL;
}
