/*
 * where.json: where everything went, for a person or a script that looks for somebody's files.
 *
 * Persons, their places with old path and status (also places whose files could not be had), the
 * archive folder, the parts that hold it, counts and bytes.
 */
#ifndef EXTRACT_WHERE_H
#define EXTRACT_WHERE_H

#include "extract/parts.h"
#include "extract/sums.h"

bool where_write(const struct job *job, const struct outcomes *outcomes, const struct parts *parts,
    const struct sums *sums, struct digest *digest, struct error *error);

#endif
