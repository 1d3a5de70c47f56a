/*
 * Progress of long work: a line that is redrawn on a terminal, a plain line now and then elsewhere.
 *
 * It goes to standard error and is silent when asked to be. The work calls progress_at() as often
 * as it likes; drawing is limited to a few times a second (a terminal) or once in ten seconds.
 */
#ifndef BASE_PROGRESS_H
#define BASE_PROGRESS_H

#include <stdbool.h>
#include <stdint.h>
#include <time.h>

struct progress {
	bool quiet;
	bool terminal;
	const char *verb; /* "Reading", "Checking" */
	uint64_t total;   /* bytes in all, 0 when unknown */
	uint64_t done;
	struct timespec started, drawn;
	unsigned columns; /* of the terminal */
	bool line_open;   /* a redrawn line stands on the terminal */
};

void progress_start(struct progress *progress, const char *verb, uint64_t total, bool quiet);

/* `done` bytes are done, and `name` (inner text, may be NULL) is worked on. */
void progress_at(struct progress *progress, uint64_t done, const char *name);

/* The same at a given moment of CLOCK_MONOTONIC, so that a test need not wait for one. */
void progress_at_moment(
    struct progress *progress, const struct timespec *now, uint64_t done, const char *name);

/* Clears the line. Must be called before anything else is printed. */
void progress_end(struct progress *progress);

#endif
