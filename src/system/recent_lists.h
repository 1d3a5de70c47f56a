/*
 * Lists of what a person opened last, as programs and the desktop keep them in the person's hive.
 *
 * Sources: winreg-kb, "Most recently used (MRU)" keys (MRUList, MRUListEx, OpenSavePidlMRU,
 * LastVisitedPidlMRU, RecentDocs and the older OpenSaveMRU, LastVisitedMRU) and "Typed paths"; [MS-SHLLINK] 2.2
 * for item lists; "CRecentFileList" of Microsoft's MFC documentation (values File1, File2... in
 * "Recent File List"). Lists called "File MRU" ("Item 1" = "[F00000000][T01D9...]*C:\x.doc", the
 * number behind T a FILETIME): common practice, no source.
 */
#ifndef SYSTEM_RECENT_LISTS_H
#define SYSTEM_RECENT_LISTS_H

#include <stdint.h>

/*
 * The path in an entry of a "File MRU", and when it was used (0: not told); NULL: it is none.
 * Points into the text.
 */
const char *recent_item_path(const char *text, int64_t *used);

#endif
