/* The central directory while the file grows: see zip_directory.h. */
#include "extract/zip_directory.h"

#include <libdeflate.h>
#include <stdlib.h>
#include <string.h>

#define BLOCK ((size_t)1 << 17) /* room for the longest record is less */
#define FIRST_ROOM ((size_t)1 << 12) /* most parts are small, and many may be open */
#define LEVEL 1 /* names shrink to a third even so */

struct zip_block {
	struct zip_block *next;
	size_t size, packed; /* equal: not compressed */
	uint8_t data[];
};

/* Puts the open block away. Many parts may be open: none keeps a compressor for that. */
static bool close_block(struct zip_directory *directory)
{
	struct libdeflate_compressor *compressor = libdeflate_alloc_compressor(LEVEL);
	struct zip_block *block = malloc(sizeof(*block) + directory->used), *smaller;

	if (block != NULL)
		*block = (struct zip_block){.size = directory->used};
	if (block != NULL && compressor != NULL)
		block->packed = libdeflate_deflate_compress(compressor, directory->open,
		    directory->used, block->data, directory->used - 1);
	libdeflate_free_compressor(compressor);
	if (block == NULL)
		return false;
	if (block->packed == 0) {
		memcpy(block->data, directory->open, directory->used);
		block->packed = directory->used;
	}
	smaller = realloc(block, sizeof(*block) + block->packed);
	if (smaller != NULL)
		block = smaller;
	if (directory->last != NULL)
		directory->last->next = block;
	else
		directory->first = block;
	directory->last = block;
	directory->used = 0;
	return true;
}

/* Makes room for a record, by growing the open block or by closing it. */
static bool make_room(struct zip_directory *directory, size_t length)
{
	size_t room = directory->room == 0 ? FIRST_ROOM : directory->room;
	uint8_t *larger;

	while (room < directory->used + length && room < BLOCK)
		room *= 2;
	if (room != directory->room) {
		larger = realloc(directory->open, room);
		if (larger == NULL)
			return false;
		directory->open = larger;
		directory->room = room;
	}
	return directory->used + length <= room || close_block(directory);
}

bool zip_directory_add(struct zip_directory *directory, const struct zip_entry *entry)
{
	size_t length;

	if (!make_room(directory, ZIP_RECORD_LIMIT + entry->name_length))
		return false;
	length = zip_central_header(directory->open + directory->used, entry);
	directory->used += length;
	directory->size += length;
	directory->entries++;
	return true;
}

static bool write_block(const struct zip_block *block, struct libdeflate_decompressor *decompressor,
    uint8_t *buffer, struct durable *file, struct error *error)
{
	if (block->packed == block->size)
		return durable_write(file, block->data, block->size, error);
	if (libdeflate_deflate_decompress(decompressor, block->data, block->packed, buffer,
		block->size, NULL) != LIBDEFLATE_SUCCESS)
		return error_set(error, STATUS_OTHER,
		    "the list of files could not be unpacked from memory");
	return durable_write(file, buffer, block->size, error);
}

bool zip_directory_write(const struct zip_directory *directory, struct durable *file,
    struct error *error)
{
	struct libdeflate_decompressor *decompressor = libdeflate_alloc_decompressor();
	uint8_t *buffer = malloc(BLOCK);
	bool good = decompressor != NULL && buffer != NULL;

	if (!good)
		error_no_memory(error);
	for (const struct zip_block *block = directory->first; good && block != NULL;
	     block = block->next)
		good = write_block(block, decompressor, buffer, file, error);
	if (good && directory->used > 0)
		good = durable_write(file, directory->open, directory->used, error);
	libdeflate_free_decompressor(decompressor);
	free(buffer);
	return good;
}

void zip_directory_free(struct zip_directory *directory)
{
	while (directory->first != NULL) {
		struct zip_block *block = directory->first;

		directory->first = block->next;
		free(block);
	}
	free(directory->open);
	*directory = (struct zip_directory){0};
}
