/*
 * Bulk data of programs: much that is no code, in folders of programs and in libraries of games.
 *
 * All of it can be fetched again, but carrying it over can be much quicker: it is offered. Common
 * practice, no source: a large game is 20 GB and more.
 */
#ifndef SYSTEM_BULK_DATA_H
#define SYSTEM_BULK_DATA_H

#include "system/survey.h"

#define BULK_LEAST (UINT64_C(1) << 30) /* bytes that are no code */

/*
 * Sets struct program's bytes_on_drive and fills survey->bulks, with a finding each. A library of
 * games is known by its structure: a folder "common" whose folders hold programs, with manifests of
 * them beside it. False when memory runs out.
 */
bool bulk_data_find(struct survey *survey);

/* That of a program of the system; NULL: it has none. */
const struct bulk *program_bulk(
    const struct survey *survey, const struct old_system *system, const struct program *program);
/* Is the folder one of them? */
bool is_bulk(const struct survey *survey, struct location folder);

#endif
