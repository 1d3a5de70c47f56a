/*
 * The live stick's start screen as a dialogue: what is there, what to do next, and a menu of
 * letters.
 */
#ifndef CONSOLE_DIALOGUE_H
#define CONSOLE_DIALOGUE_H

#include "console/look.h"
#include "console/power.h"
#include "console/screen.h"
#include "console/start_screen.h"

#include <stdbool.h>

struct dialogue {
	struct screen screen;
	const char *root; /* "" for the running system; tests give a folder */
	struct look look;
	struct power power;
	char stick[256];      /* names of the drives that coldlift was started from, one a line */
	bool large_letters;   /* were asked for */
	bool job_done;        /* a job has ended, and nothing was looked at since */
	unsigned off_seconds; /* how long switching off may take */
};

/*
 * Shows the start screen and answers until nobody is there any more: on a terminal that is never.
 * Ctrl-C reaches the programs that it starts and not itself. `root` as above.
 */
void dialogue_run(FILE *in, FILE *out, const char *root);

/* A page under construction: print to page.out, then dialogue_show() shows it, page by page. */
struct draft {
	struct page page;
	char *text;
	size_t length;
};

bool draft_begin(struct draft *draft, const struct dialogue *dialogue);
bool dialogue_show(struct dialogue *dialogue, struct draft *draft);
bool dialogue_show_together(struct dialogue *dialogue, struct draft *draft);

/* "Reading ... did not go well: SENTENCE." */
void dialogue_complain(struct dialogue *dialogue, const char *what, const struct error *error);

/* Asks for the word `begin`. True when it was typed. */
bool dialogue_confirm(struct dialogue *dialogue);

/* Reads the file tables. True when the look is surveyed. */
bool dialogue_survey(struct dialogue *dialogue);

#endif
