/*
 * Running another program and collecting what it says, without ever waiting for it longer than
 * agreed.
 *
 * A program that talks to a drive can hang inside the kernel, where not even SIGKILL reaches it: it
 * is left behind then, and the caller goes on.
 */
#ifndef BASE_CHILD_H
#define BASE_CHILD_H

#include "base/buf.h"

#include <stddef.h>

enum child_how {
	CHILD_EXITED,    /* by itself; `number` is its exit status */
	CHILD_SIGNALLED, /* a signal ended it that did not come from here; `number` is the signal */
	CHILD_TIMED_OUT, /* it took too long and was killed */
	CHILD_FLOODED,   /* it said more than allowed and was killed */
	CHILD_LEFT_BEHIND, /* one of these two, but it did not die of it */
	CHILD_NOT_FOUND,   /* there is no such program */
	CHILD_NOT_STARTED, /* `number` is the errno value */
};

struct child_end {
	enum child_how how;
	int number;
};

struct child_limits {
	unsigned milliseconds; /* from start to end */
	unsigned grace;        /* milliseconds in which a killed program must be gone */
	size_t output;         /* bytes on standard output */
};

/*
 * Runs arguments[0], looked for in PATH unless there is a '/' in it, with the arguments up to a
 * NULL, and appends what it says on standard output to *out (at most limits->output bytes; what was
 * said before it was killed stays there). Returns after at most limits->milliseconds plus
 * limits->grace.
 *
 * The program gets: /dev/null as standard input and standard error, no other open file, no blocked
 * signal, the usual reaction to every signal (but what was ignored before), and a process group of
 * its own. Whatever it started in that group and left running is killed with it, also after it
 * ended by itself. It is waited for, so that nothing stays of it, unless it is left behind.
 *
 * May be called from several threads at once.
 */
struct child_end child_run(
    const char *const *arguments, const struct child_limits *limits, struct buf *out);

#endif
