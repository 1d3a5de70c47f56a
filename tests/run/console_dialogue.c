/*
 * The start screen's dialogue away from a live stick, for console_dialogue.py.
 *
 * usage: console_dialogue ROOT      (a folder with copies of sys/ and run/ in it)
 *
 * The dialogue runs "its own program" for the commands, which is this one: they are handed to the
 * program named by STAND_IN in the environment. No job is run: what it would be is printed instead.
 */
#include "console/dialogue.h"
#include "console/run_job.h"

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

/* In place of the real one, which mounts. */
bool run_job(const struct look *look, const struct look_drive *drive,
    const struct look_volume *target, const struct order *order, struct job_end *end,
    struct error *error)
{
	(void)look;
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
