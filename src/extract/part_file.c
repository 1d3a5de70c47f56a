/* The file of a part: see part_file.h. */
#include "extract/part_file.h"

#include <stdlib.h>
#include <string.h>

/* Two stored blocks of deflate, or many small files. */
#define OUT (2 * PART_FILE_ROOM)

static bool start(struct part_file *file, struct error *error)
{
	*file = (struct part_file){.out = malloc(OUT)};
	return file->out != NULL || error_no_memory(error);
}

bool part_file_open(struct part_file *file, const char *path, struct error *error)
{
	if (start(file, error) && durable_open(&file->file, path, error))
		return true;
	part_file_free(file);
	return false;
}

bool part_file_reopen(struct part_file *file, const char *path, uint64_t size, struct error *error)
{
	if (start(file, error) && durable_reopen(&file->file, path, size, error))
		return true;
	part_file_free(file);
	return false;
}

void part_file_free(struct part_file *file)
{
	free(file->out);
	file->out = NULL;
}

void part_file_flush(struct part_file *file)
{
	size_t first = file->mark_is_out ? file->mark_at : file->n_out;

	durable_write(&file->file, file->out, first, NULL);
	if (file->mark_is_out) {
		file->mark = durable_mark(&file->file);
		file->mark_is_out = false;
		durable_write(&file->file, file->out + first, file->n_out - first, NULL);
	}
	file->n_out = 0;
}

void part_file_add(struct part_file *file, const void *data, size_t length)
{
	if (length > OUT - file->n_out)
		part_file_flush(file);
	if (length >= OUT / 2) {
		part_file_flush(file);
		durable_write(&file->file, data, length, NULL);
		return;
	}
	if (length > 0)
		memcpy(file->out + file->n_out, data, length);
	file->n_out += length;
}

uint8_t *part_file_room(struct part_file *file)
{
	if (OUT - file->n_out < PART_FILE_ROOM)
		part_file_flush(file);
	return file->out + file->n_out;
}

void part_file_added(struct part_file *file, size_t length)
{
	file->n_out += length;
}

uint64_t part_file_position(const struct part_file *file)
{
	return file->file.size + file->n_out;
}

/* Taking a mark of the file itself would mean writing out what was collected. */
void part_file_mark(struct part_file *file)
{
	file->mark_is_out = true;
	file->mark_at = file->n_out;
}

void part_file_go_back(struct part_file *file)
{
	if (file->mark_is_out) {
		file->n_out = file->mark_at;
		return;
	}
	file->n_out = 0;
	durable_go_back(&file->file, &file->mark, NULL);
}
