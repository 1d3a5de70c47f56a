/*
 * A survey made by hand: volumes with a small catalogue each, for tests that need no drive.
 */
#ifndef FAKE_SURVEY_H
#define FAKE_SURVEY_H

#include "system/survey.h"

#define FAKE_VOLUMES 6

struct fake {
	struct survey survey;
	struct survey_drive drives[FAKE_VOLUMES];
	struct survey_volume volumes[FAKE_VOLUMES];
	struct partition partitions[FAKE_VOLUMES];
	struct volume ntfs[FAKE_VOLUMES];
	struct catalogue catalogues[FAKE_VOLUMES];
};

void fake_start(struct fake *fake);
/* Adds a volume on a drive of its own, with an empty root folder. Returns its index. */
size_t fake_volume(struct fake *fake);
/* Adds folders along a path ("Users\mara\Documents") and returns the last node. */
uint32_t fake_folder(struct fake *fake, size_t volume, const char *path);
/* A file with one unnamed stream of `size` bytes. */
uint32_t fake_file(struct fake *fake, size_t volume, const char *path, uint64_t size);
void fake_end(struct fake *fake);

#endif
