/*
 * What each writer provides behind writer.h.
 */
#ifndef EXTRACT_WRITER_OPS_H
#define EXTRACT_WRITER_OPS_H

#include "extract/writer.h"

/* The first field of every writer. */
struct writer {
	const struct writer_ops *ops;
};

struct writer_ops {
	bool (*begin)(struct writer *writer, const struct member *member, struct error *error);
	bool (*data)(struct writer *writer, const void *data, size_t length, struct error *error);
	bool (*zeros)(struct writer *writer, uint64_t length, struct error *error);
	bool (*end)(struct writer *writer, struct error *error);
	bool (*take_back)(struct writer *writer, struct error *error);
	uint64_t (*size)(struct writer *writer);
	/* Never less than size(), but known at once. NULL: size() is. */
	uint64_t (*bound)(const struct writer *writer);
	bool (*checkpoint)(struct writer *writer, struct writer_mark *mark, struct error *error);
	/* Both free the writer. */
	bool (*finish)(struct writer *writer, struct digest *digest, struct error *error);
	void (*abandon)(struct writer *writer);
};

/* With a mark: as writer_reopen(). NULL: as writer_open(). */
struct writer *zip_writer_open(const char *path, const struct writer_options *options,
    const struct writer_mark *mark, struct error *error);
struct writer *tar_writer_open(const char *path, const struct writer_options *options,
    const struct writer_mark *mark, struct error *error);
struct writer *folder_writer_open(const char *path, const struct writer_options *options,
    const struct writer_mark *mark, struct error *error);

/* Zeros through the `data` function of a writer that has nothing better. */
bool writer_plain_zeros(struct writer *writer, uint64_t length, struct error *error);

#endif
