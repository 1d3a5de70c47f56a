/*
 * An order: what a job from the live stick shall be, said at the screen or in a job file.
 */
#ifndef CONSOLE_ORDER_H
#define CONSOLE_ORDER_H

#include "console/look.h"

#include <stdbool.h>
#include <stddef.h>

enum order_end {
	ORDER_WAIT,       /* show the result and wait for a person */
	ORDER_SWITCH_OFF, /* switch the PC off, whatever came of the job */
};

/* Names and patterns in the order in which they were given; inner text. */
struct order_list {
	const char **items;
	size_t count;
};

/* All texts belong to whoever made the order, mostly an arena; NULL: what `extract` does by itself. */
struct order {
	struct order_list persons; /* none: everybody */
	struct order_list takes, leaves;
	const char *format;
	const char *name;
	const char *part_size;
	const char *same;
	bool no_resume; /* a job file: begins a new job even where one is unfinished */
	/*
	 * Name of the unfinished job that is gone on with: all that shapes it is kept in it, and the
	 * above does not count. NULL: a new one.
	 */
	const char *go_on;
	/* Where that job is now, when it goes on at another volume, on another drive; NULL: there. */
	const struct look_volume *from;
	const struct look_drive *from_drive;
	enum order_end end;
};

#endif
