/* Where a job may be written to: see destinations.h. */
#include "console/destinations.h"

#include "console/target.h"

#include <string.h>

const char *destination_refusal(const struct look_drive *drive)
{
	if (drive->stick)
		return "coldlift was started from it.";
	if (drive->is_old)
		return "It belongs to the old PC, and nothing is ever written there.";
	if (!drive->readable)
		return "It cannot be read.";
	if (look_is_failing(drive))
		return "It is failing: what is written there may be lost.";
	if (look_is_locked(drive))
		return "It is locked or encrypted.";
	if (*drive->set != '\0')
		return "It belongs to a set of drives.";
	return NULL;
}

static bool can_be_written(const struct look_volume *volume)
{
	return !volume->is_system && *volume->device != '\0' && target_is_possible(volume);
}

void destinations_find(const struct look *look, struct destinations *found)
{
	found->count = 0;
	for (size_t d = 0; d < look->n_drives; d++) {
		const struct look_drive *drive = &look->drives[d];

		if (destination_refusal(drive) != NULL)
			continue;
		for (size_t v = 0; v < drive->n_volumes; v++)
			if (can_be_written(&drive->volumes[v]) && found->count < DESTINATIONS_MAX)
				found->items[found->count++] =
				    (struct destination_choice){drive, &drive->volumes[v]};
	}
}

bool destinations_have_room(const struct destinations *found, uint64_t bytes)
{
	for (size_t i = 0; i < found->count; i++) {
		uint64_t free = found->items[i].volume->free;

		if (free == LOOK_FREE_UNKNOWN || free >= bytes)
			return true;
	}
	return false;
}
