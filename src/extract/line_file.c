/* Text files written line by line: see line_file.h. */
#include "extract/line_file.h"

#include <stdlib.h>

#define FLUSH_AT ((size_t)1 << 20)

bool line_file_open(struct line_file *lines, const struct job *job, const char *name,
    struct error *error)
{
	char *path = job_path(job, name);
	bool good;

	*lines = (struct line_file){.file = {.fd = -1}};
	if (path == NULL)
		return error_no_memory(error);
	good = durable_open(&lines->file, path, error);
	free(path);
	return good;
}

static bool write_out(struct line_file *lines, struct error *error)
{
	if (lines->buf.failed)
		return error_no_memory(error);
	if (!durable_write(&lines->file, lines->buf.data, lines->buf.length, error))
		return false;
	buf_clear(&lines->buf);
	return true;
}

bool line_file_flush(struct line_file *lines, struct error *error)
{
	return (lines->buf.length < FLUSH_AT && !lines->buf.failed) || write_out(lines, error);
}

bool line_file_finish(struct line_file *lines, bool good, struct digest *digest,
    struct error *error)
{
	good = good && write_out(lines, error);
	if (good)
		good = durable_finish(&lines->file, digest, error);
	else
		durable_abandon(&lines->file);
	buf_free(&lines->buf);
	return good;
}
