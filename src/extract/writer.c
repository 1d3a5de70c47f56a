/* One interface for the three formats: see writer.h. */
#include "extract/writer.h"

#include "extract/writer_ops.h"

#include <string.h>

static const char *const format_names[] = {"zip", "tar", "folder"};

const char *format_name(enum format format)
{
	return format_names[format];
}

bool format_from_name(const char *name, enum format *format)
{
	for (size_t i = 0; i < sizeof(format_names) / sizeof(format_names[0]); i++) {
		if (strcmp(name, format_names[i]) == 0) {
			*format = (enum format)i;
			return true;
		}
	}
	return false;
}

static struct writer *open_any(enum format format, const char *path,
    const struct writer_options *options, const struct writer_mark *mark, struct error *error)
{
	static const struct writer_options usual = {0};

	if (options == NULL)
		options = &usual;
	switch (format) {
	case FORMAT_ZIP:
		return zip_writer_open(path, options, mark, error);
	case FORMAT_TAR:
		return tar_writer_open(path, options, mark, error);
	case FORMAT_FOLDER:
		return folder_writer_open(path, options, mark, error);
	}
	error_set(error, STATUS_OTHER, "there is no such format");
	return NULL;
}

struct writer *writer_open(
    enum format format, const char *path, const struct writer_options *options, struct error *error)
{
	return open_any(format, path, options, NULL, error);
}

struct writer *writer_reopen(enum format format, const char *path,
    const struct writer_options *options, const struct writer_mark *mark, struct error *error)
{
	return open_any(format, path, options, mark, error);
}

bool writer_checkpoint(struct writer *writer, struct writer_mark *mark, struct error *error)
{
	return writer->ops->checkpoint(writer, mark, error);
}

bool writer_begin(struct writer *writer, const struct member *member, struct error *error)
{
	return writer->ops->begin(writer, member, error);
}

bool writer_data(struct writer *writer, const void *data, size_t length, struct error *error)
{
	return writer->ops->data(writer, data, length, error);
}

bool writer_zeros(struct writer *writer, uint64_t length, struct error *error)
{
	return writer->ops->zeros(writer, length, error);
}

bool writer_end(struct writer *writer, struct error *error)
{
	return writer->ops->end(writer, error);
}

bool writer_take_back(struct writer *writer, struct error *error)
{
	return writer->ops->take_back(writer, error);
}

uint64_t writer_size(struct writer *writer)
{
	return writer->ops->size(writer);
}

bool writer_has_room(struct writer *writer, uint64_t cost, uint64_t limit)
{
	if (cost > limit)
		return false;
	/* What fits by its upper bound fits in truth: so the answer does not depend on timing. */
	if (writer->ops->bound != NULL && writer->ops->bound(writer) <= limit - cost)
		return true;
	return writer->ops->size(writer) <= limit - cost;
}

/*
 * Zip: local header (30 bytes) and central entry (46) with their extra fields (at most 73 each) and
 * a folder's slash; chunks that do not shrink stand in stored blocks (17 of 5 bytes for each MiB)
 * unless the whole file is stored. Tar: header, pax header and its records, padding; the sparse map
 * is bounded by 4,096 ranges of at most 40 bytes, but comes in place of at least as many blocks
 * that are left out.
 */
uint64_t writer_cost(enum format format, const char *path, uint64_t size)
{
	uint64_t name = strlen(path);

	if (format == FORMAT_ZIP)
		return size + size / 8192 + 2 * name + 320;
	if (format == FORMAT_TAR)
		return size + 2 * name + 4608;
	return size;
}

bool writer_finish(struct writer *writer, struct digest *digest, struct error *error)
{
	if (digest != NULL)
		*digest = (struct digest){{0}};
	return writer->ops->finish(writer, digest, error);
}

void writer_abandon(struct writer *writer)
{
	if (writer != NULL)
		writer->ops->abandon(writer);
}

bool writer_plain_zeros(struct writer *writer, uint64_t length, struct error *error)
{
	static const uint8_t zeros[65536];

	while (length > 0) {
		size_t now = length < sizeof(zeros) ? (size_t)length : sizeof(zeros);

		if (!writer->ops->data(writer, zeros, now, error))
			return false;
		length -= now;
	}
	return true;
}
