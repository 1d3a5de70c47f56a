/* A job that goes on at another destination: see onward.h. */
#include "extract/onward.h"

#include "base/json.h"
#include "extract/carry.h"
#include "extract/handover.h"
#include "extract/leftovers.h"
#include "extract/restore.h"
#include "extract/rounds.h"
#include "extract/stores.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define ARRIVING JOB_JOURNAL UNFINISHED

/* A move in the making. */
struct move {
	const struct head_read *read;
	struct job first;     /* the journal is open, and so locked */
	struct job next;      /* only name and folder */
	struct parts parts;   /* as the last checkpoint says */
	struct outcomes outcomes;
	struct unfinished_part *open; /* of the archives */
	size_t n_open;
	struct handover handover;
	struct carry carry;
	const struct survey *survey; /* its drives have the stores */
	bool quiet;
};

/* --- what is there --- */

/* Of the format `folder`: what is in it at the checkpoint stays, under its good name. */
static bool finish_folder(struct move *move, struct error *error)
{
	return restore_job(move->read, &move->parts, &move->outcomes, error) &&
	    parts_finish(&move->parts, error);
}

static bool look(struct move *move, const struct plan *plan, struct error *error)
{
	const struct head *head = &move->read->head;

	if (!parts_start(&move->parts, &move->first, plan, head->format, head->limit) ||
	    !outcomes_start(&move->outcomes, plan))
		return error_no_memory(error);
	if (head->format == FORMAT_FOLDER)
		return finish_folder(move, error);
	return restore_read(
	    move->read, &move->parts, &move->outcomes, &move->open, &move->n_open, error);
}

/* --- 2: at the next destination --- */

static bool ends_unfinished(const char *name)
{
	size_t length = strlen(name), end = strlen(UNFINISHED);

	return length > end && strcmp(name + length - end, UNFINISHED) == 0;
}

/* Is what stands there left over from an earlier try to bring this very job there? */
static bool is_old_try(const struct move *move, struct error *error)
{
	const struct head *head = &move->read->head, *other;
	char *path = job_path(&move->next, ARRIVING);
	struct head_read read = {0};
	struct error why = {0};
	bool same = true;

	if (path == NULL)
		return error_no_memory(error);
	/* Cut off itself, or none: then there can be no note either. */
	if (access(path, F_OK) == 0 && (head_read(&read, path, &why) || why.status == STATUS_USAGE)) {
		other = &read.head;
		same = why.status == 0 && strcmp(other->name, head->name) == 0 &&
		    other->started == head->started && digest_equal(&other->plan, &head->plan);
	}
	head_read_free(&read);
	free(path);
	return same || error_set(error, STATUS_DESTINATION,
			   "another job of this name was on its way to '%s' when it was cut off; "
			   "choose another folder for --then",
			   move->next.folder);
}

/* Names in an open folder: true for each while `take` says so. */
static bool each_file(const struct move *move, DIR *folder,
    bool (*take)(const struct move *move, DIR *folder, const char *name, struct error *error),
    struct error *error)
{
	const struct dirent *entry;

	rewinddir(folder);
	while ((errno = 0, entry = readdir(folder)) != NULL)
		if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0 &&
		    strcmp(entry->d_name, STORES_FOLDER) != 0 &&
		    !take(move, folder, entry->d_name, error))
			return false;
	return errno == 0 || durable_failed(error, errno, move->next.folder);
}

static bool is_of_old_try(const struct move *move, DIR *folder, const char *name,
    struct error *error)
{
	(void)folder;
	return ends_unfinished(name) ||
	    error_set(error, STATUS_DESTINATION,
		"'%s' is there already, and more is in it than an unfinished job; choose another "
		"folder for --then",
		move->next.folder);
}

static bool remove_file(const struct move *move, DIR *folder, const char *name, struct error *error)
{
	(void)move;
	return unlinkat(dirfd(folder), name, 0) == 0 || durable_failed(error, errno, name);
}

/* Everything is looked at before anything is removed. */
static bool clear_old_try(const struct move *move, struct error *error)
{
	char *salvage = job_path(&move->next, STORES_FOLDER);
	DIR *folder = opendir(move->next.folder);
	bool good = folder != NULL && salvage != NULL;

	if (!good)
		error_set_errno(error, STATUS_DESTINATION, errno, "'%s' cannot be read",
		    move->next.folder);
	good = good && each_file(move, folder, is_of_old_try, error) && is_old_try(move, error) &&
	    each_file(move, folder, remove_file, error);
	if (good)
		stores_remove(salvage);
	if (folder != NULL)
		closedir(folder);
	free(salvage);
	return good;
}

static bool make_folder(const struct move *move, struct error *error)
{
	if (mkdir(move->next.folder, 0700) != 0 && errno != EEXIST)
		return durable_failed(error, errno, move->next.folder);
	(void)chmod(move->next.folder, 0700); /* whatever the umask was */
	return clear_old_try(move, error) && durable_sync_folder(move->next.folder, error);
}

/* An archive that was unfinished at the checkpoint may have been finished since. */
static bool carry_part(struct move *move, const struct unfinished_part *open, struct error *error)
{
	const char *name = move->parts.items[open->part].name;
	char *finished = job_path(&move->first, name), *unfinished = NULL, *copy = NULL;
	bool whole = false, good;

	if (asprintf(&unfinished, "%s/%s" UNFINISHED, move->first.folder, name) < 0)
		unfinished = NULL;
	if (asprintf(&copy, "%s/%s" UNFINISHED, move->next.folder, name) < 0)
		copy = NULL;
	if (finished == NULL || unfinished == NULL || copy == NULL)
		good = error_no_memory(error);
	else
		/* One that is not there any more is begun anew at the next destination. */
		good = carry_file(&move->carry, unfinished, copy, open->mark.length, &whole, error) &&
		    (whole ||
			carry_file(&move->carry, finished, copy, open->mark.length, &whole, error));
	free(finished);
	free(unfinished);
	free(copy);
	return good;
}

/* The stores are in use: what they hold is in their files when they are synced. */
static bool carry_stores(struct move *move, struct error *error)
{
	char *from = job_path(&move->first, STORES_FOLDER);
	char *to = job_path(&move->next, STORES_FOLDER);
	bool good = from != NULL && to != NULL ? rounds_sync(move->survey, error) &&
						     carry_folder(&move->carry, from, to, error) :
						 error_no_memory(error);

	free(from);
	free(to);
	return good;
}

/* The folder was finished just now, which the journal that was copied does not say yet. */
static void add_finished_folder(const struct move *move, struct journal *journal, struct buf *line,
    bool *good, struct error *error)
{
	const struct parts *parts = &move->parts;
	const struct part *part = &parts->items[parts->count - 1];
	const struct digest none = {0};

	buf_clear(line);
	buf_printf(line, "{\"finished\":[%zu,%llu,%llu,0,\"%s\"]}", parts->count - 1,
	    (unsigned long long)part->files, (unsigned long long)part->bytes,
	    digest_to_text(&none).text);
	*good = *good && journal_add(journal, line, error);
	buf_clear(line);
	buf_printf(line, "{\"checkpoint\":{\"open\":[],\"stored\":%llu}}",
	    (unsigned long long)move->read->stored);
	*good = *good && journal_add(journal, line, error);
}

static bool add_lines(const struct move *move, struct journal *journal, struct error *error)
{
	char *place = realpath(move->first.folder, NULL);
	struct buf line = {0};
	struct json json;
	bool good = true;

	if (move->parts.format == FORMAT_FOLDER && move->parts.count > 0)
		add_finished_folder(move, journal, &line, &good, error);
	buf_clear(&line);
	json_start(&json, &line, false);
	json_begin_object(&json);
	json_key(&json, JOURNAL_MOVED);
	json_begin_object(&json);
	json_key_text(&json, "mark", move->handover.mark);
	json_key_text(&json, "place", place == NULL ? "" : place);
	json_end(&json);
	json_end(&json);
	good = good && journal_add(journal, &line, error) && journal_sync(journal, error);
	buf_free(&line);
	free(place);
	return good;
}

static bool carry_journal(struct move *move, struct error *error)
{
	char *from = job_path(&move->first, JOB_JOURNAL), *to = job_path(&move->next, ARRIVING);
	struct journal journal = {.fd = -1};
	bool whole, good;

	good = from != NULL && to != NULL ?
		   carry_file(&move->carry, from, to, move->read->noted, &whole, error) :
		   error_no_memory(error);
	if (good && !whole)
		good = error_set(error, STATUS_DESTINATION, "'%s' became shorter", from);
	good = good && journal_open(&journal, to, move->read->noted, error) &&
	    add_lines(move, &journal, error) && durable_sync_folder(to, error);
	journal_close(&journal);
	free(from);
	free(to);
	return good;
}

static bool carry_all(struct move *move, struct error *error)
{
	bool good = make_folder(move, error);

	progress_start(&move->carry.progress, "Moving", move->read->unfinished, move->quiet);
	for (size_t i = 0; good && i < move->n_open; i++)
		good = carry_part(move, &move->open[i], error);
	good = good && carry_stores(move, error) && carry_journal(move, error);
	progress_end(&move->carry.progress);
	return good;
}

/* --- 3: at the first destination --- */

/* Cuts the unfinished archives, or removes them: they were copied as far as they count. */
static void make_room(const struct move *move, bool remove_them)
{
	for (size_t i = 0; i < move->n_open; i++) {
		char *path;

		if (asprintf(&path, "%s/%s" UNFINISHED, move->first.folder,
			move->parts.items[move->open[i].part].name) < 0)
			continue;
		if (remove_them)
			(void)unlink(path);
		else
			(void)truncate(path, (off_t)move->open[i].mark.length);
		free(path);
	}
}

/*
 * The note needs a little room, and the destination may be full: what was written behind the last
 * checkpoint goes first. If all of this is cut off, the job goes on there with what is left.
 */
static bool leave(struct move *move, struct error *error)
{
	struct error why = {0};

	(void)leftovers_remove(&move->parts, &why);
	make_room(move, false);
	if (handover_write(&move->handover, move->first.folder, &why))
		return true;
	if (!handover_is_in(move->first.folder)) {
		make_room(move, true);
		why.status = 0;
		if (handover_write(&move->handover, move->first.folder, &why))
			return true;
	}
	return error_set(error, STATUS_DESTINATION,
	    "the job cannot leave '%.200s', because that cannot be noted there: %.250s",
	    move->first.folder, why.text);
}

/* --- 4 --- */

static bool arrive(const char *folder, struct error *error)
{
	char *from = NULL, *to = NULL;
	bool good;

	if (asprintf(&from, "%s/" ARRIVING, folder) < 0)
		from = NULL;
	if (asprintf(&to, "%s/" JOB_JOURNAL, folder) < 0)
		to = NULL;
	if (from == NULL || to == NULL)
		good = error_no_memory(error);
	else
		good = rename(from, to) == 0 ? durable_sync_renamed(to, false, error) :
					       durable_failed(error, errno, to);
	free(from);
	free(to);
	return good;
}

/* --- all of it --- */

static bool find_again(struct unfinished_job *job, const struct move *move, const char *then,
    struct error *error)
{
	struct unfinished_job moved;

	if (!unfinished_find(&moved, then, move->next.name, error)) {
		unfinished_free(&moved);
		return false;
	}
	moved.came_from = strdup(move->first.folder);
	unfinished_free(job);
	*job = moved;
	return job->came_from != NULL || error_no_memory(error);
}

static bool start(struct move *move, const struct unfinished_job *job, const char *then,
    struct error *error)
{
	const char *slash = then[strlen(then) - 1] == '/' ? "" : "/";
	const struct head *head = &job->read.head;

	move->handover.number = (unsigned)job->read.n_earlier + 1;
	snprintf(move->handover.job, sizeof(move->handover.job), "%s", head->name);
	move->next.name = strdup(head->name);
	if (asprintf(&move->next.folder, "%s%s%s", then, slash, head->name) < 0)
		move->next.folder = NULL;
	if (move->next.name == NULL || move->next.folder == NULL)
		return error_no_memory(error);
	return handover_mark(&move->handover, error) &&
	    job_resume(&move->first, job->folder, head->name, head->started, head->fixed_clock,
		job->read.noted, error);
}

static void say_what_now(struct error *error)
{
	size_t used = strlen(error->text);

	snprintf(error->text + used, sizeof(error->text) - used,
	    "; the job is not lost, and goes on by the same command when that is mended");
}

bool onward_move(struct unfinished_job *job, const char *then, const struct plan *plan, bool quiet,
    struct error *error)
{
	struct move move = {.read = &job->read,
	    .survey = plan->survey,
	    .quiet = quiet,
	    .first = {.journal = {.fd = -1}},
	    .next = {.journal = {.fd = -1}}};
	bool good = start(&move, job, then, error) && look(&move, plan, error) &&
	    carry_all(&move, error) && leave(&move, error) && arrive(move.next.folder, error) &&
	    stores_follow(plan->survey, &move.next, error) && find_again(job, &move, then, error);

	if (!good)
		say_what_now(error);
	parts_free(&move.parts);
	outcomes_free(&move.outcomes);
	free(move.open);
	job_free(&move.first);
	job_free(&move.next);
	return good;
}

/* --- finding it --- */

/* The name of the job that may be meant; *standing: what is there. To be freed. */
static char *choose(const char *to, const char *name, enum standing *standing, struct error *error)
{
	static const enum standing order[] = {STANDING_JOB, STANDING_ARRIVING, STANDING_LEFT};
	char *found[2] = {NULL, NULL};

	if (name != NULL) {
		*standing = unfinished_standing(to, name);
		found[0] = strdup(name);
		if (found[0] == NULL)
			error_no_memory(error);
		return found[0];
	}
	*standing = STANDING_NONE;
	for (size_t i = 0; i < sizeof(order) / sizeof(order[0]) && found[0] == NULL; i++) {
		if (!unfinished_names(to, order[i], found, error))
			break;
		*standing = order[i];
	}
	if (found[0] == NULL && error->status == 0)
		error_set(error, STATUS_USAGE,
		    "there is no unfinished job in '%s' to go on with; without --resume a new one is "
		    "begun",
		    to);
	else if (found[1] != NULL)
		error_set(error, STATUS_USAGE,
		    "there are several unfinished jobs in '%s'; say which with --name, such as "
		    "--name '%.100s' or --name '%.100s'",
		    to, found[0], found[1]);
	if (error->status != 0) {
		free(found[0]);
		found[0] = NULL;
	}
	free(found[1]);
	return found[0];
}

/*
 * A job that was on its way to `to`: it has arrived when the folder that it comes from (`from`; NULL:
 * where it was then) has left it to this one.
 */
static bool complete_move(const char *to, const char *name, const char *from, struct error *error)
{
	struct head_read read = {0};
	struct error why = {0};
	char *folder = NULL, *journal = NULL;
	bool left = false, good = true;

	if (asprintf(&folder, "%s/%s", to, name) < 0)
		folder = NULL;
	if (folder == NULL || asprintf(&journal, "%s/" ARRIVING, folder) < 0)
		journal = NULL;
	if (journal == NULL)
		good = error_no_memory(error);
	else if (head_read(&read, journal, &why) && read.n_earlier > 0) {
		const struct earlier *last = &read.earlier[read.n_earlier - 1];

		left = handover_matches(from != NULL ? from : last->place, last->mark);
	}
	if (good && left)
		good = arrive(folder, error);
	else if (good)
		good = error_set(error, STATUS_USAGE,
		    "the job '%.100s' was on its way to '%.200s' when it was cut off: plug in the "
		    "destination that it comes from, too, and give that with --to, and '%.200s' with "
		    "--then",
		    name, to, to);
	head_read_free(&read);
	free(folder);
	free(journal);
	return good;
}

/* The job has left `to`; `then` is where it should be. */
static bool find_onward(struct unfinished_job *job, const char *to, const char *then,
    const char *name, struct error *error)
{
	struct handover handover;
	char *from;
	bool good;

	if (then == NULL)
		return error_set(error, STATUS_USAGE,
		    "the job '%.100s' has left '%.200s' and goes on at another destination; give that "
		    "with --to",
		    name, to);
	if (asprintf(&from, "%s/%s", to, name) < 0)
		return error_no_memory(error);
	good = (unfinished_standing(then, name) != STANDING_ARRIVING ||
		   complete_move(then, name, from, error)) &&
	    unfinished_find(job, then, name, error);
	if (good && (!handover_read(&handover, from) || handover.number > job->read.n_earlier ||
			strcmp(job->read.earlier[handover.number - 1].mark, handover.mark) != 0))
		good = error_set(error, STATUS_USAGE,
		    "the job '%.100s' in '%.200s' is not the one that has left '%.200s'", name, then,
		    to);
	if (good && handover.number == job->read.n_earlier)
		job->came_from = from;
	else
		free(from);
	return good;
}

bool onward_find(struct unfinished_job *job, const char **to, const char **then, const char *name,
    struct error *error)
{
	enum standing standing;
	char *own;
	bool good = true;

	*job = (struct unfinished_job){0};
	own = choose(*to, name, &standing, error);
	if (own == NULL)
		return false;
	if (standing == STANDING_LEFT) {
		good = find_onward(job, *to, *then, own, error);
		if (good) {
			*to = *then;
			*then = NULL;
		}
	} else {
		good = (standing != STANDING_ARRIVING || complete_move(*to, own, NULL, error)) &&
		    unfinished_find(job, *to, own, error);
	}
	free(own);
	return good;
}
