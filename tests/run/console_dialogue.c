/*
 * The start screen's dialogue away from a live stick, for console_dialogue.py.
 *
 * usage: console_dialogue ROOT      (a folder with copies of sys/ and run/ in it)
 *
 * The dialogue runs "its own program" for the commands, which is this one: they are handed to the
 * program named by STAND_IN in the environment. No job is run: what it would be is printed instead.
 * BEGUN: the volume has unfinished jobs; "stale" in it: they show only when it was opened for
 * writing; "refused": they cannot go on.
 */
#include "console/begun.h"
#include "console/dialogue.h"
#include "console/run_job.h"
#include "console/target.h"

#include "base/locale.h"
#include "base/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static void print_list(const char *what, const struct order_list *list)
{
	for (size_t i = 0; i < list->count; i++) {
		printf("JOB %s ", what);
		text_print(stdout, list->items[i]);
		putchar('\n');
	}
}

/* --- in place of the real ones, which mount --- */

static bool was_opened;

static bool begun_has(const char *word)
{
	const char *begun = getenv("BEGUN");

	return begun != NULL && strstr(begun, word) != NULL;
}

bool begun_find(const struct look_volume *volume, const struct begun_wish *wish,
    struct begun_jobs *jobs, struct error *error)
{
	(void)volume;
	(void)wish;
	*jobs = (struct begun_jobs){.stale = begun_has("stale") && !was_opened};
	if (begun_has("unreadable"))
		return error_set(error, STATUS_DESTINATION, "the file system is damaged");
	if (!begun_has("jobs") || jobs->stale)
		return true;
	jobs->count = 3;
	jobs->items[0] = (struct begun_job){.name = "FERNHILL-PC-2026-11-25",
	    .when = "2026-11-25 14:02",
	    .what = "the files of everybody, as zip, with C:\\Users\\mara\\AppData\\Roaming\\Plum\\"
		    "keys\033[1m.db",
	    .stored = 12345678900,
	    .may_be_here = true};
	jobs->items[1] = (struct begun_job){.name = "fernhill-2",
	    .when = "2026-03-01 12:00",
	    .what = "the files of mara, as tar"};
	jobs->items[2] = (struct begun_job){.name = "older",
	    .problem = "the job was begun by another version of this program (coldlift 0.0.9)"};
	return true;
}

bool begun_is_meant(const struct begun_job *job)
{
	(void)job;
	return false;
}

bool target_is_possible(const struct look_volume *volume)
{
	(void)volume;
	return true;
}

bool target_open(const struct look_volume *volume, const char *folder, struct error *error)
{
	(void)folder;
	(void)error;
	printf("JOB opened %s\n", volume->device);
	was_opened = true;
	return true;
}

bool target_close(const struct look_volume *volume, const char *folder, struct error *error)
{
	(void)folder;
	(void)volume;
	(void)error;
	return true;
}

bool run_job(const struct look *look, const struct look_drive *drive,
    const struct look_volume *target, const struct order *order, struct job_end *end,
    struct error *error)
{
	(void)look;
	if (order->go_on != NULL) {
		printf("JOB to %s on %s goes on: %s%s%s\n", target->device, drive->path,
		    order->go_on, order->from != NULL ? " from " : "",
		    order->from != NULL ? order->from->device : "");
		*end = (struct job_end){.refused = begun_has("refused"), .extracted = true};
		strcpy(end->sentence, "The job went on.");
		findings_init(&end->findings);
		return true;
	}
	printf("JOB to %s on %s\nJOB format %s\n", target->device, drive->path,
	    order->format != NULL ? order->format : "-");
	print_list("person", &order->persons);
	print_list("take", &order->takes);
	*end = (struct job_end){.extracted = true, .proven = true, .name = "FERNHILL-PC"};
	strcpy(end->sentence, "The job would be complete.");
	findings_init(&end->findings);
	findings_add(&end->findings, WEIGHT_LOSS, "hole", "mara", "Look.", "A file has a hole.");
	return getenv("NO_JOB") == NULL ||
	       error_set(error, STATUS_DESTINATION, "the volume does not like it");
}

void job_end_free(struct job_end *end)
{
	findings_free(&end->findings);
}

bool run_job_note(const struct look *look, const struct look_drive *drive,
    const struct look_volume *target, const char *reason, struct error *error)
{
	(void)look;
	(void)drive;
	(void)target;
	(void)reason;
	(void)error;
	return true;
}

int main(int argc, char **argv)
{
	const char *stand_in = getenv("STAND_IN");
	struct error error;

	if (argc == 2 && argv[1][0] == '/' && locale_use_utf8(&error)) {
		dialogue_run(stdin, stdout, argv[1]);
		return 0;
	}
	if (stand_in == NULL || argc < 2)
		return 2;
	execv(stand_in, argv);
	return 127;
}
