/*
 * account.json: the sums over the record, the drives that it all came from with what they said of
 * their own health, and every volume in clusters by owner.
 *
 * The `holes` of a drive are what the survey or a file of the job asked for and did not get, in whole
 * sectors: tried as often as was allowed, also by the runs before one that went on, or left when
 * --patience ended. What nobody asked for is not among them, so it is no list of all its bad sectors.
 *
 * The clusters of a volume are added up from what the catalogue knows of each file, and compared
 * with the volume's own map of what is free: so nothing can be forgotten without being seen.
 */
#ifndef EXTRACT_ACCOUNT_H
#define EXTRACT_ACCOUNT_H

#include "base/finding.h"
#include "extract/job.h"
#include "extract/sums.h"

/* Writes the file; volumes that do not add up become findings. */
bool account_write(const struct job *job, const struct outcomes *outcomes, const struct sums *sums,
    struct findings *findings, struct digest *digest, struct error *error);

#endif
