/*
 * The parts of a job: which archive files are being written, and when the next one begins.
 *
 * A part holds the files of one group. Files come in the order in which they lie on the drive, so
 * one part of each of several groups is open at a time. A part ends with parts_finish(), or before
 * a file that would make it larger than a part may be; then the next is called "-2", "-3"... With
 * FORMAT_FOLDER there is one part, a folder, for everything that is stored at one destination.
 */
#ifndef EXTRACT_PARTS_H
#define EXTRACT_PARTS_H

#include "extract/job.h"
#include "extract/outcome.h"
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
	bool is_finished;
	bool is_noted;    /* the journal knows that */
	unsigned destination; /* where it lies: 1 is the first that the job had */
};

/* The part of a group that is being written. */
struct open_part {
	struct writer *writer; /* NULL: none is open */
	uint32_t part;         /* index in parts.items */
	unsigned number;       /* of the last one within its group */
};

/* Where the current part was, to go back to. */
struct parts_mark {
	uint32_t part;
	unsigned number;       /* as in struct open_part */
	uint64_t files, bytes; /* as in struct part */
	struct writer_mark writer;
};

struct parts {
	const struct job *job;
	const struct plan *plan;
	enum format format;
	unsigned destination; /* where the job is now, from 1: see onward.h */
	uint64_t limit;   /* largest size of a part (FORMAT_FOLDER: of a file); 0: none */
	struct part *items;
	size_t count, capacity;
	struct open_part *open; /* for each group; one for all with FORMAT_FOLDER */
	size_t n_open;
	struct open_part *current; /* entered last; NULL: none */
	struct crew *crew;      /* prepares and writes the bytes of all parts; NULL: none yet */
};

/* False when memory runs out. */
bool parts_start(struct parts *parts, const struct job *job, const struct plan *plan,
    enum format format, uint64_t limit);

/*
 * Makes sure that a part of the group is open and has room for an entry that adds `cost` bytes
 * (writer_cost()), and enters it: until the next call it is the current part. False with *error.
 */
bool parts_enter(struct parts *parts, uint32_t group, uint64_t cost, struct error *error);

/* Index of the current part, and what writes it. */
uint32_t parts_current(const struct parts *parts);
struct writer *parts_writer(const struct parts *parts);

/*
 * Index of the open part of this group when there is one and it takes `cost` more bytes; NONE
 * otherwise. Does not enter it.
 */
uint32_t parts_open_for(const struct parts *parts, uint32_t group, uint64_t cost);
/* Counts an entry of the current part. */
void parts_count(struct parts *parts, uint64_t bytes);

/* The largest file that fits a part with nothing else in it; UINT64_MAX: no limit. */
uint64_t parts_largest_file(const struct parts *parts, const char *path);

/*
 * Between two entries: notes where the current part is. What it holds is made to last for that.
 * False with *error.
 */
bool parts_mark(const struct parts *parts, struct parts_mark *mark, struct error *error);
/*
 * Between two entries: the marked part is open again and as it was, and those that were begun
 * since, all of its group, are gone. The outcomes know only what stood in the part at the mark.
 * False with *error.
 */
bool parts_go_back(struct parts *parts, const struct outcomes *outcomes,
    const struct parts_mark *mark, struct error *error);

/* Completes the current part: nothing more goes into it. */
bool parts_close_current(struct parts *parts, struct error *error);
/* Completes every open part. */
bool parts_finish(struct parts *parts, struct error *error);
/* Gives up the open parts. */
void parts_abandon(struct parts *parts);

/* Name of the folder that would be begun next, with FORMAT_FOLDER. To be freed; NULL: no memory. */
char *parts_next_folder(const struct parts *parts);

/*
 * Going on with a job: tells of its next part, in the order in which they were begun. False when
 * the part's name is not the one that it would have got, or memory ran out.
 */
bool parts_recall(struct parts *parts, const char *name, uint32_t group);
/*
 * Opens a part that was told of again, from the mark, with what the outcomes say is in it; without
 * a mark (NULL) anew, under its name. False with *error.
 */
bool parts_reopen(struct parts *parts, const struct outcomes *outcomes, uint32_t part,
    const struct writer_mark *mark, struct error *error);
/* Going on with a job: from here on it is at the next destination, with its unfinished parts. */
void parts_recall_move(struct parts *parts);
void parts_free(struct parts *parts);

#endif
