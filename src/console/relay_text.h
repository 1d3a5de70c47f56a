/*
 * What a command says to a person, as lines for a log: without the progress that it draws over and
 * over, and without a terminal's control sequences. Keeps the sentence in which a command
 * complains. The progress goes to the terminal instead, the rest does not: it would rush past.
 */
#ifndef CONSOLE_RELAY_TEXT_H
#define CONSOLE_RELAY_TEXT_H

#include "console/job_log.h"

#include <stdbool.h>
#include <stddef.h>

struct relay_text {
	struct job_log *log;
	bool draws;      /* standard error is a terminal: progress is shown there */
	bool line_open;  /* a line of progress stands there */
	char line[4096]; /* that is being written; what is longer is cut into several */
	size_t length;
	unsigned escape; /* how far into a control sequence: 0 none, 1 ESC, 2 behind the bracket */
	char complaint[600];
	size_t complaint_length;
	bool complains; /* the complaint may go on in the next line */
};

void relay_text_start(struct relay_text *text, struct job_log *log, bool draws);
void relay_text_add(struct relay_text *text, const char *piece, size_t length);

/* The last line, and the complaint (without "coldlift: " and full stop; "" when there was none). */
void relay_text_end(struct relay_text *text, char *complaint, size_t size);

#endif
