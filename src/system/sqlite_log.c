/* Write-ahead logs of SQLite: see sqlite_log.h. */
#include "system/sqlite_log.h"

#include "base/bytes.h"

#include <string.h>

#define HEADER 32
#define FRAME 24
#define MAGIC 0x377f0682u /* the lowest bit: checksums over big-endian words */
#define VERSION 3007000u

struct sum {
	uint32_t one, two;
	bool big;
};

/* Section 4.2: eight bytes at a time. */
static void add_to_sum(struct sum *sum, const uint8_t *data, size_t length)
{
	for (size_t i = 0; i + 8 <= length; i += 8) {
		sum->one += (sum->big ? get_u32_be(data + i) : get_u32(data + i)) + sum->two;
		sum->two +=
		    (sum->big ? get_u32_be(data + i + 4) : get_u32(data + i + 4)) + sum->one;
	}
}

static bool is_page_size(uint32_t size)
{
	return size >= 512 && size <= 65536 && (size & (size - 1)) == 0;
}

bool sqlite_log_read(struct sqlite_log *log, const uint8_t *data, size_t length)
{
	struct sum sum = {0};
	size_t step, at = HEADER;

	*log = (struct sqlite_log){0};
	if (length < HEADER || (get_u32_be(data) & ~1u) != MAGIC || get_u32_be(data + 4) != VERSION)
		return false;
	log->page_size = get_u32_be(data + 8);
	sum.big = get_u32_be(data) & 1;
	add_to_sum(&sum, data, 24);
	if (!is_page_size(log->page_size) || get_u32_be(data + 24) != sum.one ||
	    get_u32_be(data + 28) != sum.two)
		return false;
	step = FRAME + log->page_size;
	for (uint32_t frame = 1; length - at >= step && frame < UINT32_MAX; frame++, at += step) {
		uint32_t pages = get_u32_be(data + at + 4);

		add_to_sum(&sum, data + at, 8);
		add_to_sum(&sum, data + at + FRAME, log->page_size);
		if (get_u32_be(data + at) == 0 || memcmp(data + at + 8, data + 16, 8) != 0 ||
		    get_u32_be(data + at + 16) != sum.one || get_u32_be(data + at + 20) != sum.two)
			break;
		if (pages == 0)
			continue;
		log->n_frames = frame;
		log->n_pages = pages;
	}
	return log->n_frames > 0;
}

uint64_t sqlite_log_room(const struct sqlite_log *log)
{
	return (uint64_t)log->n_pages * log->page_size;
}

/* 1.3.2: bytes 16 and 17; 1 stands for 65,536. */
static uint32_t page_size_of(const uint8_t *database)
{
	uint32_t size = get_u16_be(database + 16);

	return size == 1 ? 65536 : size;
}

size_t sqlite_log_apply(
    const struct sqlite_log *log, const uint8_t *data, uint8_t *database, size_t length, bool *fits)
{
	size_t room = (size_t)sqlite_log_room(log);

	*fits = length < 100 || page_size_of(database) == log->page_size;
	if (!*fits)
		return length;
	if (length < room)
		memset(database + length, 0, room - length);
	for (uint32_t i = 0; i < log->n_frames; i++) {
		const uint8_t *frame = data + HEADER + (size_t)i * (FRAME + (size_t)log->page_size);
		uint32_t page = get_u32_be(frame);

		/* Pages behind the end were cut off by a later commit. */
		if (page <= log->n_pages)
			memcpy(database + (size_t)(page - 1) * log->page_size, frame + FRAME,
			    log->page_size);
	}
	return room;
}

void sqlite_log_forget(uint8_t *database, size_t length)
{
	/* 1.3.3: the file format's write and read versions, 2 with a log. */
	for (size_t i = 18; i <= 19 && i < length; i++)
		if (database[i] == 2)
			database[i] = 1;
}
