/*
 * Files that may hold bookmarks: which of the plan's items they are, their bytes, and what to call
 * their profile.
 */
#ifndef EXTRACT_BOOKMARK_FILES_H
#define EXTRACT_BOOKMARK_FILES_H

#include "plan/plan.h"
#include "system/bookmarks.h"

enum bookmark_file {
	BOOKMARK_FILE_NO,
	BOOKMARK_FILE_JSON,
	BOOKMARK_FILE_JSON_COPY, /* the browser's own backup of such a file, beside it */
	BOOKMARK_FILE_BACKUP,    /* the same in a folder below that of the database */
	BOOKMARK_FILE_DATABASE,
	BOOKMARK_FILE_URL, /* in a folder of favourites */
};
enum bookmark_file bookmark_file_kind(const struct plan *plan, const struct item *item);

/*
 * Is the item one of those, or the write-ahead log that belongs to one: may it be read for
 * bookmarks?
 */
bool bookmark_file_is_read(const struct plan *plan, const struct item *item);

/*
 * The folder of favourites that a `.url` file lies in, also the default one that was left behind
 * when the place was moved; NONE for any other file.
 */
uint32_t bookmark_file_favourites(const struct plan *plan, const struct item *item);

/*
 * The item's bookmarks. Not for BOOKMARK_FILE_URL. One of which so much could not be read that none
 * are found is BOOKMARKS_BROKEN, and bookmarks->is_partial.
 */
enum bookmarks_found bookmark_file_read(
    const struct plan *plan, const struct item *item, struct bookmarks *bookmarks);

/*
 * The address in an item that is BOOKMARK_FILE_URL, in `arena`, or NULL. Sets *is_partial when that
 * is because it could not be read.
 */
char *bookmark_file_address(const struct plan *plan, const struct item *item, struct arena *arena,
    bool *is_partial);

/*
 * Appends what people may know the browser profile by that lies in the folder of the old path:
 * "Product-Default" of "\Users\mara\AppData\Local\Product\User Data\Default\Bookmarks". Not yet fit
 * for a file name.
 */
void bookmark_file_profile(const char *old_path, struct buf *out);

#endif
