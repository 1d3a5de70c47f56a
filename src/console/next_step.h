/*
 * The one thing to do next, in a sentence or two: what a person who is afraid of doing something
 * wrong reads first.
 */
#ifndef CONSOLE_NEXT_STEP_H
#define CONSOLE_NEXT_STEP_H

#include "base/buf.h"
#include "console/look.h"
#include "console/power.h"

enum step {
	STEP_NO_DRIVES,   /* nothing but the stick shows up */
	STEP_FAILING,     /* a drive fails: every further minute may cost files */
	STEP_MAINS,       /* on battery: plug in the mains first */
	STEP_READ_TABLES, /* the file tables were not read yet */
	STEP_SET,         /* nothing to take, and a drive can be read only together with others */
	STEP_LOCKED,      /* nothing to take, and a drive is locked */
	STEP_NOTHING,     /* nothing to take at all */
	STEP_PLUG_IN,     /* no volume has room for it */
	STEP_TAKE,        /* all is ready */
	STEP_DONE,        /* a job has ended, and a person has read how */
};

/*
 * The step, and its text (inner text) appended to `out`. Letters in it are those of the menu.
 * `done`: a job has just ended.
 */
enum step next_step(const struct look *look, const struct power *power, bool done, struct buf *out);

#endif
