/* The job that a volume brings along: see unattended.h. */
#include "console/unattended.h"

#include "base/buf.h"
#include "base/child.h"
#include "base/text.h"
#include "console/begun.h"
#include "console/countdown.h"
#include "console/job_file.h"
#include "console/job_intro.h"
#include "console/run_job.h"
#include "console/target.h"

#include <fcntl.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define MARK "/run/coldlift/unattended" /* this start of the stick has had its job */
#define CANDIDATES 16                   /* volumes with the label */
#define SECONDS 10u
#define MOST_TRIES 3 /* unfinished jobs that are tried before a new one is begun */
#define WIDTH 79

/* A volume with the label and a job file. */
struct found {
	const struct look_drive *drive;
	const struct look_volume *volume;
	struct buf text; /* of the file */
};

struct search {
	size_t count; /* with a job file; only the first is kept */
	struct found first;
	char names[200]; /* of all of them, for a sentence */
};

static void stop(struct unattended *result, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

static void stop(struct unattended *result, const char *format, ...)
{
	va_list arguments;

	result->end = UNATTENDED_STOPPED;
	va_start(arguments, format);
	vsnprintf(result->sentence, sizeof(result->sentence), format, arguments);
	va_end(arguments);
}

static void say(FILE *out, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void say(FILE *out, const char *format, ...)
{
	va_list arguments;

	va_start(arguments, format);
	text_paragraph(out, 0, 0, WIDTH, format, arguments);
	va_end(arguments);
	fflush(out);
}

/* --- the volume ------------------------------------------------------------------------------- */

/* The image that the stick was written from is no file system of these, so it is none. */
static bool is_candidate(const struct look_drive *drive, const struct look_volume *volume)
{
	return strcmp(volume->label, UNATTENDED_LABEL) == 0 &&
	       (drive->removable || strcmp(drive->bus, "USB") == 0) && !volume->is_system &&
	       target_is_possible(volume);
}

/* One more volume with a job file. */
static void keep(struct search *search, const struct look_drive *drive,
    const struct look_volume *volume, struct buf *text)
{
	size_t used = strlen(search->names);

	snprintf(search->names + used, sizeof(search->names) - used, "%s%s",
	    search->count > 0 ? ", " : "", volume->device);
	if (search->count++ == 0)
		search->first = (struct found){drive, volume, *text};
	else
		buf_free(text);
}

/* False with a result: the volume is not clear. */
static bool look_into(struct search *search, const struct look_drive *drive,
    const struct look_volume *volume, struct unattended *result)
{
	struct target_view view;
	struct error error;

	if (!target_peek(volume, UNATTENDED_FILE, JOB_FILE_LIMIT + 1, &view, &error)) {
		stop(result,
		    "%s is labelled " UNATTENDED_LABEL
		    ", but whether a job file is on it could not "
		    "be seen: %s.",
		    volume->device, error.text);
		return false;
	}
	if (!view.found) {
		buf_free(&view.text);
		return true;
	}
	if (view.old_system || drive->is_old) {
		buf_free(&view.text);
		stop(result,
		    "There is a job file on %s, but that drive belongs to an old PC, and nothing "
		    "is "
		    "ever written there. Put the job file on another drive.",
		    volume->device);
		return false;
	}
	keep(search, drive, volume, &view.text);
	return true;
}

static bool search_all(const struct look *look, struct search *search, struct unattended *result)
{
	size_t looked = 0;

	for (size_t d = 0; d < look->n_drives; d++) {
		const struct look_drive *drive = &look->drives[d];

		for (size_t v = 0; v < drive->n_volumes; v++) {
			if (!is_candidate(drive, &drive->volumes[v]))
				continue;
			if (looked++ == CANDIDATES) {
				stop(result, "More volumes are labelled " UNATTENDED_LABEL
					     " than anybody needs. Leave one plugged in.");
				return false;
			}
			if (!look_into(search, drive, &drive->volumes[v], result))
				return false;
		}
	}
	if (search->count < 2)
		return true;
	stop(result,
	    "There are job files on %zu volumes (%s), and only one can be meant. Nothing was "
	    "begun and nothing was written. Leave one of them plugged in and start again.",
	    search->count, search->names);
	return false;
}

/* --- the other drives ------------------------------------------------------------------------- */

/* "/dev/sda (ST500, serial number 123)" */
static void name_drive(char *out, size_t size, const struct look_drive *drive)
{
	snprintf(out, size, "%s (%.60s%s%.60s)", drive->path,
	    *drive->model != '\0' ? drive->model : "no model name",
	    *drive->serial != '\0' ? ", serial number " : "", drive->serial);
}

/* Nobody is there to judge whether a job makes sense with this drive: why not, or NULL. */
static const char *what_is_wrong(const struct look_drive *drive)
{
	if (look_is_failing(drive))
		return "is failing, and every minute of reading can make it worse. If what is on "
		       "it is "
		       "worth much, switch off now";
	if (look_is_locked(drive))
		return "is locked or encrypted, so what is on it would be missing";
	if (!drive->readable || *drive->problem != '\0')
		return "could not be read";
	if (!drive->set_readable)
		return "belongs to a set of drives and cannot be read alone";
	return NULL;
}

/* Does the drive itself say what is wrong with it? */
static bool says_so(const struct look_drive *drive)
{
	return *drive->faults != '\0' &&
	       (strcmp(drive->verdict, "failing") == 0 || strcmp(drive->verdict, "locked") == 0);
}

/* False with a result. */
static bool check_sources(
    const struct look *look, const struct look_drive *target, struct unattended *result)
{
	size_t count = 0;
	char name[300];

	for (size_t d = 0; d < look->n_drives; d++) {
		const struct look_drive *drive = &look->drives[d];
		const char *wrong;

		if (drive == target || drive->stick)
			continue;
		count++;
		wrong = what_is_wrong(drive);
		if (wrong == NULL)
			continue;
		name_drive(name, sizeof(name), drive);
		stop(result,
		    "There is a job file on %s, but the drive %s %s.%s%s No job was begun.",
		    target->path, name, wrong, says_so(drive) ? " It says: " : "",
		    says_so(drive) ? drive->faults : "");
		return false;
	}
	if (count == 0)
		stop(result, "There is a job file on %s, but there is no drive to read.",
		    target->path);
	else if (!look->surveyed)
		stop(result,
		    "There is a job file on %s, but the file tables of the old drives could not be "
		    "read. No job was begun.",
		    target->path);
	else if (findings_have(&look->findings, "read-errors") ||
		 findings_have(&look->findings, "drive-lost"))
		stop(result,
		    "There is a job file on %s, but a drive could not be read in places. No job "
		    "was "
		    "begun.",
		    target->path);
	return result->end == UNATTENDED_NONE;
}

static bool check_target(const struct look_drive *drive, struct unattended *result)
{
	const char *wrong = drive->stick ? NULL : what_is_wrong(drive);

	if (wrong == NULL)
		return true;
	stop(result,
	    "There is a job file on %s, but that drive itself %s. Nothing was written. Use another "
	    "drive.",
	    drive->path, wrong);
	return false;
}

/* --- the job ---------------------------------------------------------------------------------- */

/* What is unfinished on the volume, as an order without anybody can go on with it. */
static void look_for_begun(const struct look *look, const struct found *found,
    const struct order *order, struct begun_jobs *begun)
{
	const struct begun_wish wish = {order, look, found->drive};

	/* When it cannot be seen, a new job is begun beside whatever is there. */
	if (order->no_resume || !begun_find(found->volume, &wish, begun, NULL))
		*begun = (struct begun_jobs){0};
}

static const struct begun_job *next_meant(const struct begun_jobs *begun, size_t *at)
{
	while (*at < begun->count)
		if (begun_is_meant(&begun->items[(*at)++]))
			return &begun->items[*at - 1];
	return NULL;
}

static void announce_begun(const struct begun_jobs *begun, FILE *out)
{
	size_t at = 0;
	const struct begun_job *job = next_meant(begun, &at);

	if (job != NULL)
		say(out,
		    "The job '%s', begun %s, is there and not finished: it goes on where it stopped.",
		    job->name, job->when);
	else if (begun->stale)
		say(out, "The volume was not taken out of use properly, perhaps by a power cut. An "
			 "unfinished job that shows up there goes on.");
}

static bool announce(const struct look *look, const struct found *found, const struct order *order,
    const struct begun_jobs *begun, FILE *in, FILE *out)
{
	struct buf text = {0};
	size_t count = 0;

	for (size_t d = 0; d < look->n_drives; d++)
		count += &look->drives[d] != found->drive && !look->drives[d].stick;
	job_intro_order(&text, order);
	fputc('\n', out);
	say(out,
	    "A job file was found on %s (%s). It says: take %s, from %zu %s to that volume; then "
	    "%s.",
	    found->volume->label, found->volume->device, buf_text(&text), count,
	    count == 1 ? "drive" : "drives",
	    order->end == ORDER_SWITCH_OFF ? "switch the PC off" : "wait");
	buf_free(&text);
	announce_begun(begun, out);
	return countdown(in, out, SECONDS, "The job begins", "Press Enter to stop it.");
}

/* This start of the stick has had its job: the start screen may begin anew after a mistake. */
static void set_mark(void)
{
	int fd = open(MARK, O_WRONLY | O_CREAT | O_CLOEXEC, 0644);

	if (fd >= 0)
		close(fd);
}

/* True: it goes down. */
static bool switch_off(FILE *out)
{
	static const char *const arguments[] = {"poweroff", NULL};
	const struct child_limits limits = {20000, 2000, 4096};
	struct buf said = {0};
	struct child_end end;

	say(out, "The PC switches off now, as the job file says.");
	sync();
	end = child_run(arguments, &limits, &said);
	buf_free(&said);
	return end.how == CHILD_EXITED && end.number == 0;
}

static void tell(
    const struct job_end *end, const struct order *order, FILE *out, struct unattended *result)
{
	result->end = UNATTENDED_WAITS;
	result->has_job = end->extracted;
	snprintf(result->sentence, sizeof(result->sentence), "%s", end->sentence);
	if (order->end != ORDER_SWITCH_OFF)
		return;
	/* What is not on the volume has to be seen on the screen. */
	if (!end->let_go || end->interrupted) {
		say(out, "The PC stays on, so that somebody can read this.");
		return;
	}
	fputc('\n', out);
	say(out, "%s", end->sentence);
	if (switch_off(out))
		result->end = UNATTENDED_OFF;
}

/* False: it cannot go on, so that another one has to be tried. */
static bool run_one(const struct look *look, const struct found *found, const struct order *order,
    FILE *out, struct unattended *result)
{
	struct job_end end;
	struct error error;
	bool done = true;

	if (!run_job(look, found->drive, found->volume, order, &end, &error))
		stop(result, "The job could not begin: %s.", error.text);
	else if (end.refused) {
		say(out, "%s", end.sentence);
		done = false;
	} else
		tell(&end, order, out, result);
	job_end_free(&end);
	return done;
}

/*
 * What the volume's own journal hid shows when that was replayed, which opening for writing does.
 * What goes wrong here is told when the job opens it.
 */
static void settle(const struct look *look, const struct found *found, const struct order *order,
    struct begun_jobs *begun)
{
	if (!begun->stale || !target_open(found->volume, TARGET_FOLDER, NULL))
		return;
	target_close(found->volume, TARGET_FOLDER, NULL);
	look_for_begun(look, found, order, begun);
}

/* The unfinished job begun last, if its drives are these; else one begun earlier; else a new one. */
static void run(const struct look *look, const struct found *found, const struct order *order,
    struct begun_jobs *begun, FILE *out, struct unattended *result)
{
	struct order again = *order;
	const struct begun_job *job;
	size_t at = 0, tries = 0;

	settle(look, found, order, begun);
	while (tries++ < MOST_TRIES && (job = next_meant(begun, &at)) != NULL) {
		again.go_on = job->name;
		say(out, "The job '%s' goes on; %s of it had arrived.", job->name,
		    text_size(job->stored).text);
		if (run_one(look, found, &again, out, result))
			return;
	}
	run_one(look, found, order, out, result);
}

/* A reason not to begin that concerns the volume's owner is left there too. */
static void leave_note(
    const struct look *look, const struct found *found, const struct unattended *result, FILE *out)
{
	struct error error;

	if (!run_job_note(look, found->drive, found->volume, result->sentence, &error))
		say(out, "That could not be noted on %s: %s.", found->volume->device, error.text);
}

/* With an order that is clear, and drives that are as they should be. */
static void begin(const struct look *look, const struct found *found, const struct order *order,
    FILE *in, FILE *out, struct unattended *result)
{
	struct begun_jobs *begun = calloc(1, sizeof(*begun));
	bool wanted;

	if (begun == NULL) {
		stop(result, "There is too little memory for the job.");
		return;
	}
	look_for_begun(look, found, order, begun);
	wanted = announce(look, found, order, begun, in, out);
	set_mark();
	if (wanted)
		run(look, found, order, begun, out, result);
	else
		stop(result, "The job on %s was stopped before it began. Nothing was written.",
		    found->volume->device);
	free(begun);
}

static void go(const struct look *look, const struct found *found, FILE *in, FILE *out,
    struct unattended *result)
{
	struct arena arena = {0};
	struct order order;
	struct error error;

	if (!check_target(found->drive, result))
		return;
	if (!job_file_read(&arena, buf_text(&found->text), found->text.length, &order, &error))
		stop(result, "The job file on %s is not clear: %s. Nothing was begun.",
		    found->volume->device, error.text);
	if (result->end == UNATTENDED_NONE)
		check_sources(look, found->drive, result);
	if (result->end == UNATTENDED_STOPPED) {
		set_mark();
		leave_note(look, found, result, out);
	} else {
		begin(look, found, &order, in, out, result);
	}
	arena_free(&arena);
}

bool unattended_is_possible(const struct look *look)
{
	for (size_t d = 0; d < look->n_drives; d++)
		for (size_t v = 0; v < look->drives[d].n_volumes; v++)
			if (is_candidate(&look->drives[d], &look->drives[d].volumes[v]))
				return access(MARK, F_OK) != 0;
	return false;
}

void unattended_run(const struct look *look, FILE *in, FILE *out, struct unattended *result)
{
	struct search search = {0};

	*result = (struct unattended){0};
	if (access(MARK, F_OK) == 0)
		return;
	if (search_all(look, &search, result) && search.count == 1)
		go(look, &search.first, in, out, result);
	buf_free(&search.first.text);
}
