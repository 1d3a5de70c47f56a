/* Notes on what arrived: see checks.h. */
#include "extract/checks.h"

#include <string.h>

const char *note_text(enum note note)
{
	static const char *const texts[] = {
	    NULL, "all zeros", "content does not match its kind", "truncated",
	    "described by a damaged file table"};

	return texts[note];
}

void check_start(struct check *check, const char *name)
{
	*check = (struct check){0};
	check->kind = name == NULL ? NULL : kind_of_name(name);
	check->has_end = check->kind == NULL || check->kind->end.length == 0;
}

static bool all_zero(const uint8_t *data, size_t length)
{
	return length == 0 || (data[0] == 0 && memcmp(data, data + 1, length - 1) == 0);
}

/*
 * Where the picture's own data starts in a JPEG: previews with ends of their own lie in the
 * segments before (ITU-T T.81, B.1.1.4: marker, then two bytes of length). UINT64_MAX when that is
 * not in sight.
 */
static uint64_t jpeg_scan(const uint8_t *data, size_t length)
{
	size_t at = 2;

	while (at + 4 <= length && data[at] == 0xFF) {
		uint8_t marker = data[at + 1];

		if (marker == 0xDA)
			return at;
		if (marker == 0xFF) { /* fill byte */
			at++;
			continue;
		}
		if (marker < 0xC0 || (marker >= 0xD0 && marker <= 0xD9))
			return UINT64_MAX;
		at += 2u + ((unsigned)data[at + 2] << 8 | data[at + 3]);
	}
	return UINT64_MAX;
}

static void look_at_beginning(struct check *check, const uint8_t *data, size_t length)
{
	if (check->kind == NULL)
		return;
	check->mismatch = !kind_begins(check->kind, data, length);
	if (!check->mismatch && !check->has_end && data[0] == 0xFF) {
		check->end_after = jpeg_scan(data, length);
		check->has_end = check->end_after == UINT64_MAX;
	}
	/* The beginning of an older compound file under a newer name has no zip end. */
	if (!check->has_end && data[0] == 0xD0)
		check->has_end = true;
}

static void look_for_end(struct check *check, const uint8_t *data, size_t length)
{
	const struct magic *end = &check->kind->end;
	uint8_t seam[2 * sizeof(check->tail)];
	size_t head = length < sizeof(check->tail) ? length : sizeof(check->tail);
	uint64_t skip = check->end_after > check->position ? check->end_after - check->position : 0;

	memcpy(seam, check->tail, check->n_tail);
	memcpy(seam + check->n_tail, data, head);
	if (skip == 0 && memmem(seam, check->n_tail + head, end->bytes, end->length) != NULL)
		check->has_end = true;
	else if (skip < length &&
	    memmem(data + skip, length - (size_t)skip, end->bytes, end->length) != NULL)
		check->has_end = true;
}

void check_data(struct check *check, const uint8_t *data, size_t length)
{
	if (length == 0)
		return;
	if (!check->has_data && !all_zero(data, length))
		check->has_data = true;
	if (check->position == 0)
		look_at_beginning(check, data, length);
	if (!check->has_end && !check->mismatch)
		look_for_end(check, data, length);
	check->position += length;
	check->n_tail = length < sizeof(check->tail) ? length : sizeof(check->tail);
	memcpy(check->tail, data + length - check->n_tail, check->n_tail);
}

void check_zeros(struct check *check, uint64_t length)
{
	if (length == 0)
		return;
	if (check->position == 0 && check->kind != NULL && check->kind->begin[0].length > 0)
		check->mismatch = true;
	check->position += length;
	check->n_tail = 0;
}

enum note check_result(const struct check *check)
{
	if (check->position == 0)
		return NOTE_NONE; /* an empty file is what it is */
	if (!check->has_data)
		return NOTE_ZEROS;
	if (check->mismatch)
		return NOTE_MISMATCH;
	return check->has_end ? NOTE_NONE : NOTE_TRUNCATED;
}
