/* Bookmarks as HTML: see bookmarks_html.h. */
#include "extract/bookmarks_html.h"

#include "base/filetime.h"
#include "base/utf.h"

#include <inttypes.h>
#include <string.h>

/* One character of text or of a quoted value. Controls that no document may have are left out. */
static void add_character(struct buf *out, uint32_t point)
{
	switch (point) {
	case '&':
		buf_add_text(out, "&amp;");
		break;
	case '<':
		buf_add_text(out, "&lt;");
		break;
	case '>':
		buf_add_text(out, "&gt;");
		break;
	case '"':
		buf_add_text(out, "&quot;");
		break;
	case '\t':
	case '\n':
	case '\r':
		buf_printf(out, "&#%u;", (unsigned)point);
		break;
	default:
		if (point >= 0x20 && (point < 0x7F || point > 0x9F))
			utf_add(out, point);
	}
}

static void add_escaped(struct buf *out, const char *text)
{
	struct buf clean = {0};
	const char *at, *end;

	utf_clean(&clean, text, strlen(text));
	at = buf_text(&clean);
	for (end = at + clean.length; at < end;)
		add_character(out, utf_next(&at, end));
	out->failed = out->failed || clean.failed;
	buf_free(&clean);
}

static void add_time(struct buf *out, const char *name, int64_t time)
{
	int64_t seconds;
	uint32_t nanoseconds;

	if (time == 0)
		return;
	filetime_to_unix(time, &seconds, &nanoseconds);
	if (seconds > 0)
		buf_printf(out, " %s=\"%" PRId64 "\"", name, seconds);
}

static void indent(struct buf *out, unsigned depth)
{
	for (unsigned i = 0; i <= depth; i++)
		buf_add_text(out, "    ");
}

static void add_item(struct buf *out, const struct bookmark *item, unsigned depth)
{
	bool is_folder = item->kind == BOOKMARK_FOLDER;

	indent(out, depth);
	if (item->kind == BOOKMARK_LINE) {
		buf_add_text(out, "<HR>\n");
		return;
	}
	buf_add_text(out, is_folder ? "<DT><H3" : "<DT><A HREF=\"");
	if (!is_folder) {
		add_escaped(out, item->address);
		buf_add_byte(out, '"');
	}
	add_time(out, "ADD_DATE", item->added);
	add_time(out, "LAST_MODIFIED", item->modified);
	if (item->is_bar)
		buf_add_text(out, " PERSONAL_TOOLBAR_FOLDER=\"true\"");
	buf_add_byte(out, '>');
	add_escaped(out, item->title);
	buf_add_text(out, is_folder ? "</H3>\n" : "</A>\n");
	if (is_folder) {
		indent(out, depth);
		buf_add_text(out, "<DL><p>\n");
	}
}

void bookmarks_to_html(const struct bookmarks *bookmarks, const char *title, struct buf *out)
{
	unsigned open = 0; /* folders */

	buf_add_text(out,
	    "<!DOCTYPE NETSCAPE-Bookmark-file-1>\n"
	    "<META HTTP-EQUIV=\"Content-Type\" CONTENT=\"text/html; charset=UTF-8\">\n"
	    "<TITLE>");
	add_escaped(out, title);
	buf_add_text(out, "</TITLE>\n<H1>");
	add_escaped(out, title);
	buf_add_text(out, "</H1>\n<DL><p>\n");
	for (size_t i = 0; i < bookmarks->count; i++) {
		const struct bookmark *item = &bookmarks->items[i];

		while (open > item->depth) {
			indent(out, --open);
			buf_add_text(out, "</DL><p>\n");
		}
		add_item(out, item, open);
		open += item->kind == BOOKMARK_FOLDER;
	}
	while (open > 0) {
		indent(out, --open);
		buf_add_text(out, "</DL><p>\n");
	}
	buf_add_text(out, "</DL><p>\n");
}
