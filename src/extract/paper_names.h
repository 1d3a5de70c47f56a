/*
 * The names of a job's papers (papers.h) and of the lists that every job has.
 */
#ifndef EXTRACT_PAPER_NAMES_H
#define EXTRACT_PAPER_NAMES_H

#include <stdbool.h>

/*
 * Is it the name of a file that stands beside a job's parts: of a paper, or of one of the lists that
 * every job has? One that is not here is not removed when a job goes on, and not known to verify.
 */
bool paper_is_known(const char *name);

#endif
