/* Watching the drives: see watch.h. */
#include "extract/watch.h"

#include <errno.h>
#include <inttypes.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static const char advice[] =
    "Stop (Ctrl-C; --resume goes on later), switch the drive off and let it cool down; see that air "
    "gets to it. If it clicks, smells or gets slower and slower, it belongs to a recovery "
    "laboratory.";

struct watched {
	const struct survey_drive *drive;
	uint64_t hottest; /* degrees; 0: never too hot */
	char worse[300];  /* a sentence, "": not */
};

struct watch {
	struct watch_options options;
	struct arena arena;
	struct faults_question *questions; /* as many as there are watched drives */
	struct watched *drives;
	size_t count;
	pthread_t thread;
	pthread_mutex_t lock;
	pthread_cond_t changed;
	bool stop;
};

/* --- what the answers mean --------------------------------------------------------------------- */

bool watch_compare(const struct faults *then, const struct faults *now, char *text, size_t size)
{
	static const struct {
		enum figure figure;
		const char *what;
	} counts[] = {{FIGURE_PENDING, "sectors that could not be read"},
	    {FIGURE_UNREADABLE, "sectors that cannot be read"},
	    {FIGURE_UNCORRECTED, "errors that could not be corrected"},
	    {FIGURE_MEDIA_ERRORS, "errors that could not be corrected"},
	    {FIGURE_DEFECTS, "new defects"}, {FIGURE_REPLACED, "replaced sectors"}};

	for (size_t i = 0; i < sizeof(counts) / sizeof(counts[0]); i++) {
		enum figure figure = counts[i].figure;

		if (!then->known[figure] || !now->known[figure] ||
		    now->values[figure] <= then->values[figure])
			continue;
		snprintf(text, size,
		    "While it was read, its count of %s grew from %" PRIu64 " to %" PRIu64 ".",
		    counts[i].what, then->values[figure], now->values[figure]);
		return true;
	}
	if (now->verdict != FAULTS_FAILING || then->verdict == FAULTS_FAILING)
		return false;
	snprintf(text, size, "It calls itself failing since it is being read.");
	return true;
}

static void say(const struct watch *watch, const struct watched *drive, const char *sentence)
{
	if (!watch->options.quiet)
		fprintf(stderr, "\ncoldlift: %s: %s\n          %s\n", drive->drive->about.path,
		    sentence, advice);
}

static void judge(struct watch *watch, struct watched *drive, const struct faults *now)
{
	uint64_t limit = drive->drive->about.spinning ? WATCH_HOT : WATCH_HOT_FLASH;
	uint64_t degrees =
	    now->known[FIGURE_TEMPERATURE] ? now->values[FIGURE_TEMPERATURE] : 0;
	char text[sizeof(drive->worse)];

	if (degrees >= limit && drive->hottest == 0) {
		snprintf(text, sizeof(text), "It is %" PRIu64 " degrees Celsius hot.", degrees);
		say(watch, drive, text);
	}
	if (degrees >= limit && degrees > drive->hottest)
		drive->hottest = degrees;
	if (!watch_compare(&drive->drive->faults, now, text, sizeof(text)))
		return;
	if (drive->worse[0] == '\0')
		say(watch, drive, text);
	memcpy(drive->worse, text, sizeof(text));
}

/* --- the thread -------------------------------------------------------------------------------- */

/* Waits until the next question is due. False: stop. */
static bool wait_a_while(struct watch *watch)
{
	struct timespec until;
	bool go_on;

	clock_gettime(CLOCK_MONOTONIC, &until);
	until.tv_sec += watch->options.seconds;
	pthread_mutex_lock(&watch->lock);
	while (!watch->stop &&
	    pthread_cond_timedwait(&watch->changed, &watch->lock, &until) != ETIMEDOUT)
		;
	go_on = !watch->stop;
	pthread_mutex_unlock(&watch->lock);
	return go_on;
}

static void *run(void *context)
{
	struct watch *watch = context;

	while (wait_a_while(watch)) {
		faults_ask(watch->options.program, watch->questions, watch->count);
		for (size_t i = 0; i < watch->count; i++)
			judge(watch, &watch->drives[i], &watch->questions[i].answer);
	}
	return NULL;
}

static void free_watch(struct watch *watch)
{
	pthread_cond_destroy(&watch->changed);
	pthread_mutex_destroy(&watch->lock);
	arena_free(&watch->arena);
	free(watch->questions);
	free(watch->drives);
	free(watch);
}

/* Which drives can be asked: those that told of themselves before. False: no memory. */
static bool choose(struct watch *watch, const struct survey *survey)
{
	for (size_t i = 0; i < survey->n_drives; i++) {
		const struct survey_drive *drive = &survey->drives[i];
		struct faults_question question;

		if (drive->faults.verdict == FAULTS_NOT_ASKED ||
		    drive->faults.verdict == FAULTS_UNKNOWN ||
		    drive->faults.verdict == FAULTS_LOCKED)
			continue;
		if (!faults_question_make(&watch->arena, "", &drive->about, &question))
			return false;
		if (question.device == NULL)
			continue;
		watch->questions[watch->count] = question;
		watch->drives[watch->count++].drive = drive;
	}
	return true;
}

static bool start_thread(struct watch *watch)
{
	sigset_t all, before;
	bool started;

	/* Signals belong to the threads of the command. */
	sigfillset(&all);
	pthread_sigmask(SIG_SETMASK, &all, &before);
	started = pthread_create(&watch->thread, NULL, run, watch) == 0;
	pthread_sigmask(SIG_SETMASK, &before, NULL);
	return started;
}

struct watch *watch_start(const struct survey *survey, const struct watch_options *options)
{
	struct watch *watch = calloc(1, sizeof(*watch));
	pthread_condattr_t attributes;

	if (watch == NULL)
		return NULL;
	watch->options = *options;
	pthread_mutex_init(&watch->lock, NULL);
	pthread_condattr_init(&attributes);
	pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
	pthread_cond_init(&watch->changed, &attributes);
	pthread_condattr_destroy(&attributes);
	watch->questions = calloc(survey->n_drives + 1, sizeof(*watch->questions));
	watch->drives = calloc(survey->n_drives + 1, sizeof(*watch->drives));
	if (watch->questions != NULL && watch->drives != NULL && choose(watch, survey) &&
	    watch->count > 0 && start_thread(watch))
		return watch;
	free_watch(watch);
	return NULL;
}

void watch_end(struct watch *watch, struct findings *findings)
{
	if (watch == NULL)
		return;
	pthread_mutex_lock(&watch->lock);
	watch->stop = true;
	pthread_cond_signal(&watch->changed);
	pthread_mutex_unlock(&watch->lock);
	/* A question that is under way ends in time: FAULTS_LIMIT. */
	pthread_join(watch->thread, NULL);
	for (size_t i = 0; i < watch->count; i++) {
		const struct watched *drive = &watch->drives[i];

		if (drive->hottest > 0)
			findings_add(findings, WEIGHT_CAUTION, "drive-hot",
			    drive->drive->about.path, advice,
			    "The drive became %" PRIu64 " degrees Celsius hot while it was read.",
			    drive->hottest);
		if (drive->worse[0] != '\0')
			findings_add(findings, WEIGHT_CAUTION, "drive-getting-worse",
			    drive->drive->about.path, advice, "%s", drive->worse);
	}
	free_watch(watch);
}
