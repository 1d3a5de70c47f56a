/* A zip file that is gone on with: see zip_again.h. */
#include "extract/zip_again.h"

#include "extract/stored_paths.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define WINDOW ((size_t)1 << 18)
#define HEADER_LIMIT ((size_t)ZIP_RECORD_LIMIT + ZIP_NAME_LIMIT)

/* A stretch of the file in memory: small entries need not be asked for one by one. */
struct window {
	const struct durable *file;
	uint8_t *bytes;
	uint64_t start;
	size_t length;
};

/*
 * The bytes at the offset, *length of them: a header's longest, or as far as the file goes. NULL
 * with *error.
 */
static const uint8_t *look_at(struct window *window, uint64_t offset, size_t *length,
    struct error *error)
{
	uint64_t left = window->file->size - offset;
	size_t want = left < HEADER_LIMIT ? (size_t)left : HEADER_LIMIT;

	if (offset < window->start || offset + want > window->start + window->length) {
		size_t all = left < WINDOW ? (size_t)left : WINDOW;

		window->start = offset;
		window->length = 0;
		while (window->length < all) {
			ssize_t got = pread(window->file->fd, window->bytes + window->length,
			    all - window->length, (off_t)(offset + window->length));

			if (got < 0 && errno == EINTR)
				continue;
			if (got <= 0) {
				error_set_errno(error, STATUS_DESTINATION, got < 0 ? errno : EIO,
				    "'%s' at the destination could not be read back",
				    window->file->path);
				return NULL;
			}
			window->length += (size_t)got;
		}
	}
	*length = window->length - (size_t)(offset - window->start);
	return window->bytes + (offset - window->start);
}

static bool note_readonly(struct map *readonly, const struct writer_options *options)
{
	struct member member = {0};

	while (options->next_stored != NULL && options->next_stored(options->stored, &member))
		if (member.is_readonly &&
		    !stored_paths_add(readonly, member.path, strlen(member.path)))
			return false;
	return true;
}

/* Adds the entry whose header stands at *offset, and moves that behind its bytes. */
static bool add_entry(struct zip_directory *directory, struct window *window,
    const struct map *readonly, uint64_t *offset, struct error *error)
{
	const char *path = window->file->path;
	uint8_t again[ZIP_RECORD_LIMIT + ZIP_NAME_LIMIT];
	struct zip_entry entry;
	const uint8_t *bytes;
	size_t length, header;

	bytes = look_at(window, *offset, &length, error);
	if (bytes == NULL)
		return false;
	header = zip_read_local_header(bytes, length, &entry);
	entry.offset = *offset; /* a header says whether that is large */
	/* What was not read rightly cannot be written as it stands there. */
	if (header == 0 || header > HEADER_LIMIT || zip_local_header(again, &entry) != header ||
	    memcmp(again, bytes, header) != 0 ||
	    entry.packed > window->file->size - *offset - header)
		return error_set(error, STATUS_DESTINATION,
		    "'%s' at the destination is not what it was before the break", path);
	entry.is_readonly = stored_paths_has(readonly, entry.name, entry.name_length);
	*offset += header + entry.packed;
	return zip_directory_add(directory, &entry) || error_no_memory(error);
}

bool zip_again(struct zip_directory *directory, const struct durable *file,
    const struct writer_options *options, const struct writer_mark *mark, struct error *error)
{
	struct window window = {.file = file, .bytes = malloc(WINDOW)};
	struct map readonly = {0};
	uint64_t offset = 0;
	bool good = window.bytes != NULL && note_readonly(&readonly, options);

	if (!good)
		error_no_memory(error);
	while (good && offset < file->size)
		good = add_entry(directory, &window, &readonly, &offset, error);
	if (good && directory->entries != mark->entries)
		good = error_set(error, STATUS_DESTINATION,
		    "'%s' at the destination is not what it was before the break", file->path);
	map_free(&readonly);
	free(window.bytes);
	return good;
}
