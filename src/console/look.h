/*
 * What the live stick can see: drives, volumes, old systems and persons, and what is wrong with them.
 *
 * It is learned by running this program's own commands `drives --json` and `survey --json` as
 * processes of their own. A drive that hangs in the kernel, or a fault of the program that a broken
 * table brings out, then costs one process and not the screen; and what a survey needs of the memory
 * is free again before a job begins.
 */
#ifndef CONSOLE_LOOK_H
#define CONSOLE_LOOK_H

#include "base/arena.h"
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
	bool is_system;         /* EFI, reserved, recovery */
	bool dirty;             /* NTFS: was not taken out of use properly */
};

struct look_drive {
	const char *path; /* "/dev/sda" */
	const char *model, *serial, *bus;
	uint64_t size;              /* bytes */
	bool removable;             /* the drive or its medium can be taken out; USB counts */
	bool stick;                 /* coldlift was started from it */
	bool readable;
	const char *problem;        /* why not; "" */
	const char *verdict;        /* of the drive on itself: "none-reported", "wearing", "failing",
				       "locked", "unknown"; "" when it was not asked */
	const char *faults;         /* the same as a sentence; "" */
	unsigned link_megabits;     /* of a USB drive; 0: not known or no USB */
	struct look_volume *volumes;
	size_t n_volumes;
	struct findings findings;
};

struct look_person {
	const char *account, *full_name, *folder; /* "" when not known */
	uint64_t files, bytes;                    /* of the profile and the places outside it */
};

struct look_system {
	const char *pc;      /* the old computer's name */
	const char *product; /* "Windows 10 Home", as the hive says */
	const char *volume;  /* "C:" */
	struct look_person *persons;
	size_t n_persons;
};

struct look {
	struct arena arena; /* holds every text here */
	struct look_drive *drives;
	size_t n_drives;
	struct findings general; /* what concerns no single drive */
	bool surveyed;
	struct look_system *systems;
	size_t n_systems;
	struct findings findings; /* of the survey */
};

/* Fills in drives and volumes. False with *error; the look can be freed either way. */
bool look_at_drives(struct look *look, struct error *error);

/*
 * Fills in old systems and persons, reading file tables of every drive but the stick and the drives
 * in `not` (paths). Progress is shown on standard error. That nothing readable is there is no
 * failure: no systems.
 */
bool look_at_systems(struct look *look, const char *const *not, size_t n_not, struct error *error);

void look_free(struct look *look);

#endif
