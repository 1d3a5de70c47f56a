/*
 * A zip file that is being written, as the writing thread sees it: members whose bytes come in
 * parcels (crew.h), packed or not, are put into the file.
 *
 * A local header tells sizes and checksum of what follows it, so that the file can be read from
 * its beginning without its directory; no data descriptors are written. Members of up to CREW_HELD
 * chunks are held until they are complete, then header and bytes go out. Of a larger one the header
 * is reserved, and patched when all its bytes are there; the hash of the file waits for that
 * (durable.h).
 */
#ifndef EXTRACT_ZIP_PART_H
#define EXTRACT_ZIP_PART_H

#include "extract/crew.h"
#include "extract/part_file.h"
#include "extract/writer.h"
#include "extract/zip_directory.h"
#include "extract/zip_format.h"

/* Kinds of parcels. */
enum {
	ZIP_BYTES, /* of a member; `entry` is it. No data: `length` zeros, PACK_CHUNK or none */
	ZIP_TAKE_BACK, /* the member `entry`, some of whose bytes were sent, is gone */
	ZIP_SIZE,      /* sets part.size */
	ZIP_CHECKPOINT, /* sets part.mark */
	ZIP_FINISH,    /* sets part.digest */
	ZIP_ABANDON,
};

/* A member on its way; freed in the writing thread, with free(). */
struct zip_member {
	struct zip_entry entry; /* what is known at its beginning */
	bool is_stored;         /* not to be compressed */
	bool is_sparse;         /* its zeros are known to be many, and count as nearly nothing */
	char name[];
};

/* PACK_CHUNK zeros, deflated: to go on, and as the last. */
struct zip_zeros {
	uint8_t *data[2];
	size_t packed[2];
	uint32_t crc;
};

struct zip_part {
	struct lane lane; /* first */
	struct part_file file;
	struct zip_directory directory;
	struct zip_zeros zeros;

	/* The member in work; NULL: none. */
	struct zip_member *member;
	struct parcel *held[CREW_HELD];
	size_t n_held;
	bool is_written; /* its beginning is in the file already, from the file's mark on */

	/* Answers. */
	uint64_t size; /* of the whole file if it ended now */
	struct writer_mark mark;
	struct digest digest;
};

/* The size of the whole file if it ended now. */
uint64_t zip_part_size(const struct zip_part *part);

/* Opens the file for parcels of a crew. False with *error, then nothing is left to free. */
bool zip_part_open(struct zip_part *part, struct crew *crew, const char *path, struct error *error);
/* The same for a file that is gone on with, see writer_reopen(). */
bool zip_part_reopen(struct zip_part *part, struct crew *crew, const char *path,
    const struct writer_options *options, const struct writer_mark *mark, struct error *error);
/* After ZIP_FINISH or ZIP_ABANDON was put. */
void zip_part_free(struct zip_part *part);

#endif
