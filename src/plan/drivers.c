/*
 * Unpacked driver packages at a drive's root, as makers of PCs and of drivers leave them behind:
 * recognised by what is in them, whatever they are called. The usual kinds of files: common
 * practice, no source.
 */
#include "plan/areas.h"

#include "base/utf.h"

#include <string.h>

#define DEPTH_LIMIT 64
#define NAMES_LIMIT 100000 /* looked at in one folder's tree; a package has far fewer */

struct scan {
	const struct catalogue *catalogue;
	size_t seen;
	bool has_information; /* .inf */
	bool has_driver;      /* .sys or .cat */
};

/* Is it a kind that comes with drivers? Notes what it says about the package. */
static bool is_usual(struct scan *scan, const char *name)
{
	static const char *const usual[] = {"ax", "bat", "bin", "bmp", "cab", "cfg", "chm", "cmd",
	    "config", "cpl", "dat", "dll", "drv", "exe", "gif", "hdr", "hlp", "htm", "html", "ico",
	    "icm", "icc", "ini", "inx", "isn", "iss", "json", "lng", "log", "man", "manifest",
	    "msi", "mui", "nls", "ocx", "pdb", "pnf", "png", "ppd", "reg", "rtf", "rom", "so",
	    "tag", "tlb", "txt", "vbs", "vxd", "xml", "xsd"};
	const char *dot = strrchr(name, '.');

	if (!dot)
		return false;
	if (utf_equal_fold(dot, ".inf")) {
		scan->has_information = true;
		return true;
	}
	if (utf_equal_fold(dot, ".sys") || utf_equal_fold(dot, ".cat")) {
		scan->has_driver = true;
		return true;
	}
	for (size_t i = 0; i < sizeof(usual) / sizeof(usual[0]); i++)
		if (utf_equal_fold(dot + 1, usual[i]))
			return true;
	return false;
}

/* A folder being looked at. */
struct level {
	const uint32_t *children;
	size_t next, count;
};

/* Looks at one name. False when it does not belong into a package. */
static bool look_at(
    struct scan *scan, const struct entry *entry, struct level *levels, size_t *n_levels)
{
	const struct node *node = catalogue_node(scan->catalogue, entry->node);

	if (!node || ++scan->seen > NAMES_LIMIT)
		return false;
	if (!(node->flags & NODE_FOLDER))
		return is_usual(scan, catalogue_name(scan->catalogue, entry->name));
	if (node->reparse_tag || *n_levels == DEPTH_LIMIT || entry->node == NODE_ROOT)
		return false;
	levels[*n_levels] = (struct level){0};
	levels[*n_levels].count =
	    catalogue_children(scan->catalogue, entry->node, &levels[*n_levels].children);
	++*n_levels;
	return true;
}

bool holds_only_drivers(const struct catalogue *catalogue, uint32_t folder)
{
	struct scan scan = {.catalogue = catalogue};
	struct level levels[DEPTH_LIMIT];
	size_t n_levels = 1;

	levels[0].next = 0;
	levels[0].count = catalogue_children(catalogue, folder, &levels[0].children);
	while (n_levels > 0) {
		struct level *level = &levels[n_levels - 1];

		if (level->next == level->count)
			n_levels--;
		else if (!look_at(&scan, &catalogue->entries[level->children[level->next++]],
			     levels, &n_levels))
			return false;
	}
	return scan.has_information && scan.has_driver;
}
