/*
 * What the tests of the writers put into parts.
 */
#ifndef UNIT_ZIP_CONTENT_H
#define UNIT_ZIP_CONTENT_H

#include "extract/writer.h"

#define MIB ((size_t)1 << 20)

extern uint8_t *noise, *words; /* 20 MiB each: one cannot be compressed, the other well */

/* Setup and teardown of a group of tests: the two above. */
int make_content(void **state);
int free_content(void **state);

/* How the caller hands over. */
struct manner {
	size_t slice;   /* bytes at a time; 0: all at once */
	unsigned pause; /* microseconds between slices, at most */
};

/* The bytes of a member that was begun. */
bool hand_over(struct writer *writer, const uint8_t *data, size_t length,
    const struct manner *manner, struct error *error);
/* A whole file. */
bool add_file(struct writer *writer, const char *path, const uint8_t *data, size_t length,
    bool is_compact, const struct manner *manner, struct error *error);

/* A zip file in the scratch folder, with every way that a member can take. */
struct digest write_zip(const char *name, unsigned workers, const struct manner *manner);

/* Of a file in the scratch folder, by sha256sum. */
void check_digest(const char *name, const struct digest *digest);

#endif
