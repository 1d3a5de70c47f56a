/* Asking drives through smartctl, all at once; see faults.h. */
#include "disk/faults.h"

#include "base/child.h"

#include <errno.h>
#include <pthread.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define GRACE 2000u         /* milliseconds that a killed smartctl has for going */
#define ANSWER_MAX 1000000u /* bytes; an answer has some ten thousand */
#define ARGUMENTS_MAX 16u

bool faults_question_make(struct arena *arena, const char *root, const struct drive *drive,
    struct faults_question *question)
{
	*question = (struct faults_question){.is_usb = strcmp(drive->bus, "USB") == 0};
	if (drive->is_image)
		return true;
	/* Its whole drive, also where `drive` is one of its partitions. */
	question->device = drive_volume_device(arena, root, drive->number, 0, true);
	if (question->device == NULL)
		question->device = drive->path;
	return question->device != NULL;
}

/* What the end of a smartctl means that left nothing to read. */
static const char *why_no_answer(struct child_end end)
{
	switch (end.how) {
	case CHILD_NOT_FOUND:
		return "The program smartctl, which asks drives, is not on this computer "
		       "(Debian's package smartmontools has it).";
	case CHILD_TIMED_OUT:
	case CHILD_LEFT_BEHIND:
		return "The drive, or its adapter, did not answer in time.";
	case CHILD_NOT_STARTED:
		return "The program smartctl, which asks drives, could not be started.";
	case CHILD_EXITED:
	case CHILD_SIGNALLED:
	case CHILD_FLOODED:
		break;
	}
	return "The answer of smartctl cannot be read.";
}

/* Asks once; `type` is smartctl's name of a way of asking, NULL: it finds out. False: no answer. */
static bool ask_once(
    const char *program, const char *device, const char *type, struct faults *faults)
{
	static const struct child_limits limits = {FAULTS_LIMIT, GRACE, ANSWER_MAX};
	/* Identity, own check, attributes or health log, two short logs, security. */
	const char *arguments[ARGUMENTS_MAX] = {program, "--json=c", "--info", "--health",
	    "--attributes", "--log=error", "--log=selftest", "--get=security"};
	size_t count = 8;
	struct buf answer = {0};
	struct child_end end;

	if (type != NULL) {
		arguments[count++] = "--device";
		arguments[count++] = type;
	}
	arguments[count] = device;
	end = child_run(arguments, &limits, &answer);
	/* Its exit status is a set of bits, and stands in the answer too. */
	if (end.how == CHILD_EXITED && answer.length > 0)
		faults_read(buf_text(&answer), answer.length, faults);
	else
		faults_set_unknown(faults, why_no_answer(end));
	buf_free(&answer);
	return end.how == CHILD_EXITED;
}

/* A USB adapter that smartctl does not know mostly understands ATA inside SCSI (SAT). */
static void ask(const char *program, struct faults_question *question)
{
	struct faults second;

	if (!ask_once(program, question->device, NULL, &question->answer) ||
	    question->answer.verdict != FAULTS_UNKNOWN || !question->is_usb)
		return;
	if (ask_once(program, question->device, "sat", &second) && second.verdict != FAULTS_UNKNOWN)
		question->answer = second;
}

struct device *faults_open_device(
    const struct faults *faults, const char *path, struct error *error)
{
	if (faults->verdict != FAULTS_LOCKED)
		return device_open(path, error);
	error_set(error, STATUS_NO_VOLUME, "%s is locked by a password", path);
	return NULL;
}

struct asking {
	const char *program;
	struct faults_question *question;
	pthread_t thread;
	bool started;
};

static void *ask_in_thread(void *data)
{
	struct asking *asking = data;

	ask(asking->program, asking->question);
	return NULL;
}

void faults_ask(const char *program, struct faults_question *questions, size_t count)
{
	struct asking *asking = calloc(count + 1, sizeof(*asking));
	sigset_t all, before;

	for (size_t i = 0; i < count; i++) {
		questions[i].answer = (struct faults){0};
		if (questions[i].device != NULL)
			faults_set_unknown(&questions[i].answer, "Memory ran out.");
	}
	if (asking == NULL)
		return;
	/* Signals are for the caller, which may hold them. */
	sigfillset(&all);
	pthread_sigmask(SIG_BLOCK, &all, &before);
	for (size_t i = 0; i < count; i++) {
		if (questions[i].device == NULL)
			continue;
		asking[i] = (struct asking){.program = program, .question = &questions[i]};
		asking[i].started =
		    pthread_create(&asking[i].thread, NULL, ask_in_thread, &asking[i]) == 0;
	}
	pthread_sigmask(SIG_SETMASK, &before, NULL);
	/* Each ends in time: see base/child.h. */
	for (size_t i = 0; i < count; i++)
		if (asking[i].started)
			pthread_join(asking[i].thread, NULL);
	free(asking);
}
