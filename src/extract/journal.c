/* The journal of a job: see journal.h. */
#include "extract/journal.h"

#include "extract/durable.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>
#include <zlib.h>

#define CHECK_LENGTH 9 /* a space and 8 hex digits */
#define PIECE ((size_t)1 << 16)
#define WRITE_AT ((size_t)1 << 20) /* lines that wait for more take no more memory than this */

static const char digits[] = "0123456789abcdef";

static void put_check(char out[CHECK_LENGTH], const uint8_t *text, size_t length)
{
	uint32_t crc = (uint32_t)crc32_z(crc32_z(0, NULL, 0), text, length);

	out[0] = ' ';
	for (unsigned i = 0; i < 8; i++)
		out[1 + i] = digits[crc >> (28 - 4 * i) & 15];
}

/* --- writing --- */

static bool start(struct journal *journal, const char *path, struct error *error)
{
	*journal = (struct journal){.fd = -1, .path = strdup(path)};
	return journal->path != NULL || error_no_memory(error);
}

static bool open_end(struct journal *journal, struct error *error)
{
	off_t end;

	journal->fd = open(journal->path, O_WRONLY | O_APPEND | O_NOFOLLOW | O_CLOEXEC);
	if (journal->fd >= 0 && flock(journal->fd, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK)
		return error_set(error, STATUS_DESTINATION,
		    "somebody else is working on this job right now: '%s' is in use",
		    journal->path);
	if (journal->fd < 0 || (end = lseek(journal->fd, 0, SEEK_END)) < 0)
		return durable_failed(error, errno, journal->path);
	journal->size = (uint64_t)end;
	return true;
}

bool journal_create(struct journal *journal, const char *path, const struct buf *page,
    struct error *error)
{
	if (!start(journal, path, error))
		return false;
	if (durable_save(path, page, NULL, error) && open_end(journal, error))
		return true;
	journal_close(journal);
	return false;
}

bool journal_open(struct journal *journal, const char *path, uint64_t size, struct error *error)
{
	bool good = start(journal, path, error) && open_end(journal, error);

	if (good && size < journal->size) {
		if (ftruncate(journal->fd, (off_t)size) != 0 || fsync(journal->fd) != 0)
			good = durable_failed(error, errno, path);
		journal->size = size;
	}
	if (!good)
		journal_close(journal);
	return good;
}

static bool write_lines(struct journal *journal, struct error *error)
{
	const uint8_t *bytes = journal->lines.data;
	size_t left = journal->lines.length;

	while (left > 0) {
		ssize_t written = write(journal->fd, bytes, left);

		if (written < 0 && errno == EINTR)
			continue;
		if (written <= 0)
			return durable_failed(error, written < 0 ? errno : ENOSPC, journal->path);
		bytes += written;
		left -= (size_t)written;
		journal->size += (uint64_t)written;
	}
	buf_clear(&journal->lines);
	return true;
}

bool journal_add(struct journal *journal, const struct buf *json, struct error *error)
{
	char check[CHECK_LENGTH];

	if (journal->fd < 0)
		return true;
	if (json->failed || json->length == 0)
		return error_no_memory(error);
	put_check(check, json->data, json->length);
	buf_add(&journal->lines, json->data, json->length);
	buf_add(&journal->lines, check, sizeof(check));
	buf_add_byte(&journal->lines, '\n');
	if (journal->lines.failed)
		return error_no_memory(error);
	return journal->lines.length < WRITE_AT || write_lines(journal, error);
}

bool journal_sync(struct journal *journal, struct error *error)
{
	if (journal->fd < 0)
		return true;
	if (!write_lines(journal, error))
		return false;
	return fsync(journal->fd) == 0 || durable_failed(error, errno, journal->path);
}

void journal_close(struct journal *journal)
{
	if (journal->fd >= 0)
		close(journal->fd);
	free(journal->path);
	buf_free(&journal->lines);
	*journal = (struct journal){.fd = -1};
}

/* --- reading --- */

/* Is the line (without its end) whole? Then *length becomes that of its object. */
static bool is_whole(const uint8_t *line, size_t *length)
{
	char check[CHECK_LENGTH];

	if (*length <= CHECK_LENGTH || *length > JOURNAL_LINE)
		return false;
	*length -= CHECK_LENGTH;
	put_check(check, line, *length);
	return memcmp(check, line + *length, CHECK_LENGTH) == 0;
}

/* False: the reading ends, because of *error when *go_on is false. */
static bool take_line(const uint8_t *line, size_t length, uint64_t end, journal_line *tell,
    void *about, bool *go_on, struct error *error)
{
	json_t *object;

	if (length > 0 && line[0] == '#')
		return true;
	if (!is_whole(line, &length))
		return false;
	object = json_loadb((const char *)line, length, JSON_REJECT_DUPLICATES, NULL);
	if (object == NULL)
		return false;
	*go_on = tell(about, object, end, error);
	json_decref(object);
	return *go_on;
}

/* Takes the lines that are complete in `text`; `offset` is that of its first byte. */
static bool take_lines(struct buf *text, uint64_t *offset, journal_line *tell, void *about,
    bool *go_on, struct error *error)
{
	size_t at = 0;
	const uint8_t *end;

	while ((end = memchr(text->data + at, '\n', text->length - at)) != NULL) {
		size_t length = (size_t)(end - (text->data + at));

		if (!take_line(text->data + at, length, *offset + at + length + 1, tell, about,
			go_on, error))
			return false;
		at += length + 1;
	}
	memmove(text->data, text->data + at, text->length - at);
	text->length -= at;
	*offset += at;
	return text->length <= JOURNAL_LINE + CHECK_LENGTH;
}

bool journal_read(const char *path, journal_line *line, void *about, struct error *error)
{
	struct buf text = {0};
	uint64_t offset = 0;
	bool good = true, more = true;
	int fd = open(path, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);

	if (fd < 0)
		return error_set_errno(error, STATUS_DESTINATION, errno,
		    "'%s' cannot be read", path);
	while (good && more) {
		uint8_t *room = buf_reserve(&text, PIECE);
		ssize_t got = room == NULL ? 0 : read(fd, room, PIECE);

		if (got < 0 && errno == EINTR)
			continue;
		if (room == NULL)
			good = error_no_memory(error);
		else if (got < 0)
			good = error_set_errno(error, STATUS_DESTINATION, errno,
			    "'%s' cannot be read", path);
		if (!good || got == 0)
			break;
		buf_added(&text, (size_t)got);
		more = take_lines(&text, &offset, line, about, &good, error);
	}
	close(fd);
	buf_free(&text);
	return good;
}
