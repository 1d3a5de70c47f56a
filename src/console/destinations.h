/*
 * Which volumes a job may be written to, and which not and why.
 *
 * Never one on a drive of the old PC, on the stick, on a drive that fails, is locked or belongs to
 * a set: those are not even offered.
 */
#ifndef CONSOLE_DESTINATIONS_H
#define CONSOLE_DESTINATIONS_H

#include "console/look.h"

#include <stdbool.h>
#include <stddef.h>

/* More volumes than a person can choose from. */
#define DESTINATIONS_MAX 40

struct destination_choice {
	const struct look_drive *drive;
	const struct look_volume *volume;
};

struct destinations {
	struct destination_choice items[DESTINATIONS_MAX];
	size_t count;
};

/* All that may be offered, in the order of the drives. The look must be surveyed. */
void destinations_find(const struct look *look, struct destinations *found);

/* Why no volume of this drive is offered, as a sentence; NULL when the drive may hold one. */
const char *destination_refusal(const struct look_drive *drive);

/* Is there one with that much room, as far as is known? */
bool destinations_have_room(const struct destinations *found, uint64_t bytes);

#endif
