/*
 * What the live stick can see: drives, volumes, old systems and persons, and what is wrong with
 * them.
 *
 * It is learned by running this program's own commands `drives --json` and `survey --json` as
 * processes of their own. A drive that hangs in the kernel, or a fault of the program that a broken
 * table brings out, then costs one process and not the screen; and what a survey needs of the
 * memory is free again before a job begins.
 */
#ifndef CONSOLE_LOOK_H
#define CONSOLE_LOOK_H

#include "base/arena.h"
#include "base/buf.h"
#include "base/error.h"
#include "base/finding.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define LOOK_FREE_UNKNOWN UINT64_MAX

struct look_volume {
	const char *device;     /* "/dev/sda1"; "" when the kernel shows none */
	const char *filesystem; /* as filesystem_name() says; "" when nothing was recognised */
	const char *label;      /* "" when it has none or it could not be read */
	const char *letter;     /* on the old PC, "C:"; "" when not known */
	uint64_t size;          /* bytes */
	uint64_t free;          /* bytes; LOOK_FREE_UNKNOWN */
	unsigned number;        /* of the partition; 0: the whole drive */
	const char *kind;       /* "EFI system", "recovery"; "" when not known */
	bool is_system;         /* EFI, reserved, recovery */
	bool dirty;             /* NTFS: was not taken out of use properly */
};

struct look_drive {
	const char *path; /* "/dev/sda" */
	const char *model, *serial, *bus;
	uint64_t size;  /* bytes */
	bool removable; /* the drive or its medium can be taken out; USB counts */
	bool stick;     /* coldlift was started from it */
	bool readable;
	const char *problem;    /* why not; "" */
	const char *verdict;    /* of the drive on itself: "none-reported", "wearing", "failing",
				   "locked", "unknown"; "" when it was not asked */
	const char *faults;     /* the same as a sentence; "" */
	unsigned link_megabits; /* of a USB drive; 0: not known or no USB */
	const char *set;        /* "a striped set of 2 drives": what it belongs to; "" */
	bool set_readable;      /* it is in no set, or can be read without the others */
	bool is_old;            /* after a survey: an old system, a part of one, or a folder
				   that one moved lies on it */
	struct look_volume *volumes;
	size_t n_volumes;
	struct findings findings;
};

struct look_person {
	const char *key; /* unique within its old system; `extract --person` understands it */
	const char *account, *full_name, *folder; /* "" when not known */
	uint64_t files, bytes;                    /* of the profile and the places outside it */
};

struct look_system {
	const char *pc;      /* the old computer's name */
	const char *product; /* "Windows 10 Home", as the hive says */
	const char *volume;  /* "C:" */
	struct look_person *persons;
	size_t n_persons;
	uint64_t shared_bytes; /* of the folders that all persons share */
};

struct look {
	struct arena arena; /* holds every text here */
	struct look_drive *drives;
	size_t n_drives;
	struct findings general; /* what concerns no single drive */
	bool surveyed;
	struct look_system *systems;
	size_t n_systems;
	uint64_t other_bytes;     /* in use on the old volumes without an old system */
	struct findings findings; /* of the survey */
};

/* Before first use; a look that was freed has to be begun again. */
void look_init(struct look *look);
void look_free(struct look *look);

/* Fills in drives and volumes, in place of what was there. False with *error. */
bool look_at_drives(struct look *look, struct error *error);

/*
 * Fills in old systems and persons, reading file tables of every drive but the stick and the drives
 * in `ruled_out` (paths of readable drives). Progress is shown on standard error. That nothing
 * readable is there is no failure: no systems.
 */
bool look_at_systems(
    struct look *look, const char *const *ruled_out, size_t n_ruled_out, struct error *error);

/*
 * The same from what the commands said (`drives --json`, `survey --json`), for tests. What is not
 * there or has another type counts as not known; text that is no JSON object is an error.
 */
bool look_read_drives(struct look *look, const char *json, size_t length, struct error *error);
bool look_read_survey(struct look *look, const char *json, size_t length, struct error *error);

/* "sda" of "/dev/sda". */
const char *look_short_name(const char *path);

/* Appends what the drive is, behind its name and size: ", model, serial number 123, USB". */
void look_describe(const struct look_drive *drive, struct buf *out);

/* Appends what it says of its own health, a sentence; nothing when it was not asked. */
void look_health(const struct look_drive *drive, struct buf *out);

/* Does the drive fail: says so itself, has dropped out, or could not read what was asked for? */
bool look_is_failing(const struct look_drive *drive);

/* Is the drive, or one of its volumes, locked by a password or encrypted? */
bool look_is_locked(const struct look_drive *drive);
bool look_is_encrypted(const struct look_volume *volume);

/*
 * Bytes that a destination should have free: persons' and shared folders, and all that is in use
 * on volumes without an old system. An estimate from above; the exact sum is known before a job
 * begins.
 */
uint64_t look_bytes(const struct look *look);

#endif
