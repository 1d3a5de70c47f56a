/*
 * What did not arrive as it should, as findings: one for each kind and person, with counts and a
 * few names. The record has every file.
 */
#ifndef EXTRACT_LOSSES_H
#define EXTRACT_LOSSES_H

#include "base/finding.h"
#include "extract/outcome.h"

/* False when memory runs out. */
bool losses_report(const struct outcomes *outcomes, struct findings *findings);

/* "Mara Lindqvist", "shared files", "drive D:": whose files a group holds, for people. */
const char *group_owner_name(const struct plan *plan, const struct group *group);

#endif
