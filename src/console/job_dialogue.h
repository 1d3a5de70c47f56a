/*
 * Taking everything to another drive: the questions before a job, the job, and what came of it.
 */
#ifndef CONSOLE_JOB_DIALOGUE_H
#define CONSOLE_JOB_DIALOGUE_H

#include "console/dialogue.h"

/*
 * Asks where to, whose files, in which form, and what needs a decision; checks the room; has it
 * confirmed; runs the job and tells what came of it. Only Enter, or Ctrl-C, leaves it at any
 * question, and nothing has been written then.
 */
void job_dialogue(struct dialogue *dialogue);

#endif
