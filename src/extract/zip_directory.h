/*
 * The central directory of a zip file while the file grows.
 *
 * It can only be written at the end, and a million entries of 200 bytes would be most of the memory
 * that the program may use. What is there is therefore kept compressed, block by block: names of
 * neighbours are much alike.
 */
#ifndef EXTRACT_ZIP_DIRECTORY_H
#define EXTRACT_ZIP_DIRECTORY_H

#include "extract/durable.h"
#include "extract/zip_format.h"

struct zip_block;

/* All zeros is valid and empty. */
struct zip_directory {
	uint64_t entries, size; /* size: bytes in the zip file */
	uint8_t *open;          /* the block that still has room; NULL: none yet */
	size_t used, room;
	struct zip_block *first, *last; /* full ones, in the order of the file */
};

/* False: no memory. */
bool zip_directory_add(struct zip_directory *directory, const struct zip_entry *entry);
/* Writes it at the end of the file. False with *error. */
bool zip_directory_write(const struct zip_directory *directory, struct durable *file,
    struct error *error);
void zip_directory_free(struct zip_directory *directory);

#endif
