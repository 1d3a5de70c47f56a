/*
 * Which drives a command works on.
 *
 * They are named on the command line. Only on the live stick, where nothing else is running, does
 * no SOURCE mean every drive of the computer: but the stick itself, the drive that is written to,
 * and drives that were ruled out by name. The stick's start leaves the names of its own drive in
 * /run/coldlift/stick, as in /sys/class/block, one a line; the file is there on the stick only.
 */
#ifndef CMD_SOURCES_H
#define CMD_SOURCES_H

#include "base/arena.h"
#include "base/error.h"
#include "disk/drives.h"

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

#define STICK_NUMBERS 16

/* The drive that coldlift was started from. All zeros: this is not the live stick. */
struct stick {
	bool here;
	dev_t numbers[STICK_NUMBERS]; /* of whole drives; a name that is no drive any more is not */
	size_t count;
};

/* `root` as in disk/drives.h. */
void stick_find(const char *root, struct stick *stick);
bool stick_has(const struct stick *stick, const struct drive *drive);

/* What the command line says. */
struct source_wish {
	const char *const *named; /* SOURCE... */
	size_t n_named;
	const char *const *ruled_out; /* --not DRIVE: "/dev/sdb", "sdb", or a volume on it */
	size_t n_ruled_out;
	const char *to, *then; /* folders that are written to; NULL: none */
};

struct sources {
	const char *const *paths;
	size_t count;
	bool chosen; /* by the rule above: nobody named them */
};

/*
 * False with *error: STATUS_USAGE when a SOURCE is missing, or --not names no drive or stands
 * beside a SOURCE; STATUS_NO_VOLUME when no drive is left; STATUS_OTHER. `command` is the command's
 * name for the sentence. The result lives as long as the arena and the named paths.
 */
bool sources_find(struct arena *arena, const char *root, const char *command,
    const struct source_wish *wish, struct sources *sources, struct error *error);

#endif
