/*
 * A zip file that is gone on with after a break: its central directory, which was only in memory,
 * is made again from the local headers.
 */
#ifndef EXTRACT_ZIP_AGAIN_H
#define EXTRACT_ZIP_AGAIN_H

#include "extract/durable.h"
#include "extract/writer.h"
#include "extract/zip_directory.h"

/*
 * Fills the empty directory from the file, which was cut to the mark. Which entries are read-only
 * does not stand in local headers: options.next_stored tells. False with *error
 * (STATUS_DESTINATION when the file is not what it was).
 */
bool zip_again(struct zip_directory *directory, const struct durable *file,
    const struct writer_options *options, const struct writer_mark *mark, struct error *error);

#endif
