/*
 * What the files of src/hive share: the open hive, cells, records, and the tree of keys.
 *
 * Source of every offset: "Windows registry file format specification" (regf), sections named at
 * each group below.
 */
#ifndef HIVE_INTERNAL_H
#define HIVE_INTERNAL_H

#include "base/bytes.h"
#include "hive/hive.h"

#include <stdlib.h>
#include <string.h>

#define BASE_BLOCK_SIZE 4096u
#define PAGE_SIZE_DIRTY 512u /* what "page" means in a log of dirty data */
#define BIN_ALIGN 4096u
#define BIN_HEADER 32u
#define CELL_ALIGN 8u

/* Offsets in a cell are 31 bits wide: the topmost bit tells stable from volatile storage. */
#define BINS_LIMIT 0x80000000u

/* Cells that are not in the file: keys made up in the place of lost ones. */
#define MADE_UP_CELL 0x80000000u

/* Section "Base block". What is needed of it, from a hive or from a log. */
struct base_block {
	bool readable; /* long enough, with the signature */
	bool valid;    /* readable, and the checksum and every field are right */
	uint32_t primary, secondary;
	int64_t written;
	uint32_t minor;
	uint32_t file_type;
	hive_cell root;
	uint32_t bins_size;
	uint32_t cluster; /* sectors of 512 bytes */
};

/* The bytes behind a cell's size field. */
struct cell {
	const uint8_t *data;
	size_t length;
};

/* A name as it is stored. */
struct raw_name {
	const uint8_t *data;
	size_t length; /* bytes */
	bool compressed; /* one byte (Latin-1) instead of two for a character */
};

/* One key of the tree. Links are indices into the table of keys; NO_KEY is none. */
#define NO_KEY UINT32_MAX
struct key {
	hive_cell cell;
	uint32_t parent, first_child, last_child, next;
	uint32_t n_children;
	uint32_t n_values; /* entries of its value list that may be looked at */
	uint16_t depth;
	bool incomplete;   /* its list of subkeys is damaged */
};

/* What a list of subkeys says of a key beside its cell. */
enum hint_kind {
	HINT_NONE,
	HINT_START, /* lf: the first four characters of the name, one byte each */
	HINT_HASH,  /* lh: a hash of the name */
};

struct list_entry {
	hive_cell cell;
	enum hint_kind kind;
	uint32_t hint;
};

/* A key that stands for a lost one: at entry.cell there was a key node once. */
struct made_up {
	struct list_entry entry; /* the cell is HIVE_NO_CELL for a root whose place is unknown */
	uint32_t key;            /* its index in the table of keys */
};

/*
 * An entry of a list of subkeys that is not plainly a subkey: broken (it leads to no key node;
 * salvage joins there what belonged below it) or foreign (the key node names another key as its
 * parent).
 */
struct odd_entry {
	struct list_entry entry;
	uint32_t key; /* the key whose list has it */
};

struct odd_entries {
	struct odd_entry *items;
	size_t n, room;
};

struct key_slot {
	hive_cell cell;
	uint32_t key; /* NO_KEY when the slot is free */
};

struct hive {
	uint8_t *data; /* base block, then the bins */
	size_t length;
	uint32_t bins_length; /* what of the bins is there */
	uint32_t bins_top;    /* how far they reached at their longest, while logs are applied */
	struct base_block base;
	struct hive_health health;

	struct key *keys;
	size_t n_keys, key_room;
	struct key_slot *slots; /* from cell to key; open addressing */
	size_t n_slots, n_used; /* n_slots is a power of two */
	struct made_up *made_up;
	size_t n_made_up, made_up_room;
	struct odd_entries broken, foreign;
	/* How many list entries and cells of data may still be looked at: no hive holds more than
	   fit into it, so whoever needs more was led in circles. */
	size_t list_budget, value_budget, data_budget;
	size_t bytes_budget; /* the same for the data of values: who reads them all needs memory */
	bool no_memory;
};

/* cell.c */
bool cell_get(const struct hive *hive, hive_cell offset, struct cell *cell);
/* A cell that holds a record with this signature and at least `size` bytes. */
bool cell_record(const struct hive *hive, hive_cell offset, const char *signature, size_t size,
    struct cell *cell);

/* base_block.c */
struct base_block base_block_read(const uint8_t *data, size_t length);
/* The backup copy of the last-written time in the first bin. */
int64_t first_bin_written(const uint8_t *bins, size_t length);

/* marvin.c: Marvin32 over `data`, with the seed of the registry's logs or any other. */
#define MARVIN_SEED UINT64_C(0x82EF4D887A4E55C5)
uint64_t marvin32(uint64_t seed, const void *data, size_t length);

/* bins.c: the hive's bytes as they change under a log. */
uint8_t *bins_of(const struct hive *hive);
bool bins_grow(struct hive *hive, size_t length);
bool bins_write(struct hive *hive, uint64_t offset, const uint8_t *data, size_t length);

/* log_new.c, log_old.c: one generation each; replay.c chooses. */
struct log_file {
	struct base_block base;
	const uint8_t *data;
	size_t length;
	const struct holes *holes; /* or NULL */
};
/* One sealed entry of a log of the new generation; section "Log entries". */
#define LOG_ENTRY_HEADER 40u
struct log_entry {
	const uint8_t *data;
	uint32_t size;
	uint32_t sequence;
	uint32_t bins_size;
	uint32_t n_pages;
};
/* The entry at `offset`; false when none stands there or it does not prove itself. */
bool log_entry_read(const struct log_file *log, size_t offset, struct log_entry *entry);

/*
 * fill.c: puts pages out of the logs where the hive itself could not be read. `holes`: in the file,
 * may be NULL. False: no memory.
 */
bool logs_fill(struct hive *hive, const struct holes *holes, const struct hive_log *logs,
    size_t n_logs);

bool log_is_new(const struct log_file *log);
bool log_is_old(const struct log_file *log);
bool logs_new_apply(struct hive *hive, const struct log_file *logs, size_t n_logs);
bool logs_old_apply(struct hive *hive, const struct log_file *logs, size_t n_logs);
bool hive_replay(struct hive *hive, const struct hive_log *logs, size_t n_logs);

/* key.c: section "Key node". */
#define NK_SIZE 76u
#define NK_FLAG_ROOT 0x0004u
#define NK_FLAG_COMPRESSED 0x0020u
#define NK_FLAG_PREDEFINED 0x0040u
bool nk_get(const struct hive *hive, hive_cell offset, struct cell *nk);
struct raw_name nk_name(const struct cell *nk);

/* list.c: calls `visit` for every entry of the subkeys lists and counts the entries in *seen; false
   when something was broken. */
typedef void (*list_visit)(struct hive *hive, uint32_t key, struct list_entry entry);
bool list_walk(struct hive *hive, hive_cell list, uint32_t key, list_visit visit, uint32_t *seen);

/* tree.c */
/* NO_KEY when the cell is not a known key. */
uint32_t tree_index(const struct hive *hive, hive_cell cell);
/* Adds a key below `parent` (NO_KEY: none). NO_KEY when it is there already or memory ran out. */
uint32_t tree_add(struct hive *hive, hive_cell cell, uint32_t parent);
uint32_t tree_add_made_up(struct hive *hive, struct list_entry lost, uint32_t parent);
/* Follows the lists of the keys from index `from` on; the keys that this adds are followed too. */
void tree_follow(struct hive *hive, size_t from);
bool tree_build(struct hive *hive, hive_cell root);
/* The lost cell that a made-up key stands for, or the key's own cell. */
hive_cell tree_place(const struct hive *hive, uint32_t key);
/* The made-up key behind an index, or NULL for a real one. */
const struct made_up *tree_made_up(const struct hive *hive, uint32_t key);

/* scan.c: every allocated key node, found without the tree, in the order of the file. */
typedef bool (*scan_visit)(void *context, hive_cell cell, const struct cell *nk);
void scan_keys(const struct hive *hive, scan_visit visit, void *context);

/* salvage.c */
bool salvage_join(struct hive *hive);
hive_cell salvage_find_root(const struct hive *hive);

/* value.c: section "Key value". */
bool vk_get(const struct hive *hive, hive_cell offset, struct cell *vk);
struct raw_name vk_name(const struct cell *vk);
bool vk_is_whole(const struct hive *hive, const struct cell *vk, size_t *there);
/* How many cells vk_is_whole() may have to look at. */
size_t vk_cost(const struct cell *vk);
/* The value list of a key node and how many entries it has room for. */
bool value_list(const struct hive *hive, const struct cell *nk, struct cell *list, uint32_t *count,
    bool *broken);

/* name.c */
char *raw_name_text(const struct raw_name *name, struct arena *arena);
/* Is it the inner text of `length` bytes, ignoring case? */
bool raw_name_equals(const struct raw_name *name, const char *text, size_t length);
/* Equal for names that are equal, ignoring case. */
uint32_t raw_name_hash(const struct raw_name *name);
/* Can the key of which a list only kept this hint be the one with this name? */
bool hint_fits(const struct list_entry *entry, const char *name, size_t length);

#endif
