/*
 * A registry hive, read with its transaction logs applied in memory.
 *
 * Hives of an old PC are dirty (the PC was switched off) and often damaged. A damaged cell costs
 * that key or value, never the hive: opening walks the whole tree once, checks what it follows,
 * looks for cut-off keys where something is missing, and counts what cannot be read in `struct
 * hive_health`. An open hive never changes: any number of threads may read it.
 *
 * Source: "Windows registry file format specification" (regf), sections "Base block", "Hive bins",
 * "Cells", "Key node", "Key value", "Transaction log files".
 */
#ifndef HIVE_HIVE_H
#define HIVE_HIVE_H

#include "base/arena.h"
#include "base/error.h"
#include "base/filetime.h"
#include "base/guid.h"
#include "disk/hole.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Where a cell starts, from the start of the hive bins. */
typedef uint32_t hive_cell;
#define HIVE_NO_CELL UINT32_MAX

/* No key lies deeper below the root; the old system itself allows 512 levels. */
#define HIVE_DEPTH 600

/* [MS-RRP] / winnt.h value types. */
enum hive_type {
	HIVE_NONE = 0,
	HIVE_SZ = 1,
	HIVE_EXPAND_SZ = 2,
	HIVE_BINARY = 3,
	HIVE_DWORD = 4,
	HIVE_DWORD_BIG_ENDIAN = 5,
	HIVE_LINK = 6,
	HIVE_MULTI_SZ = 7,
	HIVE_RESOURCE_LIST = 8,
	HIVE_FULL_RESOURCE_DESCRIPTOR = 9,
	HIVE_RESOURCE_REQUIREMENTS_LIST = 10,
	HIVE_QWORD = 11,
};

/* What had to be mended or was lost on the way. All zero for a clean and whole hive. */
struct hive_health {
	bool base_block_bad;      /* checksum or fields wrong: a log's copy or defaults were used */
	bool was_dirty;           /* the two sequence numbers differed */
	bool logs_missing;        /* dirty, and no log could be applied */
	unsigned logs_applied;    /* how many log files contributed */
	uint32_t pages_replaced;  /* dirty pages written by the logs, counted as published: each
				     page reference (new logs) or set bit (old logs) applied */
	uint32_t bytes_filled;    /* of the holes of the hive: filled with pages from the logs */
	bool truncated;           /* shorter than its base block says */
	bool root_lost;           /* keys were found by scanning and joined through their parents */
	uint32_t bad_keys;        /* list entries that lead to no key node, and broken lists */
	uint32_t bad_values;      /* the same for values, and values whose data is not whole */
	uint32_t salvaged_keys;   /* keys that only the scan reaches, and those below them */
};

struct hive;

struct hive_log {
	const void *data;
	size_t length;
	/* What of it could not be read (offsets in the log; zeros in the data), or NULL. */
	const struct holes *holes;
};

/*
 * Opens the hive in `data` (copied; the caller may free it) and applies the logs (any order, empty
 * ones allowed) when it is dirty. Returns NULL with *error only when nothing in it can be used: no
 * key could be found at all, or memory ran out. hive_close(NULL) is allowed.
 */
struct hive *hive_open(const void *data, size_t length, const struct hive_log *logs, size_t n_logs,
    struct error *error);
/*
 * The same for a hive of which some ranges could not be read (offsets in `data`, which is zero
 * there): as far as the logs still have them, they are filled in.
 */
struct hive *hive_open_holed(const void *data, size_t length, const struct holes *holes,
    const struct hive_log *logs, size_t n_logs, struct error *error);
void hive_close(struct hive *hive);

const struct hive_health *hive_health(const struct hive *hive);

/* The hive's bytes after replay, from the first hive bin on; for tests against recovered hives. */
const uint8_t *hive_bins(const struct hive *hive, size_t *length);

/* The last-written time in the base block (FILETIME), 0 when unknown. */
int64_t hive_last_written(const struct hive *hive);

/*
 * The root key. Where the root is lost, a made-up root, so that paths below it still hold. Never
 * HIVE_NO_CELL for an open hive. The same is done for other lost keys that had subkeys: a made-up
 * key ("lost-key-..." with its offset) without values stands where the list of a key led to the
 * lost one, or else below the root. Made-up keys are cells outside the bins that these functions
 * know.
 *
 * The keys that these functions give form a tree: each stands once, so a walk always ends.
 */
hive_cell hive_root(const struct hive *hive);

/* The key's name as inner text, in `arena`; NULL when the cell is no key or memory runs out. */
char *hive_key_name(const struct hive *hive, hive_cell key, struct arena *arena);
int64_t hive_key_written(const struct hive *hive, hive_cell key); /* FILETIME */

/*
 * All subkeys in the order of their lists (li, lf, lh, ri followed, broken entries left out), then
 * those that only the scan found and those that name another parent. The array belongs to `arena`.
 * Returns their number; 0 also when memory runs out.
 */
size_t hive_subkeys(const struct hive *hive, hive_cell key, struct arena *arena, hive_cell **cells);

/* The same for value cells. */
size_t hive_values(const struct hive *hive, hive_cell key, struct arena *arena, hive_cell **cells);

/*
 * Goes from `key` down a path of names separated by backslashes, ignoring case ("" is the key
 * itself). HIVE_NO_CELL when a step is missing. In a damaged hive a made-up key is taken for a step
 * when the list that led to the lost key kept a hash or the start of that name; and, from the root,
 * when the path's last two steps or more lead on below just one lost key.
 */
hive_cell hive_find(const struct hive *hive, hive_cell key, const char *path);

/* The value with this name (ignoring case; "" is the default value), or HIVE_NO_CELL. */
hive_cell hive_find_value(const struct hive *hive, hive_cell key, const char *name);

/* The value's name as inner text ("" for the default value); NULL when it is no value. */
char *hive_value_name(const struct hive *hive, hive_cell value, struct arena *arena);

/*
 * The raw data of a value (big data joined), in `arena`. False when the cell is no value or its
 * data cannot be reached; a value cut short by damage gives what is there and sets *cut (may be
 * NULL).
 */
bool hive_value_data(const struct hive *hive, hive_cell value, struct arena *arena, uint32_t *type,
    const uint8_t **data, size_t *length, bool *cut);

/*
 * Convenience: the value `name` of the key reached by `path` from `key`. Text comes from SZ,
 * EXPAND_SZ and LINK, up to the first NUL (the first string of MULTI_SZ); NULL when missing or of
 * another type. `type` may be NULL.
 */
char *hive_text(const struct hive *hive, hive_cell key, const char *path, const char *name,
    struct arena *arena, uint32_t *type);
/* From DWORD (either byte order) or QWORD. */
bool hive_number(const struct hive *hive, hive_cell key, const char *path, const char *name,
    uint64_t *number);
/* Raw bytes of any type; false when missing. */
bool hive_bytes(const struct hive *hive, hive_cell key, const char *path, const char *name,
    struct arena *arena, const uint8_t **data, size_t *length);
/* The strings of a MULTI_SZ. Returns their number. */
size_t hive_texts(const struct hive *hive, hive_cell key, const char *path, const char *name,
    struct arena *arena, char ***texts);

#endif
