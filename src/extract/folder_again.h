/*
 * A folder that is gone on with after a break: what was written after the last checkpoint goes.
 */
#ifndef EXTRACT_FOLDER_AGAIN_H
#define EXTRACT_FOLDER_AGAIN_H

#include "base/error.h"
#include "extract/map.h"

#include <stdbool.h>

/*
 * Removes every file below the open folder whose path is not one of `stored` (stored_paths.h), and
 * every folder that is not one and has nothing in it. `name` is for the error. False with *error
 * (STATUS_DESTINATION).
 */
bool folder_keep_only(int root, const struct map *stored, const char *name, struct error *error);

#endif
