/*
 * A list of drives for people (80 columns) and as JSON: what `drives` shows.
 */
#ifndef REPORT_DRIVES_TEXT_H
#define REPORT_DRIVES_TEXT_H

#include "base/finding.h"
#include "base/json.h"
#include "disk/drives.h"
#include "disk/faults.h"
#include "disk/partition.h"
#include "disk/sets.h"

#include <stdio.h>

struct volume_view {
	enum filesystem filesystem;
	const char *label; /* "" when none; NULL when it was not read */
	uint64_t free;     /* bytes; ROOM_UNKNOWN */
	const char *device; /* the kernel's name of the partition; NULL when it has none */
	char letter;       /* on the old PC, 'C'; 0: not known */
	bool dirty;        /* NTFS: was not taken out of use properly */
};

struct drive_view {
	struct drive drive;
	bool readable;       /* table and volumes are filled in */
	bool faulty;         /* something could not be read: better not to read more than needed */
	bool stick;          /* coldlift was started from it */
	const char *problem; /* why not: one sentence without a full stop; "" otherwise */
	struct table table;
	struct set set;
	struct faults faults;
	struct volume_view *volumes; /* one per entry of the table */
	struct findings findings;
};

void drive_view_print(const struct drive_view *view, FILE *out);
void drive_view_to_json(const struct drive_view *view, struct json *json);

#endif
