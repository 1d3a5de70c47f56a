/* One job from the live stick: see run_job.h. */
#include "console/run_job.h"

#include "console/job_intro.h"
#include "console/job_log.h"
#include "console/job_place.h"
#include "console/job_result.h"
#include "console/relay.h"
#include "console/target.h"
#include "extract/job.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LOG_PATIENCE 60 /* seconds for writing it out */
#define STOPPED_NAME "coldlift-stopped"

struct job_run {
	const struct look *look;
	const struct look_drive *drive;
	const struct look_volume *target;
	const struct order *order;
	struct job_place place;
	struct job_log log;
	char where[200];
};

/* --- names --- */

/* What the job is about: the old PC, or the first volume that has a name. */
static const char *subject(const struct job_run *run)
{
	const struct look *look = run->look;

	for (size_t i = 0; i < look->n_systems; i++)
		if (*look->systems[i].pc != '\0')
			return look->systems[i].pc;
	for (size_t d = 0; d < look->n_drives; d++) {
		const struct look_drive *drive = &look->drives[d];

		for (size_t v = 0; v < drive->n_volumes; v++)
			if (drive != run->drive && !drive->stick && !drive->volumes[v].is_system &&
			    *drive->volumes[v].label != '\0')
				return drive->volumes[v].label;
	}
	return "old-drive";
}

static bool choose_name(struct job_run *run, struct error *error)
{
	bool fixed, good;
	int64_t clock = job_clock(&fixed);
	char *usual;

	if (run->order->go_on != NULL) {
		run->place = (struct job_place){0};
		snprintf(run->place.name, sizeof(run->place.name), "%s", run->order->go_on);
		return true;
	}
	usual = run->order->name != NULL ? strdup(run->order->name)
					       : job_name_make(subject(run), clock, fixed, 1);

	if (usual == NULL)
		return error_no_memory(error);
	good = job_place_choose(TARGET_FOLDER, usual, &run->place, error);
	free(usual);
	return good;
}

static void name_volume(struct job_run *run, const struct look_volume *volume)
{
	if (*volume->label != '\0')
		snprintf(run->where, sizeof(run->where), "%.100s (%.80s)", volume->label,
		    volume->device);
	else
		snprintf(run->where, sizeof(run->where), "%.80s", volume->device);
}

static void begin_log(struct job_run *run, const char *name, char *file, size_t size)
{
	char path[400];

	snprintf(file, size, "%s" JOB_LOG_END, name);
	snprintf(path, sizeof(path), TARGET_FOLDER "/%s", file);
	job_log_open(&run->log, path, run->order != NULL && run->order->go_on != NULL);
	job_intro_write(&run->log, run->look, run->drive,
	    run->order != NULL ? run->order->from_drive : NULL, run->target);
}

/* --- the commands --- */

struct arguments {
	const char **items;
	size_t count;
};

static void add(struct arguments *arguments, const char *option, const char *value)
{
	if (value == NULL)
		return;
	arguments->items[arguments->count++] = option;
	arguments->items[arguments->count++] = value;
}

static void add_all(struct arguments *arguments, const char *option, const struct order_list *list)
{
	for (size_t i = 0; i < list->count; i++)
		add(arguments, option, list->items[i]);
}

/* What of the old drives is taken, and in which form. */
static void add_shape(struct arguments *arguments, const struct order *order)
{
	add(arguments, "--format", order->format);
	add(arguments, "--part-size", order->part_size);
	add(arguments, "--same", order->same);
	add_all(arguments, "--person", &order->persons);
	add_all(arguments, "--take", &order->takes);
	add_all(arguments, "--leave", &order->leaves);
}

/* To be freed; NULL: no memory. */
static const char **extract_arguments(const struct job_run *run)
{
	const struct order *order = run->order;
	size_t n_lists = order->persons.count + order->takes.count + order->leaves.count;
	struct arguments arguments = {calloc(24 + 2 * n_lists, sizeof(const char *)), 0};

	if (arguments.items == NULL)
		return NULL;
	arguments.items[arguments.count++] = "coldlift";
	arguments.items[arguments.count++] = "extract";
	arguments.items[arguments.count++] = "--json";
	if (order->go_on != NULL)
		arguments.items[arguments.count++] = "--resume";
	add(&arguments, "--to", order->from != NULL ? TARGET_EARLIER : TARGET_FOLDER);
	if (order->from != NULL)
		add(&arguments, "--then", TARGET_FOLDER);
	add(&arguments, "--name", run->place.name);
	/* The stick is left out by itself, and --not that names it would be one too many. */
	if (!run->drive->stick)
		add(&arguments, "--not", run->drive->path);
	if (order->from != NULL && !order->from_drive->stick)
		add(&arguments, "--not", order->from_drive->path);
	if (order->go_on == NULL)
		add_shape(&arguments, order);
	return arguments.items;
}

static void log_order(struct job_run *run)
{
	struct buf text = {0};

	if (run->order->go_on != NULL) {
		job_log_line(&run->log,
		    "The job '%s' was cut off and is not finished. It goes on where it stopped.",
		    run->place.name);
		if (run->order->from != NULL)
			job_log_line(&run->log,
			    "It was on %s, and goes on at %s; what is finished stays where it is.",
			    run->order->from->device, run->target->device);
		return;
	}
	job_intro_order(&text, run->order);
	job_log_line(&run->log, "The job '%s': %s.", run->place.name, buf_text(&text));
	buf_free(&text);
}

static bool run_extract(struct job_run *run, struct relay_end *end, struct error *error)
{
	const char **arguments = extract_arguments(run);
	bool good;

	if (arguments == NULL)
		return error_no_memory(error);
	log_order(run);
	good = relay_run(arguments, &run->log, end, error);
	free(arguments);
	return good;
}

static bool run_verify(struct job_run *run, struct relay_end *end, struct error *error)
{
	char path[300], earlier[300];
	const char *const arguments[] = {"coldlift", "verify", "--json", path,
	    run->order->from != NULL ? earlier : NULL, NULL};

	snprintf(path, sizeof(path), TARGET_FOLDER "/%s", run->place.name);
	snprintf(earlier, sizeof(earlier), TARGET_EARLIER "/%s", run->place.name);
	job_log_line(&run->log, "Reading the job back from the destination.");
	return relay_run(arguments, &run->log, end, error);
}

/* A command that could not be started at all ends like one that failed. */
static void note_failure(struct relay_end *end, const struct error *error)
{
	*end = (struct relay_end){.status = STATUS_OTHER};
	snprintf(end->complaint, sizeof(end->complaint), "%s", error->text);
}

/* What stands of the job now, and where it is. False: that cannot be seen any more. */
static bool look_at_place(struct job_run *run)
{
	struct job_place earlier = run->place;
	bool known = job_place_look(TARGET_FOLDER, &run->place, NULL);

	if (run->order->from == NULL || run->place.journal_is_there ||
	    !job_place_look(TARGET_EARLIER, &earlier, NULL) || !earlier.journal_is_there)
		return known;
	/* It did not get away from there. */
	run->place = earlier;
	name_volume(run, run->order->from);
	return true;
}

static void run_commands(struct job_run *run, struct job_end *end)
{
	struct relay_end extract, verify = {0};
	struct job_facts facts = {.place = &run->place,
	    .gone_on = run->order->go_on != NULL,
	    .extract = &extract,
	    .where = run->where};
	struct error error;

	if (!run_extract(run, &extract, &error))
		note_failure(&extract, &error);
	facts.place_is_known = look_at_place(run);
	if (extract.status <= STATUS_LOSSES && facts.place_is_known && run->place.folder_is_there &&
	    !run->place.journal_is_there) {
		facts.verify = &verify;
		if (!run_verify(run, &verify, &error))
			note_failure(&verify, &error);
	}
	job_result_judge(&facts, end);
	buf_free(&extract.json);
	buf_free(&verify.json);
}

/* --- the end --- */

/* Opens the destination, and the one before, if the job leaves one. */
static bool open_all(const struct look_volume *target, const struct look_volume *from,
    struct error *error)
{
	if (!target_open(target, TARGET_FOLDER, error))
		return false;
	if (from == NULL || target_open(from, TARGET_EARLIER, error))
		return true;
	target_close(target, TARGET_FOLDER, NULL);
	return false;
}

static bool close_all(const struct look_volume *target, const struct look_volume *from,
    struct error *error)
{
	bool good = from == NULL || target_close(from, TARGET_EARLIER, error);

	return target_close(target, TARGET_FOLDER, error) && good;
}

static void let_go(struct job_run *run, struct job_end *end)
{
	struct error error;
	bool logged = job_log_close(&run->log, LOG_PATIENCE), closed;
	size_t used = strlen(end->sentence);

	closed = close_all(run->target, run->order->from, &error);
	end->let_go = logged && closed;
	if (closed)
		return;
	/* A job that was read back from memory alone is proven no longer. */
	end->proven = false;
	if (end->status < STATUS_DESTINATION)
		end->status = STATUS_DESTINATION;
	snprintf(end->sentence + used, sizeof(end->sentence) - used, " But %s.", error.text);
}

bool run_job(const struct look *look, const struct look_drive *drive,
    const struct look_volume *target, const struct order *order, struct job_end *end,
    struct error *error)
{
	struct job_run run = {.look = look, .drive = drive, .target = target, .order = order};

	*end = (struct job_end){0};
	findings_init(&end->findings);
	name_volume(&run, target);
	if (!open_all(target, order->from, error))
		return false;
	if (!choose_name(&run, error)) {
		close_all(target, order->from, NULL);
		return false;
	}
	begin_log(&run, run.place.name, end->log, sizeof(end->log));
	run_commands(&run, end);
	job_log_line(&run.log, "%s", end->sentence);
	let_go(&run, end);
	return true;
}

void job_end_free(struct job_end *end)
{
	findings_free(&end->findings);
}

bool run_job_note(const struct look *look, const struct look_drive *drive,
    const struct look_volume *target, const char *reason, struct error *error)
{
	struct job_run run = {.look = look, .drive = drive, .target = target};
	char file[300];
	bool logged;

	if (!target_open(target, TARGET_FOLDER, error))
		return false;
	if (!job_place_choose(TARGET_FOLDER, STOPPED_NAME, &run.place, error)) {
		target_close(target, TARGET_FOLDER, NULL);
		return false;
	}
	begin_log(&run, run.place.name, file, sizeof(file));
	job_log_line(&run.log, "%s", reason);
	logged = job_log_close(&run.log, LOG_PATIENCE);
	return target_close(target, TARGET_FOLDER, error) &&
	       (logged || error_set(error, STATUS_DESTINATION, "the log could not be written"));
}
