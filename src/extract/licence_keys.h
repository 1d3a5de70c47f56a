/*
 * The paper with the old systems' licence keys, which a job has only when the owner asked for it.
 */
#ifndef EXTRACT_LICENCE_KEYS_H
#define EXTRACT_LICENCE_KEYS_H

#include "extract/papers.h"

#define LICENCE_KEYS_FILE "licence-keys.txt"

/*
 * Reads the hives once more, and writes the file, also when no key is found: it says so then.
 * Serial numbers of programs that a person's hive holds are only written where something of that
 * person is taken.
 */
bool licence_keys_write(
    const struct plan *plan, const struct job *job, struct papers *papers, struct error *error);

#endif
