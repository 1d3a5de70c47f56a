/* The volumes of all drives: recognised, opened where they are NTFS, and catalogued. */
#ifndef SYSTEM_OPEN_VOLUMES_H
#define SYSTEM_OPEN_VOLUMES_H

#include "system/survey.h"

/*
 * Fills survey->volumes from the drives' tables. What cannot be read becomes a finding. False with
 * STATUS_NO_VOLUME when no NTFS volume could be read at all, or when memory runs out.
 */
bool open_volumes(struct survey *survey, struct error *error);

#endif
