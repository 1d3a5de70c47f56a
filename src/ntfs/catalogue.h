/*
 * The catalogue: every file and folder of a volume, from one pass over the raw file table.
 *
 * Directory indexes are not read: a file is where its $FILE_NAME says. Extension records and
 * attribute lists are joined. All of it is held in memory, in arrays whose indexes are the links,
 * at well under 200 bytes for a usual file.
 *
 * Sources: linux-ntfs documentation, "File record", "Attribute header", "$STANDARD_INFORMATION",
 * "$FILE_NAME", "$ATTRIBUTE_LIST", "$DATA", "$REPARSE_POINT", "$LOGGED_UTILITY_STREAM"; [MS-FSCC]
 * 2.1.2 (reparse points), 2.6 (attributes).
 */
#ifndef NTFS_CATALOGUE_H
#define NTFS_CATALOGUE_H

#include "base/buf.h"
#include "base/error.h"
#include "base/finding.h"
#include "ntfs/volume.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define NONE UINT32_MAX
#define NODE_ROOT 5u        /* record number of the root folder */
#define NODE_FIRST_USER 16u /* records below belong to the file system ($Extend is 11) */

/* [MS-FSCC] 2.6. */
enum {
	ATTRIBUTE_READONLY = 0x1,
	ATTRIBUTE_HIDDEN = 0x2,
	ATTRIBUTE_SYSTEM = 0x4,
	ATTRIBUTE_ARCHIVE = 0x20,
	ATTRIBUTE_TEMPORARY = 0x100,
	ATTRIBUTE_SPARSE_FILE = 0x200,
	ATTRIBUTE_REPARSE_POINT = 0x400,
	ATTRIBUTE_COMPRESSED = 0x800,
	ATTRIBUTE_OFFLINE = 0x1000,
	ATTRIBUTE_ENCRYPTED = 0x4000,
	/* the next three and OFFLINE: not all of it is on the drive, [MS-FSCC] 2.6 */
	ATTRIBUTE_RECALL_ON_OPEN = 0x40000,
	ATTRIBUTE_PINNED = 0x80000,
	ATTRIBUTE_UNPINNED = 0x100000,
	ATTRIBUTE_RECALL_ON_DATA_ACCESS = 0x400000,
};

enum node_flag {
	NODE_IN_USE = 1, /* the record exists and is a base record in use */
	NODE_FOLDER = 2,
	NODE_DAMAGED = 4, /* something of the record, or of a record it needs, could not be read */
	/* The file system's own: records 0 to 15 (also the root), all names under $Extend. */
	NODE_SYSTEM = 8,
	NODE_LOST = 16, /* a parent is gone or reused, or its names are: below the made-up folder */
	NODE_NO_TIMES = 32, /* times come from $FILE_NAME */
};

/*
 * A file record; the index in catalogue.nodes is its record number. A record that could not be read
 * has NODE_DAMAGED without NODE_IN_USE, unless other records told enough about it to make a node of
 * it: then it has both and a made-up name where no real one is known. Some of the file system's own
 * nodes (12 to 15) have no entry at all.
 */
struct node {
	int64_t created, modified, changed, accessed; /* FILETIME */
	uint32_t first_entry;  /* names: catalogue.entries[first_entry .. + n_entries) */
	uint32_t first_stream; /* catalogue.streams[first_stream .. + n_streams) */
	uint32_t attributes;
	uint32_t reparse_tag; /* 0 for none */
	uint32_t owner;       /* SID as text, in catalogue.names; 0, the empty text: not known */
	uint32_t other_clusters; /* beside those of its streams: folder index, attribute list... */
	uint16_t sequence;
	uint16_t n_entries; /* long names; more than one: hard links */
	uint16_t n_streams;
	uint16_t flags;
};

/* One name of a node. */
struct entry {
	uint32_t node;
	uint32_t parent; /* node of the folder; NONE: lost (shown under CATALOGUE_LOST_FOLDER) */
	uint32_t name;   /* offset in catalogue.names, inner text */
	uint32_t short_name; /* 8.3 name, NONE when there is none */
};

enum stream_flag {
	STREAM_RESIDENT = 1,
	STREAM_COMPRESSED = 2, /* LZNT1, compression units of 2^4 clusters */
	STREAM_SPARSE = 4,
	STREAM_ENCRYPTED = 8,
	STREAM_DAMAGED = 16, /* part of its run list is missing or senseless */
	/* System-compressed: its bytes lie in another stream of the node, its carrier. */
	STREAM_CARRIED = 32,
	STREAM_CARRIER = 64, /* holds the unnamed stream's bytes: nothing that anybody named */
	STREAM_KEY = 128,    /* no $DATA but the key stream of an encrypted file: $EFS */
};

/* How the key stream is called here: no $DATA attribute can be, [MS-FSCC] 2.1.4. */
#define STREAM_KEY_NAME "$EFS:$LOGGED_UTILITY_STREAM"

/* One $DATA attribute, or the key stream of an encrypted file or folder. */
struct stream {
	uint64_t size;        /* bytes */
	uint64_t initialized; /* bytes beyond read as zero */
	uint64_t allocated;   /* bytes on the volume that are really its own: whole clusters */
	uint64_t location;    /* of the catalogue's packed run lists or resident data: private */
	uint32_t node;
	uint32_t name; /* offset in catalogue.names; the empty text for the unnamed stream */
	uint16_t flags;
	uint8_t unit_shift; /* log2 of clusters in a compression unit, 0 when not compressed */
	uint8_t method;     /* STREAM_CARRIED: how it is compressed; private to src/ntfs */
};

struct catalogue {
	struct volume *volume;
	struct node *nodes; /* nodes[record number]; check NODE_IN_USE */
	size_t n_nodes;
	struct entry *entries;
	size_t n_entries, entries_capacity;
	struct stream *streams; /* of one node side by side, the unnamed one first */
	size_t n_streams, streams_capacity;
	char *names; /* NUL-terminated inner texts; offset 0 is the empty text */
	size_t names_length, names_capacity;
	uint8_t *runs; /* packed run lists and resident data: private to src/ntfs */
	size_t runs_length, runs_capacity;
	/* Entry indexes sorted by parent, then by record number; lost ones (parent NONE) last; not
	 * the root. */
	uint32_t *children;
	size_t n_children;
	uint64_t clusters_free;      /* by $Bitmap; 0 when that could not be read */
	uint64_t records_unreadable; /* file records lost to holes or damage */
};

/* The made-up folder at the root that shows files whose parent folder is gone. */
#define CATALOGUE_LOST_FOLDER "[no folder]"

/*
 * Reads the whole table of an open volume; sets volume->catalogue. Damage becomes findings with
 * `name` as subject. False only when memory runs out or nothing of the table can be read.
 */
bool catalogue_read(
    struct volume *volume, const char *name, struct findings *findings, struct error *error);
void catalogue_free(struct catalogue *catalogue);

static inline const char *catalogue_name(const struct catalogue *catalogue, uint32_t name)
{
	return catalogue->names + name;
}

/*
 * Clusters that belong to a node: those of its streams and its other_clusters. On a sound volume
 * their sum over all nodes and clusters_free make the volume's clusters.
 */
uint64_t catalogue_clusters(const struct catalogue *catalogue, uint32_t node);

/* The node, or NULL when the number is out of range or not in use. */
const struct node *catalogue_node(const struct catalogue *catalogue, uint32_t node);

/* The entries of a folder (NONE: the lost ones), through *first. Returns their number. */
size_t catalogue_children(
    const struct catalogue *catalogue, uint32_t folder, const uint32_t **first);

/* The entry called `name` (long or 8.3, ignoring case; an exact match wins), or NONE. */
uint32_t catalogue_child(const struct catalogue *catalogue, uint32_t folder, const char *name);

/*
 * Goes down a path of names separated by backslashes or slashes, from `folder`. Does not follow
 * links (see ntfs/reparse.h). Returns the node, or NONE.
 */
uint32_t catalogue_lookup(const struct catalogue *catalogue, uint32_t folder, const char *path);

/* Appends the full path of an entry, "\Users\mara\note.txt". Loops and lost parents are survived.
 */
void catalogue_path(const struct catalogue *catalogue, uint32_t entry, struct buf *path);
/* The same for a node by its first name ("\" for the root). */
void catalogue_node_path(const struct catalogue *catalogue, uint32_t node, struct buf *path);

/* The stream of a node by name ("" for the unnamed one), or NULL. */
const struct stream *catalogue_stream(
    const struct catalogue *catalogue, uint32_t node, const char *name);

#endif
