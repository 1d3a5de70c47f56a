/*
 * Runs one of this program's own commands for a job: its progress appears on the terminal, what it
 * says to a person goes into the log, and its JSON is collected.
 */
#ifndef CONSOLE_RELAY_H
#define CONSOLE_RELAY_H

#include "base/buf.h"
#include "base/error.h"
#include "console/job_log.h"

#include <stdbool.h>
#include <stddef.h>

struct relay_end {
	int status;       /* exit status; 128 + N when signal N ended it */
	bool interrupted; /* Ctrl-C was pressed meanwhile */
	bool left_behind; /* it hangs in the kernel, and could not be waited for */
	struct buf json;  /* what it said on standard output; to be freed */
	char
	    complaint[600]; /* the sentence in which it said why it failed, without full stop; "" */
};

/*
 * Runs the command with the arguments ("coldlift" first, NULL behind the last). Ctrl-C reaches it:
 * it has a minute to end cleanly, then it is killed. False with *error: it could not be started.
 */
bool relay_run(
    const char *const *arguments, struct job_log *log, struct relay_end *end, struct error *error);

#endif
