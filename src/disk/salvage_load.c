/* Taking up a sector store that an earlier run left: see salvage.h. */
#include "disk/salvage_inner.h"

#include "base/bytes.h"

#include <errno.h>
#include <string.h>
#include <unistd.h>

static bool is_plausible(const struct salvage *salvage, const struct kept *kept)
{
	uint32_t sector = salvage->sector;

	return kept->length > 0 && kept->length <= ENTRY_MAX && kept->length % sector == 0 &&
	       kept->offset % sector == 0 && kept->offset <= salvage->size;
}

/* Is the record a note? Then it is taken up. */
static bool replay_note(struct salvage *salvage, uint8_t kind, const struct kept *range)
{
	for (unsigned i = 0; i < SALVAGE_NOTES; i++)
		if (kind == salvage_note_kinds[i]) {
			holes_add(&salvage->notes[i], range->offset, range->position);
			return true;
		}
	return false;
}

/* One line of the index. False where the good ones end. */
static bool replay(struct salvage *salvage, const uint8_t *record)
{
	struct kept kept = {get_u64(record + RECORD_OFFSET), get_u64(record + RECORD_POSITION),
	    get_u32(record + RECORD_LENGTH), get_u32(record + RECORD_CHECK)};
	size_t at;

	if (!salvage_is_sealed(record))
		return false;
	if (replay_note(salvage, record[RECORD_KIND], &kept))
		return true;
	if (!is_plausible(salvage, &kept))
		return false;
	at = salvage_first_behind(salvage, kept.offset);
	if (record[RECORD_KIND] == KIND_DROPPED) {
		if (at < salvage->count && salvage->items[at].offset == kept.offset)
			salvage_take_out(salvage, at);
		return true;
	}
	if (record[RECORD_KIND] != KIND_KEPT ||
	    (at < salvage->count && salvage->items[at].offset < kept.offset + kept.length))
		return false;
	return salvage_insert(salvage, &kept);
}

static void replay_all(struct salvage *salvage)
{
	uint8_t record[RECORD_SIZE];

	salvage->index_end = RECORD_SIZE;
	while (pread(salvage->index, record, RECORD_SIZE, (off_t)salvage->index_end) ==
		   RECORD_SIZE &&
	       replay(salvage, record))
		salvage->index_end += RECORD_SIZE;
}

/* Keeps only entries whose bytes are there as they were. */
static void prove_all(struct salvage *salvage)
{
	size_t kept = 0;

	salvage->bytes = 0;
	for (size_t i = 0; i < salvage->count; i++) {
		struct kept *item = &salvage->items[i];

		if (!salvage_read_entry(salvage, item) ||
		    !space_claim(&salvage->space, item->position, item->length))
			continue;
		salvage->bytes += item->length;
		salvage->items[kept++] = *item;
	}
	salvage->count = kept;
}

/* By what is known of both. */
static bool is_same_drive(const uint8_t *stored, const uint8_t *own)
{
	uint32_t one = get_u32(stored + HEADER_IDENTITY), other = get_u32(own + HEADER_IDENTITY);

	return memcmp(stored, own, HEADER_IDENTITY) == 0 &&
	       (one == other || one == UNKNOWN_DRIVE || other == UNKNOWN_DRIVE);
}

bool salvage_load(struct salvage *salvage, struct error *error)
{
	uint8_t header[RECORD_SIZE];

	if (!salvage_open_folder(salvage) || !salvage_open_index(salvage, 0)) {
		int failure = errno;

		salvage_close_files(salvage);
		if (failure == ENOENT)
			return true;
		if (failure == EBUSY)
			return error_set(error, STATUS_DESTINATION,
			    "this job is being worked on right now, by another coldlift");
		return error_set_errno(error, STATUS_DESTINATION, failure,
		    "what was kept of a faulty drive cannot be read");
	}
	if (pread(salvage->index, header, RECORD_SIZE, 0) != RECORD_SIZE || !salvage_is_sealed(header)) {
		/* Torn at its very beginning: nothing was kept yet. */
		close(salvage->index);
		salvage->index = -1;
		return true;
	}
	if (!is_same_drive(header, salvage->header)) {
		salvage_close_files(salvage);
		return error_set(error, STATUS_USAGE,
		    "what the job has kept of a faulty drive belongs to another drive than this");
	}
	if (!space_open(&salvage->space)) {
		int failure = salvage->space.failure;

		space_free(&salvage->space);
		salvage_close_files(salvage);
		return error_set_errno(error, STATUS_DESTINATION, failure,
		    "what was kept of a faulty drive cannot be read");
	}
	memcpy(salvage->header, header, RECORD_SIZE);
	replay_all(salvage);
	prove_all(salvage);
	return true;
}
