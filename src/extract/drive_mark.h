/*
 * What tells one drive from another before anything else is known of it: its first two sectors, with
 * the table of partitions or the boot sector of its only volume.
 */
#ifndef EXTRACT_DRIVE_MARK_H
#define EXTRACT_DRIVE_MARK_H

#include "disk/hole.h"
#include "disk/source.h"
#include "extract/digest.h"

#define DRIVE_MARK_SECTORS 2u
#define DRIVE_MARK_LARGEST_SECTOR 65536u

struct drive_mark {
	uint8_t bytes[DRIVE_MARK_SECTORS * DRIVE_MARK_LARGEST_SECTOR];
	size_t length;
	struct holes holes;      /* of them */
	struct digest_text text; /* SHA-256; "": it could not be read */
};

/* NULL when memory runs out; to be freed by drive_mark_free(). */
struct drive_mark *drive_mark_read(struct source *source);
void drive_mark_free(struct drive_mark *mark);

#endif
