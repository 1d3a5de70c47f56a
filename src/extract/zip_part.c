/* A zip file that is being written: see zip_part.h. */
#include "extract/zip_part.h"

#include "extract/deflate_join.h"
#include "extract/zip_again.h"

#include <libdeflate.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#define CATCH_UP (UINT64_C(4) << 20) /* bytes at a time: a few milliseconds */

static struct zip_part *part_of(struct lane *lane)
{
	return (struct zip_part *)lane;
}

/* A record is made in place. */
_Static_assert(ZIP_RECORD_LIMIT + ZIP_NAME_LIMIT <= PART_FILE_ROOM, "no room for a record");

static void add_local_header(struct zip_part *part)
{
	part_file_added(&part->file,
	    zip_local_header(part_file_room(&part->file), &part->member->entry));
}

/* --- zeros --- */

static bool make_zeros(struct zip_zeros *zeros, struct packer *packer, uint8_t *chunk)
{
	for (int is_last = 0; is_last <= 1; is_last++) {
		struct packing packing = {.is_last = is_last, .may_sample = true};

		memset(chunk, 0, PACK_CHUNK);
		zeros->crc = libdeflate_crc32(0, chunk, PACK_CHUNK);
		if (!pack_chunk(packer, &packing, chunk, PACK_CHUNK, &zeros->packed[is_last]))
			return false;
		zeros->data[is_last] = malloc(zeros->packed[is_last]);
		if (zeros->data[is_last] == NULL)
			return false;
		memcpy(zeros->data[is_last], chunk, zeros->packed[is_last]);
	}
	return true;
}

/* Packs a chunk of zeros, once: it is the same wherever it comes. */
static bool prepare_zeros(struct zip_part *part)
{
	struct packer packer = {0};
	uint8_t *chunk;
	bool good;

	if (part->zeros.data[1] != NULL)
		return true;
	chunk = malloc(PACK_CHUNK);
	good = chunk != NULL && make_zeros(&part->zeros, &packer, chunk);
	packer_free(&packer);
	free(chunk);
	return good || error_no_memory(&part->file.file.error);
}

static bool is_zeros(const struct parcel *parcel)
{
	return parcel->data == NULL && parcel->length > 0;
}

static bool shrank(const struct parcel *parcel)
{
	return is_zeros(parcel) || parcel->packed < parcel->length;
}

static void add_zeros(struct zip_part *part, size_t length)
{
	static const uint8_t zeros[65536];

	for (size_t now; length > 0; length -= now) {
		now = length < sizeof(zeros) ? length : sizeof(zeros);
		part_file_add(&part->file, zeros, now);
	}
}

/* --- chunks --- */

/* Bytes of a chunk within a deflated member. */
static size_t deflated_size(const struct zip_part *part, const struct parcel *parcel)
{
	if (is_zeros(parcel))
		return part->zeros.packed[parcel->is_last];
	return parcel->packed < parcel->length ? parcel->packed :
						 deflate_stored_size(parcel->length);
}

static void add_stored_blocks(struct zip_part *part, const struct parcel *parcel)
{
	const uint8_t *data = parcel->data;
	size_t left = parcel->length;

	while (left > 0) {
		size_t now = left < DEFLATE_STORED_MOST ? left : DEFLATE_STORED_MOST;
		uint8_t header[DEFLATE_STORED_HEADER];

		left -= now;
		deflate_stored_header(header, (uint16_t)now, parcel->is_last && left == 0);
		part_file_add(&part->file, header, sizeof(header));
		part_file_add(&part->file, data, now);
		data += now;
	}
}

/* Counts a chunk into checksum and size of its member. */
static void count_chunk(struct zip_part *part, const struct parcel *parcel)
{
	struct zip_entry *entry = &part->member->entry;
	uint32_t crc = is_zeros(parcel) ? part->zeros.crc : parcel->crc;

	entry->crc = (uint32_t)crc32_combine(entry->crc, crc, (z_off_t)parcel->length);
	entry->packed +=
	    entry->method == ZIP_STORED ? parcel->length : deflated_size(part, parcel);
}

static void add_chunk(struct zip_part *part, const struct parcel *parcel)
{
	enum zip_method method = part->member->entry.method;

	if (method == ZIP_STORED && is_zeros(parcel))
		add_zeros(part, parcel->length);
	else if (method == ZIP_STORED)
		part_file_add(&part->file, parcel->data, parcel->length);
	else if (is_zeros(parcel))
		part_file_add(&part->file, part->zeros.data[parcel->is_last],
		    part->zeros.packed[parcel->is_last]);
	else if (parcel->packed < parcel->length)
		part_file_add(&part->file, parcel->data, parcel->packed);
	else
		add_stored_blocks(part, parcel);
}

/* --- members --- */

static void end_member(struct zip_part *part)
{
	free(part->member);
	part->member = NULL;
	part->n_held = 0;
	part->is_written = false;
}

static void list_member(struct zip_part *part)
{
	if (!zip_directory_add(&part->directory, &part->member->entry))
		error_no_memory(&part->file.file.error);
	end_member(part);
}

/* What is held is a whole member: nothing needs to be patched. */
static void write_whole(struct zip_part *part)
{
	struct zip_entry *entry = &part->member->entry;

	/* One chunk that shrank is enough to deflate it. */
	for (size_t i = 0; i < part->n_held; i++)
		if (!part->member->is_stored && shrank(part->held[i]))
			entry->method = ZIP_DEFLATED;
	for (size_t i = 0; i < part->n_held; i++)
		count_chunk(part, part->held[i]);
	entry->offset = part_file_position(&part->file);
	add_local_header(part);
	for (size_t i = 0; i < part->n_held; i++)
		add_chunk(part, part->held[i]);
	list_member(part);
}

/*
 * More is coming than can be held. It is deflated even if nothing shrank so far: what comes may.
 *
 * Whether the sizes need Zip64 fields has to be said now, as they make the header longer. The size
 * packed can only be more than the size itself by the headers of stored blocks.
 */
static void write_beginning(struct zip_part *part)
{
	struct zip_entry *entry = &part->member->entry;
	uint64_t most = entry->size;

	entry->method = part->member->is_stored ? ZIP_STORED : ZIP_DEFLATED;
	for (size_t i = 0; entry->method == ZIP_DEFLATED && i < part->n_held; i++)
		most -= part->held[i]->length - deflated_size(part, part->held[i]);
	if (entry->method == ZIP_DEFLATED)
		most += (entry->size / PACK_CHUNK + 1) *
		    (deflate_stored_size(PACK_CHUNK) - PACK_CHUNK);
	entry->has_large_header = entry->size >= ZIP_LARGE || most >= ZIP_LARGE;
	part_file_mark(&part->file);
	part_file_flush(&part->file);
	part->is_written = true;
	durable_leave_open(&part->file.file);
	entry->offset = part_file_position(&part->file);
	add_local_header(part);
	for (size_t i = 0; i < part->n_held; i++) {
		count_chunk(part, part->held[i]);
		add_chunk(part, part->held[i]);
	}
	part->n_held = 0;
}

static void write_end(struct zip_part *part)
{
	struct zip_entry *entry = &part->member->entry;
	struct durable *file = &part->file.file;
	uint8_t *header;

	part_file_flush(&part->file);
	header = part_file_room(&part->file);
	durable_patch(file, entry->offset, header, zip_local_header(header, entry), NULL);
	durable_settle(file);
	lane_wants_time(&part->lane, true);
	list_member(part);
}

/* --- parcels --- */

static bool prepare(struct parcel *parcel, struct packer *packer)
{
	const struct zip_member *member = parcel->entry;
	struct packing packing;

	if (parcel->kind != ZIP_BYTES || parcel->data == NULL)
		return true;
	packing = (struct packing){parcel->is_last, !member->is_sparse};
	parcel->crc = libdeflate_crc32(0, parcel->data, parcel->length);
	return member->is_stored ||
	    pack_chunk(packer, &packing, parcel->data, parcel->length, &parcel->packed);
}

static void let_go(struct lane *lane)
{
	struct zip_part *part = part_of(lane);

	if (part->n_held > 0)
		write_beginning(part);
}

/* True: the parcel is held. */
static bool put_bytes(struct zip_part *part, struct parcel *parcel)
{
	if (is_zeros(parcel) && !prepare_zeros(part))
		return false;
	if (!part->is_written) {
		part->held[part->n_held++] = parcel;
		if (parcel->is_last)
			write_whole(part);
		else if (part->n_held == CREW_HELD)
			write_beginning(part);
		return part->n_held > 0;
	}
	count_chunk(part, parcel);
	add_chunk(part, parcel);
	if (parcel->is_last)
		write_end(part);
	return false;
}

static void take_back(struct zip_part *part)
{
	if (part->is_written)
		part_file_go_back(&part->file);
	end_member(part);
}

static void finish(struct zip_part *part)
{
	struct durable *file = &part->file.file;
	struct error error;

	part_file_flush(&part->file);
	if (file->error.status == 0 && !zip_directory_write(&part->directory, file, &error))
		file->error = error;
	part_file_added(&part->file,
	    zip_end_records(part_file_room(&part->file), part->directory.entries,
		file->size - part->directory.size, part->directory.size));
	part_file_flush(&part->file);
	if (!durable_finish(file, &part->digest, &error))
		lane_fail(&part->lane, &error);
}

uint64_t zip_part_size(const struct zip_part *part)
{
	uint64_t offset = part_file_position(&part->file), size = part->directory.size;
	uint8_t end[ZIP_RECORD_LIMIT];

	return offset + size + zip_end_records(end, part->directory.entries, offset, size);
}

static bool put(struct lane *lane, struct parcel *parcel)
{
	struct zip_part *part = part_of(lane);
	bool is_lost = atomic_load(&lane->is_failed) || atomic_load(&lane->is_given_up);
	bool holds = false;

	switch (parcel->kind) {
	case ZIP_BYTES:
		part->member = parcel->entry;
		if (!is_lost)
			holds = put_bytes(part, parcel);
		else if (parcel->is_last)
			end_member(part);
		break;
	case ZIP_TAKE_BACK:
		take_back(part);
		break;
	case ZIP_SIZE:
		part->size = zip_part_size(part);
		break;
	case ZIP_CHECKPOINT:
		part_file_flush(&part->file);
		durable_checkpoint(&part->file.file, NULL);
		part->mark =
		    (struct writer_mark){part->file.file.size, part->directory.entries};
		break;
	case ZIP_FINISH:
	case ZIP_ABANDON:
		lane_wants_time(lane, false);
		if (parcel->kind == ZIP_FINISH && !is_lost) {
			finish(part);
			return false;
		}
		end_member(part);
		durable_abandon(&part->file.file);
		return false;
	}
	if (part->file.file.error.status != 0)
		lane_fail(lane, &part->file.file.error);
	return holds;
}

static bool use_time(struct lane *lane)
{
	return durable_catch_up(&part_of(lane)->file.file, CATCH_UP);
}

static const struct lane_ops zip_lane = {prepare, put, let_go, use_time};

bool zip_part_open(struct zip_part *part, struct crew *crew, const char *path, struct error *error)
{
	*part = (struct zip_part){0};
	lane_start(&part->lane, &zip_lane, crew);
	return part_file_open(&part->file, path, error);
}

bool zip_part_reopen(struct zip_part *part, struct crew *crew, const char *path,
    const struct writer_options *options, const struct writer_mark *mark, struct error *error)
{
	*part = (struct zip_part){0};
	lane_start(&part->lane, &zip_lane, crew);
	if (!part_file_reopen(&part->file, path, mark->length, error))
		return false;
	if (zip_again(&part->directory, &part->file.file, options, mark, error))
		return true;
	durable_abandon(&part->file.file);
	zip_part_free(part);
	return false;
}

void zip_part_free(struct zip_part *part)
{
	zip_directory_free(&part->directory);
	free(part->zeros.data[0]);
	free(part->zeros.data[1]);
	part_file_free(&part->file);
	*part = (struct zip_part){0};
}
