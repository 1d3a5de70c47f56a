/*
 * Running programs from the start screen, with the terminal left as it was.
 *
 * While the start screen runs, Ctrl-C is held back from it (see dialogue.c); a program that it
 * starts gets Ctrl-C as usual.
 */
#ifndef CONSOLE_PROGRAM_H
#define CONSOLE_PROGRAM_H

#include "base/buf.h"
#include "base/error.h"

#include <stdbool.h>

struct program_end {
	int status;       /* exit status; 128 + N when signal N ended it */
	bool interrupted; /* Ctrl-C was pressed meanwhile */
};

/*
 * Runs this program itself with the arguments ("coldlift" first, NULL behind the last) and collects
 * what it says on standard output, `limit` bytes at most. What it says on standard error appears on
 * the terminal. A process that does not even end when it is killed, because a drive hangs in the
 * kernel, is left behind; where it has said a whole document before (a JSON object of several
 * lines), that counts. False with *error when it could not be started, was left behind without one,
 * died, or said more than that.
 */
bool program_capture(const char *const *arguments, size_t limit, struct buf *out,
    struct program_end *end, struct error *error);

/* Runs a program from PATH on the terminal and waits for it. False with *error: not started. */
bool program_run(const char *const *arguments, struct program_end *end, struct error *error);

/*
 * In a process just made by fork(): becomes the program, with signals as a program expects them, its
 * standard output and standard error on these descriptors (negative: as they are). Does not return.
 */
_Noreturn void program_become(
    const char *file, const char *const *arguments, int output, int errors);

/* Exit status as in program_end of what waitpid() told. */
int program_status(int status);

#endif
