/*
 * A file at the destination that is either complete or marked as unfinished.
 *
 * It is written as PATH.unfinished, synced, renamed to PATH, and both it and its folder are synced;
 * so a power cut or a pulled stick never leaves half a file under a good name. Its SHA-256 is taken
 * while writing.
 *
 * Where something early in the file is only known later (how large a member of an archive became
 * that is too large to be kept in memory), the hash waits at that place: what is written behind it
 * is read back and hashed once the place has got its final bytes, as a rule from the page cache.
 */
#ifndef EXTRACT_DURABLE_H
#define EXTRACT_DURABLE_H

#include "base/buf.h"
#include "base/error.h"
#include "extract/digest.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define UNFINISHED ".unfinished"

struct durable {
	char *path;        /* the good name */
	char *temporary;   /* path + UNFINISHED */
	int fd;
	uint64_t size;      /* bytes written so far */
	uint64_t hashed;    /* of them, from the beginning: in the hash */
	uint64_t open_from; /* bytes from here on may still change; UINT64_MAX: none */
	uint64_t started;   /* bytes from the beginning that are on their way to the drive */
	struct sha256_ctx hash;
	bool stays;         /* it was made to last as it is: it is not removed, whatever fails */
	uint8_t *buffer;    /* for reading back, NULL: was not needed yet */
	struct error error; /* the first failure; status 0: none */
};

/* A point in the file to which one can go back. */
struct durable_mark {
	uint64_t size, hashed;
	struct sha256_ctx hash;
};

/* Creates the temporary file (mode 0600); neither name may exist. False with *error. */
bool durable_open(struct durable *file, const char *path, struct error *error);

/* False when this or an earlier write failed: *error says which. */
bool durable_write(struct durable *file, const void *data, size_t length, struct error *error);

/* What is written from now on may still be patched, and is not hashed yet. */
void durable_leave_open(struct durable *file);
/* Changes bytes written since durable_leave_open(). False as durable_write(). */
bool durable_patch(struct durable *file, uint64_t offset, const void *data, size_t length,
    struct error *error);
/* Nothing of that changes any more. */
void durable_settle(struct durable *file);

/*
 * Reads back and hashes up to `most` bytes of what is settled but not hashed. False when nothing is
 * left to do, or when that failed, which durable_finish() tells.
 */
bool durable_catch_up(struct durable *file, uint64_t most);

/* Goes back to where the mark was made: what came after is gone. False as durable_write(). */
struct durable_mark durable_mark(const struct durable *file);
bool durable_go_back(struct durable *file, const struct durable_mark *mark, struct error *error);

/*
 * Makes what is there last, with its temporary name, and the file one that stays. Nothing may be
 * open for patches. False as durable_write().
 */
bool durable_checkpoint(struct durable *file, struct error *error);
/*
 * Opens the temporary file of a checkpoint again, or the complete one under its temporary name, cut
 * to `size` bytes; these are read for their hash. False with *error, then nothing is left to free
 * and the file is as it was or cut.
 */
bool durable_reopen(struct durable *file, const char *path, uint64_t size, struct error *error);

/*
 * Syncs and renames. *digest may be NULL. The file is closed in any case; a failed one is removed
 * unless it stays.
 */
bool durable_finish(struct durable *file, struct digest *digest, struct error *error);
/* Closes and removes the temporary file, unless that stays. */
void durable_abandon(struct durable *file);

/* Writes a whole small file from a buffer that may have run out of memory. */
bool durable_save(const char *path, const struct buf *content, struct digest *digest,
    struct error *error);

/*
 * Where only the good name is there, with the temporary one missing: gives that back. False with
 * *error.
 */
bool durable_unfinish(const char *path, const char *temporary, struct error *error);

/* Makes renames and creations in the folder of `path` last. */
bool durable_sync_folder(const char *path, struct error *error);

/* Makes the rename of a synced file or folder to `path` last, on every file system. */
bool durable_sync_renamed(const char *path, bool is_folder, struct error *error);

/* Fills *error for a failed destination: a full one gets its own words. Always false. */
bool durable_failed(struct error *error, int number, const char *path);

#endif
