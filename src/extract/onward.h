/*
 * A job that goes on at another destination, because the one where it is is full or must be left.
 *
 * What is finished stays where it is and is never read again; the journal, the store of a failing
 * drive, and the archives that are not finished (as far as the last checkpoint says) are copied to
 * a folder of the same name at the next destination. In the format `folder` the folder is finished
 * as it is, and the next one is begun there.
 *
 * At every moment the job belongs to one folder, or to none until the command is given again: never
 * to two. FIRST and NEXT are on two file systems that fail one by one, so each step lasts (written
 * under a temporary name, synced, renamed, folder synced) before the next begins:
 *
 *   1. FIRST/journal is locked, and cut behind its last checkpoint.
 *   2. NEXT/: archives (NAME.unfinished), salvage/, and at last journal.unfinished, which ends in
 *      the line {"moved":{"mark":...,"place":...}} with a mark that chance has chosen. No folder
 *      with a journal.unfinished only is a job: FIRST has it still.
 *   3. FIRST/goes-on-elsewhere.txt with the same mark (handover.h): from now on FIRST has it no more.
 *   4. NEXT/journal.unfinished becomes NEXT/journal: NEXT has it.
 *   5. FIRST: journal, unfinished archives and salvage/ are removed.
 *
 * Cut off before 3, the job goes on at FIRST, and what stands at NEXT is removed when it is moved
 * there again; it cannot be taken up by itself, since no note will ever have its mark. Cut off
 * between 3 and 4, step 4 is made up for when FIRST and NEXT are both there: the mark says that they
 * belong together. After 4 NEXT needs nothing of FIRST.
 */
#ifndef EXTRACT_ONWARD_H
#define EXTRACT_ONWARD_H

#include "extract/unfinished.h"

#include "plan/plan.h"

#include <stdbool.h>
#include <stdint.h>

/*
 * Finds the job to go on with, as unfinished_find(), in *to or, when it has left that already, in
 * *then; *to becomes the folder where it is, and *then NULL when nothing is left to move. Completes
 * a move that was cut off. *then NULL: no other destination was named.
 */
bool onward_find(struct unfinished_job *job, const char **to, const char **then, const char *name,
    struct error *error);

/*
 * Moves the job, found at another destination, to the folder `then`: *job becomes the one there.
 * False with *error: the job is where it was, or on its way as said above.
 */
bool onward_move(struct unfinished_job *job, const char *then, const struct plan *plan, bool quiet,
    struct error *error);

#endif
