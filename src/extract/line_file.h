/*
 * A durable text file that is written line by line: what is collected goes out in large pieces.
 */
#ifndef EXTRACT_LINE_FILE_H
#define EXTRACT_LINE_FILE_H

#include "base/buf.h"
#include "extract/job.h"

struct line_file {
	struct durable file;
	struct buf buf; /* lines that are not written yet: append here */
};

/* Begins the file `name` in the job. */
bool line_file_open(struct line_file *lines, const struct job *job, const char *name,
    struct error *error);
/* To be called after every line or few. */
bool line_file_flush(struct line_file *lines, struct error *error);
/* Writes the rest when `good`, gives the file up otherwise; frees everything. */
bool line_file_finish(struct line_file *lines, bool good, struct digest *digest,
    struct error *error);

#endif
