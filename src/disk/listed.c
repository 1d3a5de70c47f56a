/* Images with a list of unreadable ranges beside them; see listed.h. */
#include "disk/listed.h"

#include "base/buf.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct listed_state {
	struct device *inner;
	struct holes holes;
};

/* --- the text --------------------------------------------------------------------------------- */

struct parser {
	const char *path;
	uint64_t size;        /* of the image */
	uint32_t sector_size; /* of its device */
	size_t line;
	struct hole *items;
	size_t count, capacity;
};

static const char *skip_blanks(const char *at, const char *end)
{
	while (at < end && (*at == ' ' || *at == '\t' || *at == '\r'))
		at++;
	return at;
}

/* A decimal number; NULL when there is none, or it does not fit. */
static const char *take_number(const char *at, const char *end, uint64_t *number)
{
	const char *start = at;

	*number = 0;
	for (; at < end && *at >= '0' && *at <= '9'; at++) {
		unsigned digit = (unsigned)(*at - '0');

		if (*number > (UINT64_MAX - digit) / 10)
			return NULL;
		*number = *number * 10 + digit;
	}
	return at > start ? at : NULL;
}

static bool add_range(struct parser *parser, uint64_t offset, uint64_t length, struct error *error)
{
	uint64_t sector = parser->sector_size, end = offset + length;

	if (length == 0 || length > parser->size || offset > parser->size - length)
		return error_set(error, STATUS_USAGE,
		    "line %zu of %s names a range that the image does not have (it is %llu bytes "
		    "long); does this list belong to another image?",
		    parser->line, parser->path, (unsigned long long)parser->size);
	if (parser->count == LISTED_RANGES_MAX)
		return error_set(error, STATUS_USAGE, "%s names more than %zu ranges", parser->path,
		    LISTED_RANGES_MAX);
	if (!array_reserve(
		&parser->items, &parser->capacity, parser->count + 1, sizeof(*parser->items)))
		return error_no_memory(error);
	offset -= offset % sector;
	end += (sector - end % sector) % sector;
	parser->items[parser->count++] = (struct hole){offset, end - offset};
	return true;
}

static bool take_line(struct parser *parser, const char *at, const char *end, struct error *error)
{
	const char *mark = memchr(at, '#', (size_t)(end - at)), *next;
	uint64_t offset, length;

	if (mark != NULL)
		end = mark;
	at = skip_blanks(at, end);
	if (at == end)
		return true;
	next = take_number(at, end, &offset);
	at = next == NULL ? NULL : skip_blanks(next, end);
	if (at != NULL && at > next)
		at = take_number(at, end, &length);
	else
		at = NULL;
	if (at != NULL && skip_blanks(at, end) == end)
		return add_range(parser, offset, length, error);
	return error_set(error, STATUS_USAGE,
	    "line %zu of %s is not understood (a line is an offset and a length, two decimal "
	    "numbers of bytes)",
	    parser->line, parser->path);
}

static int by_offset(const void *a, const void *b)
{
	const struct hole *x = a, *y = b;

	return (x->offset > y->offset) - (x->offset < y->offset);
}

bool listed_parse(const char *text, size_t length, const char *path, uint64_t size,
    uint32_t sector_size, struct holes *holes, struct error *error)
{
	struct parser parser = {.path = path, .size = size, .sector_size = sector_size};
	const char *end = text + length;
	bool good = true;

	while (good && text < end) {
		const char *stop = memchr(text, '\n', (size_t)(end - text));

		if (stop == NULL)
			stop = end;
		parser.line++;
		good = take_line(&parser, text, stop, error);
		text = stop < end ? stop + 1 : end;
	}
	/* In their order each is added at the end: no list takes longer than it is long. */
	if (good && parser.count > 1)
		qsort(parser.items, parser.count, sizeof(*parser.items), by_offset);
	for (size_t i = 0; good && i < parser.count; i++)
		holes_add(holes, parser.items[i].offset, parser.items[i].length);
	free(parser.items);
	if (good && holes->failed)
		return error_no_memory(error);
	return good;
}

/* --- the file --------------------------------------------------------------------------------- */

static bool cannot_read(const char *path, int number, struct error *error)
{
	return error_set_errno(error, STATUS_NO_VOLUME, number,
	    "%s lists what is unreadable in the image, and cannot be read itself", path);
}

static bool read_all(int fd, const char *path, struct buf *text, struct error *error)
{
	uint8_t *room;
	ssize_t got;

	do {
		room = buf_reserve(text, 65536);
		if (room == NULL)
			return error_no_memory(error);
		do
			got = read(fd, room, 65536);
		while (got < 0 && errno == EINTR);
		if (got < 0)
			return cannot_read(path, errno, error);
		buf_added(text, (size_t)got);
		if (text->length > LISTED_FILE_MAX)
			return error_set(error, STATUS_USAGE,
			    "%s is too long for a list of unreadable ranges", path);
	} while (got > 0);
	return true;
}

/* *found tells whether there is such a file. */
static bool read_list(const char *path, struct buf *text, bool *found, struct error *error)
{
	struct stat status;
	int fd, number;
	bool good;

	do
		fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK);
	while (fd < 0 && errno == EINTR);
	number = errno;
	*found = fd >= 0 || (number != ENOENT && number != ENAMETOOLONG);
	if (fd < 0)
		return !*found || cannot_read(path, number, error);
	if (fstat(fd, &status) == 0 && S_ISREG(status.st_mode))
		good = read_all(fd, path, text, error);
	else
		good = error_set(error, STATUS_NO_VOLUME,
		    "%s should list what is unreadable in the image, but is no file", path);
	close(fd);
	return good;
}

/* --- the device ------------------------------------------------------------------------------- */

static ssize_t listed_read(struct device *device, uint64_t offset, void *buffer, size_t length)
{
	struct listed_state *state = device->state;
	const struct hole *hole = holes_next(&state->holes, offset);

	if (hole != NULL && hole->offset <= offset)
		return -EIO;
	/* Holes are whole sectors, so what is left in front of one is, too. */
	if (hole != NULL && hole->offset - offset < length)
		length = (size_t)(hole->offset - offset);
	return state->inner->ops->read(state->inner, offset, buffer, length);
}

static void listed_close(struct device *device)
{
	struct listed_state *state = device->state;

	device_close(state->inner);
	holes_free(&state->holes);
	free(state);
}

static const struct device_ops listed_ops = {listed_read, listed_close};

/* Takes over device and holes. */
static struct device *wrap(struct device *inner, struct holes *holes, struct error *error)
{
	struct listed_state *state = calloc(1, sizeof(*state));
	struct device *device = state == NULL ? NULL : device_new(&listed_ops, inner->path);

	if (device == NULL) {
		free(state);
		holes_free(holes);
		device_close(inner);
		error_no_memory(error);
		return NULL;
	}
	device->size = inner->size;
	device->sector_size = inner->sector_size;
	device->is_block = inner->is_block;
	device->number = inner->number;
	device->state = state;
	state->inner = inner;
	state->holes = *holes;
	return device;
}

struct device *listed_open(struct device *device, struct error *error)
{
	struct holes holes = {0};
	struct buf path = {0}, text = {0};
	bool found = false, good;

	buf_printf(&path, "%s%s", device->path, LISTED_ENDING);
	good =
	    path.failed ? error_no_memory(error) : read_list(buf_text(&path), &text, &found, error);
	good = good && listed_parse((const char *)text.data, text.length, buf_text(&path),
			   device->size, device->sector_size, &holes, error);
	buf_free(&path);
	buf_free(&text);
	if (good && found)
		return wrap(device, &holes, error);
	holes_free(&holes);
	if (good)
		return device;
	device_close(device);
	return NULL;
}

const struct holes *listed_holes(const struct device *device)
{
	const struct listed_state *state = device->state;

	return device->ops == &listed_ops ? &state->holes : NULL;
}
