/*
 * Bookmarks as an HTML document that every browser can import: nested lists (DL), folders as H3,
 * links as A with ADD_DATE and LAST_MODIFIED in seconds since 1970.
 *
 * Source: Microsoft, "Netscape Bookmark File Format"; escapes: HTML Living Standard, "Character
 * references".
 */
#ifndef EXTRACT_BOOKMARKS_HTML_H
#define EXTRACT_BOOKMARKS_HTML_H

#include "base/buf.h"
#include "system/bookmarks.h"

/* Appends the document. `title` is inner text: what the bookmarks are. */
void bookmarks_to_html(const struct bookmarks *bookmarks, const char *title, struct buf *out);

#endif
