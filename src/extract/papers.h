/*
 * Papers of a job: files beside its parts that explain what was found, listed in the tag manifest.
 */
#ifndef EXTRACT_PAPERS_H
#define EXTRACT_PAPERS_H

#include "base/arena.h"
#include "extract/job.h"
#include "extract/proof.h"

struct papers {
	struct arena arena;
	struct tag_file *items; /* names in the arena */
	size_t count, capacity;
};

void papers_free(struct papers *papers);

/*
 * Writes the file `name` ("bookmarks/mara.html", its folder is made when it is not there) and adds
 * it. The buffer, which may have run out of memory, is emptied.
 */
bool papers_add(struct papers *papers, const struct job *job, const char *name, struct buf *content,
    struct error *error);

#endif
