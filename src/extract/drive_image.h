/*
 * Saving a whole drive as an image, with the list of what could not be read (disk/listed.h), before
 * a job works from that image: a drive that may not last is then asked only once.
 */
#ifndef EXTRACT_DRIVE_IMAGE_H
#define EXTRACT_DRIVE_IMAGE_H

#include "base/error.h"
#include "base/finding.h"

#include <stdbool.h>

struct image_order {
	const char *drive; /* block device or image file */
	const char *file;  /* the new image; neither it nor its list may be there */
	const char *to;    /* folder of the job that follows; must not lie on the drive either */
	bool quiet;        /* no progress */
};

/*
 * Asks the drive for its health, then reads it from its start to its end. The image is written as
 * FILE.unfinished; when all of it is synced, the list gets its name first and the image last, so
 * that an image under its good name always has its list beside it. Ranges of zeros take no room
 * where the file system can leave them out.
 *
 * False with *error: STATUS_DESTINATION (on the drive itself, no room, there already, failed),
 * STATUS_NO_VOLUME (no such drive, locked, or lost before its end), STATUS_OTHER (stopped, no
 * memory). Then nothing is left of the image.
 */
bool drive_image_save(
    const struct image_order *order, struct findings *findings, struct error *error);

#endif
