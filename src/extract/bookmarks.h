/*
 * The bookmarks of every browser profile that is taken, as HTML that a new browser imports: one
 * file for each profile in the job's folder `bookmarks`, and a text there that says what else
 * travels with a profile.
 *
 * A profile is found by its files: what they are called only says which are worth opening, what
 * they hold decides (system/bookmarks.h).
 */
#ifndef EXTRACT_BOOKMARKS_H
#define EXTRACT_BOOKMARKS_H

#include "extract/papers.h"
#include "plan/plan.h"

#define BOOKMARKS_FOLDER "bookmarks"
#define BOOKMARKS_READ_ME "read-me.txt"

/*
 * Reads the bookmarks off the drive once more and writes them. What cannot be read becomes a
 * finding. False with *error when the destination failed or memory ran out.
 */
bool bookmarks_write(const struct plan *plan, const struct job *job, struct papers *papers,
    struct findings *findings, struct error *error);

#endif
