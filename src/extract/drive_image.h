/*
 * Saving a whole drive as an image, with the list of what could not be read (disk/listed.h), before
 * a job works from that image: a drive that may not last is then asked only once.
 *
 * What the drive gives at once comes first, in large requests; where it fails that region is skipped
 * for now. Then rounds go over what was skipped, in smaller and smaller requests, the last sector by
 * sector (source_round()). While the image is unfinished a map beside it says how far it is, so that
 * the same order given again goes on: of what is in the image nothing is read again, but for the
 * drive's first two sectors, which tell whether it is the same drive.
 */
#ifndef EXTRACT_DRIVE_IMAGE_H
#define EXTRACT_DRIVE_IMAGE_H

#include "base/error.h"
#include "base/finding.h"

#include <stdbool.h>
#include <stdint.h>

struct image_order {
	const char *drive;   /* block device or image file */
	const char *file;    /* the new image; neither it nor its list may be there */
	const char *to;      /* folder of the job that follows; must not lie on the drive either */
	uint64_t patience;   /* milliseconds for what does not read at once; 0: no end */
	uint64_t checkpoint; /* bytes from one noting of how far it is to the next; 0: the usual */
	bool quiet;          /* no progress */
};

/*
 * Asks the drive for its health, then saves it, or goes on with that. The image is written as
 * FILE.unfinished; when all of it is synced, the list gets its name first and the image last, so
 * that an image under its good name always has its list beside it. Ranges of zeros take no room
 * where the file system can leave them out.
 *
 * False with *error: STATUS_DESTINATION (on the drive itself, no room, there already, failed, in
 * use), STATUS_NO_VOLUME (no such drive, locked, or lost before its end), STATUS_USAGE (another drive
 * than it was begun with), STATUS_OTHER (stopped, no memory). What was saved is there then, with its
 * map, for going on; where that is nothing, nothing is left.
 */
bool drive_image_save(
    const struct image_order *order, struct findings *findings, struct error *error);

/* Is there an image to go on with? */
bool drive_image_is_unfinished(const char *file);

#endif
