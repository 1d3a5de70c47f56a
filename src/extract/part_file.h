/*
 * The file of a part, as the writing thread has it (crew.h): what is small is collected before it
 * is written, and there is one place to which one can go back.
 */
#ifndef EXTRACT_PART_FILE_H
#define EXTRACT_PART_FILE_H

#include "extract/durable.h"

/* Records up to this size can be made in place. */
#define PART_FILE_ROOM ((size_t)1 << 16)

struct part_file {
	struct durable file; /* its error is the first failure of any function here */
	uint8_t *out;        /* collected, but not written yet */
	size_t n_out;
	bool mark_is_out;    /* the place to go back to is out[mark_at]; else it is `mark` */
	size_t mark_at;
	struct durable_mark mark;
};

/* False with *error; then nothing is left to free. */
bool part_file_open(struct part_file *file, const char *path, struct error *error);
/* The same for a file that is gone on with, see durable_reopen(). */
bool part_file_reopen(struct part_file *file, const char *path, uint64_t size, struct error *error);
/* Frees what is left after durable_finish() or durable_abandon(). */
void part_file_free(struct part_file *file);

void part_file_add(struct part_file *file, const void *data, size_t length);
/* Room for a record of PART_FILE_ROOM bytes, `length` of which are then added. */
uint8_t *part_file_room(struct part_file *file);
void part_file_added(struct part_file *file, size_t length);
void part_file_flush(struct part_file *file);

/* Where the next byte goes. */
uint64_t part_file_position(const struct part_file *file);

/* Remembers this place. */
void part_file_mark(struct part_file *file);
/* Goes back to it: what came after is gone. */
void part_file_go_back(struct part_file *file);

#endif
