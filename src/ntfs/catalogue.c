/* Reading the catalogue: see catalogue.h. */
#include "ntfs/catalogue.h"

#include "base/bits.h"
#include "base/progress.h"
#include "base/text.h"
#include "ntfs/attrlist.h"
#include "ntfs/data.h"
#include "ntfs/index.h"
#include "ntfs/piece.h"
#include "ntfs/shared.h"
#include "ntfs/state.h"
#include "ntfs/table.h"
#include "ntfs/table_pass.h"
#include "ntfs/table_rest.h"

#include <stdlib.h>
#include <string.h>

#define BITMAP_PIECE ((size_t)256 << 10)
#define MAX_BITMAP ((size_t)512 << 20)

/* One go over the table. */
struct pass {
	struct builder builder;
	const struct volume *volume;
	const char *name;          /* of the volume, towards people */
	struct table_piece *piece; /* the one at hand */
	struct buf in_use;         /* $MFT's own bitmap; read when it is needed first */
	bool in_use_is_known, in_use_was_read;
	uint64_t unreadable, broken;
};

/* Does the table's bitmap say that a record is in use? True when it cannot be asked. */
static bool bitmap_says_used(struct pass *pass, uint64_t number)
{
	if (!pass->in_use_was_read) {
		pass->in_use_was_read = true;
		pass->in_use_is_known =
		    attribute_load(pass->volume, 0, ATTR_BITMAP, "", MAX_BITMAP, &pass->in_use);
	}
	if (!pass->in_use_is_known || number / 8 >= pass->in_use.length)
		return true;
	return (pass->in_use.data[number / 8] >> (number % 8) & 1) != 0;
}

/* A record that could not be read, or makes no sense. */
static void lose_record(struct pass *pass, uint64_t number, enum record_state state)
{
	if (!bitmap_says_used(pass, number))
		return;
	pass->builder.catalogue->nodes[number].flags = NODE_DAMAGED;
	if (state == RECORD_LOST)
		pass->unreadable++;
	else
		pass->broken++;
}

static enum record_state open_record(
    struct pass *pass, size_t at, uint64_t number, struct record *record)
{
	size_t size = pass->volume->record_size;
	uint8_t *bytes = pass->piece->bytes + at;
	const struct holes *holes = &pass->piece->holes;
	enum record_state state = RECORD_GOOD;

	if (holes->failed || holes_meet(holes, at, size))
		state = RECORD_LOST;
	else if (!record_open(record, bytes, size))
		state = RECORD_BROKEN;
	if (state != RECORD_GOOD && number < TABLE_MIRRORED)
		return table_load_mirror(pass->volume, number, bytes, record);
	return state;
}

static void read_record(struct pass *pass, size_t at, uint64_t number)
{
	struct builder *builder = &pass->builder;
	struct attribute listed;
	struct record record;
	enum record_state state = open_record(pass, at, number, &record);

	if (state != RECORD_GOOD) {
		lose_record(pass, number, state);
		return;
	}
	if (!record.in_use)
		return;
	if (record.is_extension || record_find(&record, ATTR_LIST, &listed) != NULL) {
		/* A base number that the table does not have belongs to nobody. */
		if (!record.is_extension || record.base.record < builder->catalogue->n_nodes)
			record_gather(builder, (uint32_t)number, &record, &builder->waiting);
		return;
	}
	pieces_clear(&builder->now);
	record_gather(builder, (uint32_t)number, &record, &builder->now);
	pieces_assemble(builder, &builder->now, 0, builder->now.count);
}

static bool ran_out(const struct builder *builder)
{
	return builder->failed || builder->now.failed || builder->waiting.failed ||
	       builder->owners.failed;
}

static bool read_table(struct pass *pass)
{
	const struct volume *volume = pass->volume;
	struct table_pass *table = table_pass_start(volume, pass->builder.catalogue->n_nodes);

	if (table == NULL)
		return false;
	while (!ran_out(&pass->builder) && (pass->piece = table_pass_next(table)) != NULL) {
		for (size_t i = 0; i < pass->piece->count && !ran_out(&pass->builder); i++)
			read_record(pass, i * volume->record_size, pass->piece->first + i);
		if (volume->progress)
			progress_at(volume->progress,
			    volume->progress->done + pass->piece->count * volume->record_size,
			    pass->name);
	}
	table_pass_end(table);
	pass->piece = NULL;
	return !ran_out(&pass->builder);
}

static int compare_pieces(const void *a, const void *b)
{
	const struct piece *x = a, *y = b;

	if (x->base != y->base)
		return x->base < y->base ? -1 : 1;
	return (x->order > y->order) - (x->order < y->order);
}

/*
 * Is a waiting piece really of the file that it says? The file must be there in that sequence; one
 * whose base record was lost gets a node made of its pieces.
 */
static bool belongs(struct catalogue *catalogue, const struct piece *piece)
{
	struct node *node = &catalogue->nodes[piece->base];

	if (node->flags == NODE_DAMAGED) {
		*node = (struct node){
		    .flags = NODE_IN_USE | NODE_DAMAGED | NODE_NO_TIMES,
		    .sequence = piece->base_sequence,
		};
	}
	/* A base record without an attribute list is complete already: it has no other records. */
	return (node->flags & NODE_IN_USE) != 0 && node->sequence == piece->base_sequence &&
	       node->n_entries == 0 && node->n_streams == 0;
}

static void assemble_waiting(struct builder *builder)
{
	struct pieces *waiting = &builder->waiting;
	size_t kept = 0;

	for (size_t i = 0; i < waiting->count; i++) {
		if (belongs(builder->catalogue, &waiting->items[i]))
			waiting->items[kept++] = waiting->items[i];
	}
	waiting->count = kept;
	if (kept > 1)
		qsort(waiting->items, kept, sizeof(*waiting->items), compare_pieces);
	for (size_t i = 0; i < kept && !ran_out(builder);) {
		size_t n = 1;

		while (i + n < kept && waiting->items[i + n].base == waiting->items[i].base)
			n++;
		pieces_assemble(builder, waiting, i, n);
		i += n;
	}
}

/* By $Bitmap, record 6. Leaves 0 when not all of it can be read. */
static void read_bitmap(struct catalogue *catalogue, const char *name, struct findings *findings)
{
	const struct stream *stream = catalogue_stream(catalogue, 6, "");
	struct data_reader *reader = stream == NULL ? NULL : data_open(catalogue, stream);
	uint64_t clusters = catalogue->volume->clusters, done = 0, unused = 0;
	uint8_t *bytes = malloc(BITMAP_PIECE);
	struct holes holes = {0};
	size_t length;

	while (reader != NULL && bytes != NULL && done < clusters &&
	       (length = data_read(reader, bytes, BITMAP_PIECE, &holes)) > 0) {
		uint64_t left = clusters - done, bits = 8 * (uint64_t)length;

		unused += bits_count_zeros(bytes, bits < left ? bits : left);
		done += bits;
	}
	data_close(reader);
	free(bytes);
	if (done >= clusters && holes.count == 0 && !holes.failed)
		catalogue->clusters_free = unused;
	else
		findings_add(findings, WEIGHT_NOTE, "bitmap-unreadable", name, "",
		    "The list of free space could not be read, so the account of this volume "
		    "cannot be closed.");
	holes_free(&holes);
}

/* What was lost of the table itself. */
static void report(const struct pass *pass, const char *name, struct findings *findings)
{
	const struct catalogue *catalogue = pass->builder.catalogue;

	if (pass->builder.named > 0)
		findings_add(findings, WEIGHT_NOTE, "names-from-folders", name, "",
		    "%s of the lost files and folders %s still known by name from the folders that "
		    "listed them; the record names them.",
		    text_count(pass->builder.named).text, pass->builder.named == 1 ? "is" : "are");

	if (pass->unreadable > 0)
		findings_add(findings, WEIGHT_LOSS, "records-unreadable", name,
		    "Try again with another adapter or cable; a recovery laboratory may read more.",
		    "%s of %s records of the file table could not be read; the files they describe "
		    "are "
		    "missing or not complete.",
		    text_count(pass->unreadable).text, text_count(catalogue->n_nodes).text);
	if (pass->broken > 0)
		findings_add(findings, WEIGHT_LOSS, "records-damaged", name,
		    "The old drive was damaged or not shut down properly; a backup of it may have "
		    "these "
		    "files.",
		    "%s of %s records of the file table were read but make no sense; the files "
		    "they "
		    "describe are missing or not complete.",
		    text_count(pass->broken).text, text_count(catalogue->n_nodes).text);
}

static void report_nodes(
    const struct catalogue *catalogue, const char *name, struct findings *findings)
{
	uint64_t damaged = 0, lost = 0;

	for (size_t i = 0; i < catalogue->n_nodes; i++) {
		uint16_t flags = catalogue->nodes[i].flags;

		if ((flags & NODE_IN_USE) == 0)
			continue;
		damaged += (flags & NODE_DAMAGED) != 0;
		lost += (flags & NODE_LOST) != 0;
	}
	if (damaged > 0)
		findings_add(findings, WEIGHT_LOSS, "files-damaged", name,
		    "The record names each of them; look for them in a backup.",
		    "What the file table says about %s %s is damaged, so parts of their contents "
		    "or "
		    "names are missing.",
		    text_count(damaged).text, damaged == 1 ? "file or folder" : "files or folders");
	if (lost > 0)
		findings_add(findings, WEIGHT_CAUTION, "folders-missing", name,
		    "Look through them: their old folders are not known.",
		    "The folder of %s %s is gone; they are shown under \"%s\".",
		    text_count(lost).text, lost == 1 ? "file or folder" : "files or folders",
		    CATALOGUE_LOST_FOLDER);
}

/* `damaged`: indexes whose roots are. A drive that cannot read something is not asked for more. */
static void report_indexes(
    const struct volume *volume, uint64_t damaged, const char *name, struct findings *findings)
{
	const struct node *root = catalogue_node(volume->catalogue, NODE_ROOT);

	if (damaged == 0 && root != NULL && (root->flags & NODE_DAMAGED) == 0 &&
	    !source_has_holes(volume->source))
		damaged = !index_blocks_are_sound(volume, NODE_ROOT);
	if (damaged > 0)
		findings_add(findings, WEIGHT_NOTE, "folder-lists-damaged", name, "",
		    "Lists in which the file system looks up the files of a folder are damaged. "
		    "Nothing is lost by that: which file belongs where stands in the file table too, "
		    "and that was used.");
}

/* Gives back what the growing arrays have to spare. */
static void trim(struct catalogue *catalogue)
{
	void *trimmed;

#define TRIM(array, count, capacity)                                                               \
	do {                                                                                       \
		trimmed = realloc((array), ((count) + 1) * sizeof(*(array)));                      \
		if (trimmed != NULL) {                                                             \
			(array) = trimmed;                                                         \
			(capacity) = (count) + 1;                                                  \
		}                                                                                  \
	} while (false)
	TRIM(catalogue->entries, catalogue->n_entries, catalogue->entries_capacity);
	TRIM(catalogue->streams, catalogue->n_streams, catalogue->streams_capacity);
	TRIM(catalogue->names, catalogue->names_length, catalogue->names_capacity);
	TRIM(catalogue->runs, catalogue->runs_length, catalogue->runs_capacity);
#undef TRIM
}

static struct catalogue *catalogue_new(struct volume *volume)
{
	struct catalogue *catalogue = calloc(1, sizeof(*catalogue));
	uint64_t count = table_records(volume);

	if (catalogue == NULL)
		return NULL;
	catalogue->volume = volume;
	catalogue->n_nodes = count < NONE - 1 ? (size_t)count : NONE - 1;
	catalogue->nodes = calloc(catalogue->n_nodes + 1, sizeof(*catalogue->nodes));
	if (catalogue->nodes == NULL || pool_add_text(catalogue, "") != 0) {
		catalogue_free(catalogue);
		return NULL;
	}
	return catalogue;
}

static bool run_pass(struct pass *pass)
{
	owners_read(&pass->builder.owners, pass->builder.catalogue);
	if (!read_table(pass))
		return false;
	assemble_waiting(&pass->builder);
	if (!ran_out(&pass->builder))
		builder_recall_names(&pass->builder);
	if (!ran_out(&pass->builder))
		builder_link(&pass->builder);
	return !ran_out(&pass->builder);
}

static void pass_free(struct pass *pass)
{
	pieces_free(&pass->builder.now);
	pieces_free(&pass->builder.waiting);
	owners_free(&pass->builder.owners);
	buf_free(&pass->builder.join);
	free(pass->builder.parent_sequences);
	buf_free(&pass->in_use);
}

/* By what is known of the table so far. False: no memory. */
static bool search_rest(struct volume *volume, const char *name, uint64_t *found)
{
	struct pass pass = {.volume = volume, .name = name};
	struct catalogue *known = catalogue_new(volume);
	uint64_t done = volume->progress != NULL ? volume->progress->done : 0;
	bool good = known != NULL;

	pass.builder.catalogue = known;
	good = good && read_table(&pass);
	if (good)
		assemble_waiting(&pass.builder);
	good = good && !ran_out(&pass.builder) && table_rest_by_search(volume, known, found);
	pass_free(&pass);
	catalogue_free(known);
	/* It is gone over once more. */
	if (volume->progress != NULL)
		volume->progress->done = done;
	return good;
}

/* Finds what it can of a table of which only a part is known. False: no memory. */
static bool find_rest(struct volume *volume, const char *name, struct findings *findings)
{
	uint64_t found = 0;

	if (!volume->table_is_cut && !volume->table_is_guessed)
		return true;
	if (!table_rest_by_records(volume))
		return false;
	if ((volume->table_is_cut || volume->table_is_guessed) &&
	    !search_rest(volume, name, &found))
		return false;
	if (found > 0)
		findings_add(findings, WEIGHT_CAUTION, "file-table-searched", name,
		    "Open some of the files that arrived before the old drive is given away.",
		    "The volume was looked through for parts of its file table to which nothing "
		    "leads any more. %s %s found, each compared with what is known of the volume.",
		    text_count(found).text, found == 1 ? "record was" : "records were");
	return true;
}

bool catalogue_read(
    struct volume *volume, const char *name, struct findings *findings, struct error *error)
{
	struct pass pass = {.volume = volume, .name = name};
	struct catalogue *catalogue = NULL;

	if (find_rest(volume, name, findings))
		catalogue = catalogue_new(volume);
	pass.builder.catalogue = catalogue;
	if (catalogue == NULL || !run_pass(&pass)) {
		catalogue_free(catalogue);
		pass_free(&pass);
		return error_no_memory(error);
	}
	catalogue->records_unreadable = pass.unreadable + pass.broken;
	report(&pass, name, findings);
	if (catalogue->n_entries == 0) {
		catalogue_free(catalogue);
		pass_free(&pass);
		return error_set(
		    error, STATUS_NO_VOLUME, "nothing of the file table of %s could be read", name);
	}
	trim(catalogue);
	catalogue_free(volume->catalogue);
	volume->catalogue = catalogue;
	report_nodes(catalogue, name, findings);
	report_indexes(volume, pass.builder.indexes_damaged, name, findings);
	shared_report(catalogue, name, findings);
	read_bitmap(catalogue, name, findings);
	state_read_session(volume, name, findings);
	pass_free(&pass);
	return true;
}

void catalogue_free(struct catalogue *catalogue)
{
	if (catalogue == NULL)
		return;
	free(catalogue->nodes);
	free(catalogue->entries);
	free(catalogue->streams);
	free(catalogue->names);
	free(catalogue->runs);
	free(catalogue->children);
	free(catalogue);
}
