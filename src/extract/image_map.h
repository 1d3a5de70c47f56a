/*
 * How far the saving of a drive is: a text file beside the image while that is unfinished, from
 * which the saving goes on.
 *
 * It is replaced as a whole, and only after what it speaks of was synced. Lines of a word and
 * numbers: "image 1"; "drive SIZE SECTOR MARK" (bytes; MARK: see drive_mark.h, or "-"); "passed
 * BYTES", up to where the drive was read once; "rounds N", how many rounds over the rest are done;
 * "missing OFFSET LENGTH" for every range below that which is not in the image; "end".
 */
#ifndef EXTRACT_IMAGE_MAP_H
#define EXTRACT_IMAGE_MAP_H

#include "base/error.h"
#include "disk/hole.h"

#include <stdbool.h>
#include <stdint.h>

#define IMAGE_MAP_ENDING ".unfinished-map"

struct image_map {
	uint64_t size;
	uint32_t sector_size;
	char mark[72]; /* "": not known */
	uint64_t passed;
	unsigned rounds;
	struct holes missing;
};

/* Replaces the file; it lasts then. False with *error (STATUS_DESTINATION). */
bool image_map_save(const struct image_map *map, const char *path, struct error *error);

/*
 * Reads it. *there: is it? False with *error when it is there and cannot be read, or is none.
 * The missing ranges are to be freed in any case.
 */
bool image_map_load(struct image_map *map, const char *path, bool *there, struct error *error);

/* Is this map about that drive, as far as is known of both? */
bool image_map_is_of(const struct image_map *map, const struct image_map *drive);

#endif
