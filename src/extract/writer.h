/*
 * Writing parts: one interface for zip, tar and folder.
 *
 * A part is written under a temporary name, synced, renamed into place, and its folder synced.
 */
#ifndef EXTRACT_WRITER_H
#define EXTRACT_WRITER_H

#include "base/error.h"
#include "disk/hole.h"
#include "extract/digest.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum format {
	FORMAT_ZIP,
	FORMAT_TAR,
	FORMAT_FOLDER,
};
const char *format_name(enum format format); /* "zip" */
bool format_from_name(const char *name, enum format *format);

enum member_kind {
	MEMBER_FILE,
	MEMBER_FOLDER,
	/*
	 * The same bytes as `same_as`, earlier in this part: a hard link. No data follows. Not for
	 * FORMAT_ZIP, which has none.
	 */
	MEMBER_SAME,
};

/* One entry of a part. */
struct member {
	enum member_kind kind;
	const char *path;    /* valid UTF-8, "data/..." without a leading or trailing slash */
	const char *same_as; /* MEMBER_SAME */
	uint64_t size;       /* bytes; exactly as many are written */
	int64_t created, modified, accessed; /* FILETIME, 0 unknown */
	bool is_readonly;
	bool is_compact;     /* compressed already by its kind: store rather than deflate */
	/*
	 * The ranges that hold data, when the rest of the file is sparse; ascending, without
	 * overlaps. tar needs them beforehand. NULL: not known, or nothing is sparse.
	 */
	const struct hole *data;
	size_t n_data;
};

struct writer;
struct crew;

struct writer_options {
	/*
	 * The threads that prepare and write the bytes (crew.h), for any number of parts that take
	 * turns: a member is ended before one of another part begins. NULL: threads of its own.
	 */
	struct crew *crew;
	unsigned workers; /* of its own threads; 0: as many as there are processors */
	/*
	 * Time zone of the old PC as a POSIX TZ text ("CET-1CEST,M3.5.0,M10.5.0/3"), for the zip
	 * format's local time field; NULL: UTC.
	 */
	const char *zone;
	/*
	 * For writer_reopen(): fills in path, kind, times and is_readonly of the next entry that
	 * stands in the part before the mark, in any order, each once; false: there is no more.
	 * NULL: not known (never for FORMAT_FOLDER), so none counts as read-only. By a job's
	 * outcomes: stored_items.h.
	 */
	bool (*next_stored)(void *stored, struct member *member);
	void *stored;
};

/*
 * Starts the part `path` (a file, or for FORMAT_FOLDER the folder that stands for all parts).
 * NULL with *error (STATUS_DESTINATION).
 */
struct writer *writer_open(enum format format, const char *path,
    const struct writer_options *options, struct error *error);

/*
 * Every function below returns false with *error (STATUS_DESTINATION) when the destination failed,
 * which may have been at an earlier call: bytes are written while others are handed over.
 */
bool writer_begin(struct writer *writer, const struct member *member, struct error *error);
bool writer_data(struct writer *writer, const void *data, size_t length, struct error *error);
/* `length` zero bytes, stored as a sparse range where the format can. */
bool writer_zeros(struct writer *writer, uint64_t length, struct error *error);
bool writer_end(struct writer *writer, struct error *error);

/*
 * Instead of writer_end(): the entry was none, the part is as it was before writer_begin(). Nothing
 * of it stays, however much of it was written. (A folder that was already there stays.)
 */
bool writer_take_back(struct writer *writer, struct error *error);

/*
 * Between two entries: bytes that the part takes at the destination when it is finished now (an
 * upper bound, a few kB at most above the truth). 0 for FORMAT_FOLDER. May wait until everything so
 * far is written; where an answer is needed often, ask writer_has_room().
 */
uint64_t writer_size(struct writer *writer);

/* Between two entries: is writer_size() + cost <= limit? Seldom has to wait. */
bool writer_has_room(struct writer *writer, uint64_t cost, uint64_t limit);

/*
 * Bytes that an entry of `size` bytes with this path can add at most, whatever it holds: what
 * writer_size() grows by.
 */
uint64_t writer_cost(enum format format, const char *path, uint64_t size);

/*
 * Completes the part: sync, rename. The writer is gone afterwards, also on failure. *digest (may be
 * NULL) is the SHA-256 of the part's file; zeros for FORMAT_FOLDER.
 */
bool writer_finish(struct writer *writer, struct digest *digest, struct error *error);
/* Gives up: the temporary file is removed, unless writer_checkpoint() was ever called. */
void writer_abandon(struct writer *writer);

/* How far a part was at a checkpoint. */
struct writer_mark {
	uint64_t length;  /* of its file, bytes; 0 for FORMAT_FOLDER */
	uint64_t entries; /* that were ended */
};

/*
 * Between two entries: waits until everything so far is written, and makes it last, so that the
 * part can be gone on with from here after a power cut. From now on the unfinished part stays also
 * when it is given up or fails.
 */
bool writer_checkpoint(struct writer *writer, struct writer_mark *mark, struct error *error);

/*
 * Opens an unfinished part again (PATH.unfinished, or PATH where it had been finished already) to
 * go on with it from the mark: what came behind is cut off, and what stands in front is read, for
 * its hash. The finished part is the same, byte by byte, as one written without a break. NULL with
 * *error: STATUS_DESTINATION when it cannot be read, or is not what it was; nothing is removed then.
 */
struct writer *writer_reopen(enum format format, const char *path,
    const struct writer_options *options, const struct writer_mark *mark, struct error *error);

#endif
