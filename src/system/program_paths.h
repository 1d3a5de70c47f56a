/*
 * Old paths of programs: what traces call them, and which folders are a program's own.
 *
 * Source: KNOWNFOLDERID (Windows developer documentation) for folders that stand as "{GUID}".
 */
#ifndef SYSTEM_PROGRAM_PATHS_H
#define SYSTEM_PROGRAM_PATHS_H

#include "system/survey.h"

/*
 * Turns what a trace calls a program into an old path where it can be told: in `arena`. NULL: no
 * memory.
 */
const char *trace_path(const struct survey *survey, const struct old_system *system,
    const struct trace *trace, struct arena *arena);

/*
 * Calls `take` with the path, and with each form of it that begins with "{GUID}", in which jump
 * lists' numbers and start counts may have it.
 */
void program_path_forms(const struct old_system *system, const char *path, struct arena *arena,
    void (*take)(void *context, const char *form), void *context);

/* Does the path lie in the folder? A drive's root and the old system's own folders count as none.
 */
bool path_lies_in(const char *path, const char *folder);
bool path_has_ending(const char *path, const char *ending);

/* The full old path of an entry, its volume in front, in the survey's arena. NULL: no memory. */
const char *old_path_of_entry(struct survey *survey, size_t volume, uint32_t entry);

/* Is the trace, or a shortcut with this target, one of the program? */
bool program_has_path(const struct program *program, const char *path);

/*
 * The folder with the program's files, where it is the program's own: not a drive's root, a folder
 * of the old system's, one that holds many programs, or one of a person. NO_LOCATION otherwise.
 */
struct location program_own_folder(
    const struct survey *survey, const struct old_system *system, const struct program *program);

#endif
