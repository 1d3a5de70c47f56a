/*
 * Devices and connections, habits and looks: what the old system knew and a new machine must be
 * told again.
 *
 * Each is a "thing": what it is, whose, its name, what is known of it, and what to do about it on
 * the new machine in one plain sentence. Keys that are not there give nothing; a new kind of thing
 * is one line in the table of devices.c and one file that learns it.
 */
#ifndef SYSTEM_DEVICES_H
#define SYSTEM_DEVICES_H

#include "system/survey.h"

enum thing_kind {
	THING_PRINTER,
	THING_DEFAULT_PRINTER,
	THING_SCANNER, /* or camera */
	THING_PAIRED,  /* a device of near radio: Bluetooth */
	THING_MAPPED_DRIVE,
	THING_NETWORK_PLACE,
	THING_SHARE,
	THING_NETWORK,
	THING_TASK,
	THING_FONT,
	THING_DEFAULT_PROGRAM,
	THING_PIN,
	THING_WALLPAPER,
	THING_ACCOUNT_PICTURE,
	THING_KEYBOARD,
	THING_LANGUAGE,
	THING_FORMATS,
	THING_TIME_ZONE,
	THING_POWER,
	THING_VARIABLE,
	THING_SCREEN_SAVER,
	THING_MOUSE,
	THING_ACCESSIBILITY,
	THING_COUNT,
};

struct detail {
	const char *name, *value; /* name: lower-case words joined by underscores, stable */
};

#define THING_DETAILS 10

struct thing {
	enum thing_kind kind;
	size_t person; /* index in system.persons; SIZE_MAX: of the machine */
	const char *name;
	struct detail details[THING_DETAILS];
	size_t n_details;
	const char *advice;      /* one sentence */
	bool comes_with_windows; /* every system has it */
	/*
	 * A file that somebody added to folders that are left otherwise, and that goes with it (a
	 * font, a picture, a task): the plan takes it.
	 */
	struct location file;
};

/* "printer", "mapped-drive", ...: stable. */
const char *thing_kind_name(enum thing_kind kind);
/* "printers", "mapped drives", ...: for people. */
const char *thing_kind_words(enum thing_kind kind);
/* NULL: not known. */
const char *thing_detail(const struct thing *thing, const char *name);

/*
 * The part that is in small files: wireless networks, tasks, pinned things, network places; and
 * which kept driver belongs to which printer. After driver_packages_find(); `files` is false on a
 * drive that is failing, and then no file is read. False only when memory runs out or a stop is
 * asked for.
 */
bool devices_read(
    struct survey *survey, struct old_system *system, bool files, struct error *error);

/* devices.json: an array with one object for each old system. */
struct json;
void devices_to_json(const struct survey *survey, struct json *json);
/* The things of one old system, an array. */
void things_to_json(const struct old_system *system, struct json *json);

#endif
