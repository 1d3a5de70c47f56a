/*
 * Clusters that two files claim: cross-linked files. Private to src/ntfs.
 *
 * At most one of the two is right, and nothing tells which: both are taken as they are.
 */
#ifndef NTFS_SHARED_H
#define NTFS_SHARED_H

#include "base/finding.h"
#include "ntfs/catalogue.h"

/*
 * Says so. Not looked at on a volume with more pieces of files than SHARED_RUNS_MAX: it would take
 * too much memory.
 */
#define SHARED_RUNS_MAX ((size_t)4 << 20)
void shared_report(const struct catalogue *catalogue, const char *name, struct findings *findings);

#endif
