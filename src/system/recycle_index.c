/* Index files of recycle bins: see recycle_index.h. */
#include "system/recycle_index.h"

#include "base/bytes.h"
#include "base/filetime.h"
#include "base/utf.h"
#include "system/shell_link.h"

#include <string.h>

/* $I */
#define NOTE_SIZE_AT 8u
#define NOTE_WHEN_AT 16u
#define NOTE_PATH_AT 24u /* version 1; in version 2 the number of characters */

/* INFO2 */
#define HEADER 20u
#define RECORD_SIZE_AT 12u
#define RECORD_SHORT 280u /* without the second name */
#define RECORD_LONG 800u
#define SHORT_NAME 260u
#define NUMBER_AT 260u
#define DRIVE_AT 264u
#define WHEN_AT 268u
#define SIZE_AT 276u
#define LONG_NAME_AT 280u

/* A path that starts at a drive or at a name for one, ("\\?\Volume{...}\x"), else NULL. */
static const char *whole_path(const char *path)
{
	bool has_letter =
	    path && ((path[0] >= 'A' && path[0] <= 'Z') || (path[0] >= 'a' && path[0] <= 'z'));

	if (has_letter && path[1] == ':' && path[2] == '\\' && path[3])
		return path;
	return path && path[0] == '\\' && path[1] == '\\' && path[2] ? path : NULL;
}

/* UTF-16 up to its NUL or the end. */
static const char *wide_path(const uint8_t *data, size_t length, struct arena *arena)
{
	size_t units = 0;

	while (units < length / 2 && get_u16(data + 2 * units) != 0)
		units++;
	return whole_path(utf_arena_from_utf16(arena, data, units, NULL));
}

static int64_t moment(const uint8_t *data)
{
	int64_t when = (int64_t)get_u64(data);

	return *filetime_to_text(when).text ? when : 0;
}

bool recycle_note_read(
    const uint8_t *data, size_t length, struct arena *arena, struct recycle_note *note)
{
	size_t at = NOTE_PATH_AT, room;
	uint64_t version;

	*note = (struct recycle_note){0};
	if (length < NOTE_PATH_AT)
		return false;
	version = get_u64(data);
	if (version != 1 && version != 2)
		return false;
	note->size = get_u64(data + NOTE_SIZE_AT);
	note->when = moment(data + NOTE_WHEN_AT);
	room = length - at;
	if (version == 2) {
		size_t units;

		if (room < 4)
			return true;
		units = get_u32(data + at);
		at += 4;
		room -= 4;
		/* A number that is too large is damaged; the path ends with its NUL anyway. */
		if (units <= room / 2)
			room = 2 * units;
	}
	note->was = wide_path(data + at, room, arena);
	return true;
}

static void read_record(
    const uint8_t *record, size_t size, struct arena *arena, struct recycle_note *note)
{
	uint32_t drive = get_u32(record + DRIVE_AT);

	note->number = get_u32(record + NUMBER_AT);
	note->drive = drive < 26 ? (char)('a' + drive) : 0;
	note->when = moment(record + WHEN_AT);
	note->size = get_u32(record + SIZE_AT);
	if (size >= RECORD_LONG)
		note->was = wide_path(record + LONG_NAME_AT, size - LONG_NAME_AT, arena);
	/* The first byte of this one is cleared once the thing was taken out of the bin again. */
	if (!note->was)
		note->was = whole_path(shell_text_8bit(arena, record, SHORT_NAME));
}

size_t recycle_index_read(
    const uint8_t *data, size_t length, struct arena *arena, struct recycle_note **notes)
{
	size_t size, count;

	*notes = NULL;
	if (length < HEADER)
		return 0;
	size = get_u32(data + RECORD_SIZE_AT);
	if (size != RECORD_SHORT && size != RECORD_LONG)
		return 0;
	count = (length - HEADER) / size;
	*notes = arena_array(arena, count, sizeof(**notes));
	if (!*notes)
		return 0;
	for (size_t i = 0; i < count; i++)
		read_record(data + HEADER + i * size, size, arena, &(*notes)[i]);
	return count;
}
