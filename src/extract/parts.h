/*
 * The parts of a job: which archive file is being written, and when the next one begins.
 *
 * A part holds the files of one group. It ends where its group ends, or before a file that would
 * make it larger than a part may be; then the next is called "-2", "-3"... With FORMAT_FOLDER there
 * is one part, a folder, for everything.
 */
#ifndef EXTRACT_PARTS_H
#define EXTRACT_PARTS_H

#include "extract/job.h"
#include "extract/writer.h"
#include "plan/plan.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct part {
	char *name;       /* of its file (or folder) in the job */
	uint32_t group;   /* index in plan.groups; NONE for the folder */
	uint64_t files;   /* entries that hold bytes, also pieces and second names */
	uint64_t bytes;   /* their logical bytes */
	uint64_t size;    /* of the part's file, bytes; 0 for the folder */
	struct digest digest;
};

struct parts {
	const struct job *job;
	const struct plan *plan;
	enum format format;
	uint64_t limit;   /* largest size of a part (FORMAT_FOLDER: of a file); 0: none */
	struct part *items;
	size_t count, capacity;
	struct writer *writer; /* of the last item, while it is open */
	unsigned number;       /* of the open part within its group */
};

void parts_start(struct parts *parts, const struct job *job, const struct plan *plan,
    enum format format, uint64_t limit);

/*
 * Makes sure that a part of the group is open and has room for an entry that adds `cost` bytes
 * (writer_cost()). False with *error.
 */
bool parts_enter(struct parts *parts, uint32_t group, uint64_t cost, struct error *error);

/* Index of the open part. */
uint32_t parts_current(const struct parts *parts);

/*
 * Index of the open part when it is one of this group and takes `cost` more bytes; NONE otherwise.
 */
uint32_t parts_open_for(const struct parts *parts, uint32_t group, uint64_t cost);
/* Counts an entry of the open part. */
void parts_count(struct parts *parts, uint64_t bytes);

/* The largest file that fits a part with nothing else in it; UINT64_MAX: no limit. */
uint64_t parts_largest_file(const struct parts *parts, const char *path);

/* Completes the open part, if there is one. */
bool parts_finish(struct parts *parts, struct error *error);
/* Gives up the open part. */
void parts_abandon(struct parts *parts);
void parts_free(struct parts *parts);

#endif
