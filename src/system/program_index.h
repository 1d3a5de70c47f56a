/*
 * All programs' files that are known of an old system, found by the number that a jump list's name
 * begins with, or by the file's name.
 *
 * Known are the files in the folders of programs, what traces and shortcuts name, and the
 * identities of store apps and of shortcuts.
 */
#ifndef SYSTEM_PROGRAM_INDEX_H
#define SYSTEM_PROGRAM_INDEX_H

#include "system/survey.h"

struct known_program {
	uint64_t number;  /* jump_list_number() of one form of its path, or of its identity */
	const char *path; /* old path, or a store app's identity */
};

struct program_index {
	struct arena arena;
	struct known_program *items; /* by number */
	size_t count, capacity;
	bool failed; /* memory ran out */
};

/* False when memory runs out. program_index_free() is needed in either case. */
bool program_index_make(
    struct program_index *index, const struct survey *survey, const struct old_system *system);
void program_index_free(struct program_index *index);

/* NULL: no program has that number. */
const char *program_index_number(const struct program_index *index, uint64_t number);
/* NULL: none has that name, or several in different folders do. */
const char *program_index_name(const struct program_index *index, const char *name);

#endif
