/*
 * Pieces: what one file record says, before all records of a file are known. Private to src/ntfs.
 *
 * A file record becomes a handful of pieces; those of a file that has but one record are assembled
 * at once, the others wait until the whole table was read. Texts and runs of a piece lie in the
 * catalogue's name pool and in the gatherer's buffer of packed runs.
 */
#ifndef NTFS_PIECE_H
#define NTFS_PIECE_H

#include "ntfs/attrlist.h"
#include "ntfs/catalogue.h"
#include "ntfs/owners.h"
#include "ntfs/record.h"
#include "ntfs/runs.h"

enum piece_kind {
	PIECE_RECORD, /* an extension record is there */
	PIECE_NAME,
	PIECE_DATA,
	PIECE_REPARSE,   /* the tag, in `size`; how the file is system-compressed, in `method` */
	PIECE_OWNER,     /* of the file, in `name` */
	PIECE_OTHER,     /* clusters of anything else */
	PIECE_REFERENCE, /* the attribute list names `record` as holding an attribute */
};

/* $FILE_NAME namespaces. */
enum { NAMESPACE_POSIX, NAMESPACE_WIN32, NAMESPACE_DOS, NAMESPACE_BOTH };

enum piece_flag {
	PIECE_BROKEN = 1,  /* its run list is not whole */
	PIECE_MISSING = 2, /* made for an attribute whose record is missing */
};

struct piece {
	uint32_t base;   /* record number of the file */
	uint32_t record; /* where this stands */
	uint32_t name;   /* in catalogue.names */
	uint32_t order;  /* in which the pieces were found */
	uint8_t kind, flags;
	uint8_t space; /* namespace of a name */
	uint8_t unit_shift;
	uint8_t method; /* enum wof_method */
	uint16_t base_sequence;
	uint16_t stream_flags;
	struct reference parent; /* of a name; of a reference: the record that it names */
	uint32_t type;           /* of a reference: the attribute's type */
	uint64_t lowest, end;    /* VCNs of data */
	uint64_t size, initialized;
	uint64_t clusters; /* really allocated */
	uint64_t runs;     /* offset in the packed runs; of resident data: its location */
	size_t runs_length;
};

struct pieces {
	struct piece *items;
	size_t count, capacity;
	struct buf runs; /* packed */
	bool failed;     /* memory ran out */
};
void pieces_free(struct pieces *pieces);
void pieces_clear(struct pieces *pieces);
/* A zeroed piece, or NULL (and failed). */
struct piece *pieces_add(struct pieces *pieces);

/* Where resident data is: the record and the offset in it. */
static inline uint64_t resident_location(uint32_t record, size_t offset)
{
	return (uint64_t)record << 16 | offset;
}

/* Adds a UTF-16LE name to the catalogue's pool; returns its offset, or NONE when memory ran out. */
uint32_t pool_add(struct catalogue *catalogue, const uint8_t *bytes, size_t units);
/* The same for inner text. */
uint32_t pool_add_text(struct catalogue *catalogue, const char *text);

/* The catalogue in the making. */
struct builder {
	struct catalogue *catalogue;
	struct pieces now;     /* of the record at hand */
	struct pieces waiting; /* of files with several records */
	struct owners owners;
	struct buf join;       /* a joined run list on its way into the catalogue */
	uint16_t *parent_sequences; /* of each entry: the one that its $FILE_NAME knows */
	size_t parents_capacity;
	uint64_t named; /* lost records that a folder still knew */
	uint64_t indexes_damaged; /* of folders, as far as that is seen */
	bool failed;    /* memory ran out */
};

/*
 * Takes a record apart: adds its pieces to `pieces`, and fills in the node's own fields where it is
 * a base record.
 */
void record_gather(struct builder *builder, uint32_t number, const struct record *record,
    struct pieces *pieces);

/*
 * Makes entries and streams of a file's pieces, the items [first, first + count) of `from`, all
 * with the same base. The node's own fields are filled in already.
 */
void pieces_assemble(struct builder *builder, struct pieces *from, size_t first, size_t count);

/* Adds a name to a node that has none so far, or whose last entry is the last of all. */
void builder_add_entry(
    struct builder *builder, uint32_t node, uint32_t name, struct reference parent);

/* Looks up what lost records were called in the indexes of the folders. */
void builder_recall_names(struct builder *builder);

/*
 * When everything is assembled: links the entries to their parents, gives names to what lost its
 * own, marks what belongs to the file system, and sorts the children.
 */
void builder_link(struct builder *builder);

#endif
