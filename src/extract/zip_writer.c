/*
 * Parts as zip files: the side of the thread that fills them.
 *
 * Files are cut into chunks of PACK_CHUNK bytes from their beginning, each of which is packed by
 * itself, so that what comes out depends on nothing but the files and their order. The rest is the
 * crew's (crew.h) and the part's (zip_part.h).
 */
#include "extract/writer_ops.h"
#include "extract/zip_part.h"

#include <stdlib.h>
#include <string.h>

struct zip_writer {
	struct writer base;
	struct zip_part part;
	struct crew *crew;
	bool owns_crew;
	struct zone zone;
	uint64_t bound; /* of the finished file's size, between two members */

	struct zip_member *member; /* in work, NULL: none */
	uint64_t size, done;       /* its bytes, and those handed over */
	uint64_t cost;             /* what it adds to the file at most */
	size_t n_parcels;
	struct parcel *parcel;     /* being filled, NULL: none */
	size_t filled;             /* bytes of it */
};

static bool zip_begin(struct writer *writer, const struct member *member, struct error *error)
{
	struct zip_writer *zip = (struct zip_writer *)writer;
	size_t length = strlen(member->path);
	bool is_folder = member->kind == MEMBER_FOLDER;
	struct zip_member *new;

	if (member->kind == MEMBER_SAME)
		return error_set(error, STATUS_OTHER, "a zip file cannot hold a hard link");
	if (length >= ZIP_NAME_LIMIT)
		return error_set(error, STATUS_OTHER, "a path is too long for a zip file");
	if (!lane_check(&zip->part.lane, error))
		return false;
	new = calloc(1, sizeof(*new) + length + 2);
	if (new == NULL)
		return error_no_memory(error);
	memcpy(new->name, member->path, length);
	if (is_folder)
		new->name[length++] = '/';
	new->entry = (struct zip_entry){
	    .name = new->name,
	    .name_length = length,
	    .is_folder = is_folder,
	    .is_readonly = member->is_readonly,
	    .size = is_folder ? 0 : member->size,
	    .modified = member->modified,
	    .accessed = member->accessed,
	    .created = member->created,
	};
	new->is_sparse = member->data != NULL;
	new->is_stored = member->is_compact && !new->is_sparse;
	zip_entry_set_time(&new->entry, &zip->zone);
	zip->member = new;
	zip->size = new->entry.size;
	zip->done = 0;
	zip->n_parcels = 0;
	zip->cost = writer_cost(FORMAT_ZIP, member->path, zip->size);
	return true;
}

/*
 * The next parcel: a chunk, or what is left of the file. With `are_zeros` without room for its
 * bytes.
 */
static struct parcel *add_parcel(struct zip_writer *zip, bool are_zeros, struct error *error)
{
	uint64_t left = zip->size - zip->done;
	size_t length = left < PACK_CHUNK ? (size_t)left : PACK_CHUNK;
	struct parcel *parcel = crew_add(zip->crew, &zip->part.lane, ZIP_BYTES, zip->member,
	    are_zeros ? 0 : length);

	if (parcel == NULL) {
		error_no_memory(error);
		return NULL;
	}
	parcel->length = parcel->packed = length;
	parcel->is_last = length == left;
	zip->n_parcels++;
	return parcel;
}

/* NULL: zeros. */
static bool add_bytes(struct zip_writer *zip, const uint8_t *data, uint64_t length,
    struct error *error)
{
	if (!lane_check(&zip->part.lane, error))
		return false;
	if (length > zip->size - zip->done)
		return error_set(error, STATUS_OTHER, "a file grew while it was read");
	while (length > 0) {
		size_t room, now;

		if (zip->parcel == NULL && data == NULL && length >= PACK_CHUNK) {
			if (add_parcel(zip, true, error) == NULL)
				return false;
			zip->done += PACK_CHUNK;
			length -= PACK_CHUNK;
			continue;
		}
		if (zip->parcel == NULL) {
			zip->parcel = add_parcel(zip, false, error);
			zip->filled = 0;
		}
		if (zip->parcel == NULL)
			return false;
		room = zip->parcel->length - zip->filled;
		now = length < room ? (size_t)length : room;
		if (data != NULL)
			memcpy(zip->parcel->data + zip->filled, data, now);
		else
			memset(zip->parcel->data + zip->filled, 0, now);
		data = data == NULL ? NULL : data + now;
		length -= now;
		zip->done += now;
		zip->filled += now;
		if (zip->filled == zip->parcel->length)
			zip->parcel = NULL;
	}
	return true;
}

static bool zip_data(struct writer *writer, const void *data, size_t length, struct error *error)
{
	return length == 0 || add_bytes((struct zip_writer *)writer, data, length, error);
}

static bool zip_zeros(struct writer *writer, uint64_t length, struct error *error)
{
	return add_bytes((struct zip_writer *)writer, NULL, length, error);
}

static bool zip_end(struct writer *writer, struct error *error)
{
	struct zip_writer *zip = (struct zip_writer *)writer;

	if (zip->done != zip->size)
		return error_set(error, STATUS_OTHER, "a file became shorter while it was read");
	if (zip->size == 0 && add_parcel(zip, true, error) == NULL)
		return false;
	zip->bound += zip->cost;
	zip->member = NULL; /* the crew's */
	return lane_check(&zip->part.lane, error);
}

/* Takes the member in work back from the crew; it is freed there, or here when it never arrived. */
static void drop_member(struct zip_writer *zip)
{
	if (zip->member == NULL)
		return;
	if (crew_take_back(zip->crew, &zip->part.lane, zip->member) == zip->n_parcels)
		free(zip->member);
	else
		crew_add(zip->crew, &zip->part.lane, ZIP_TAKE_BACK, zip->member, 0);
	zip->member = NULL;
	zip->parcel = NULL;
}

static bool zip_take_back(struct writer *writer, struct error *error)
{
	struct zip_writer *zip = (struct zip_writer *)writer;

	drop_member(zip);
	return lane_check(&zip->part.lane, error);
}

static uint64_t zip_size(struct writer *writer)
{
	struct zip_writer *zip = (struct zip_writer *)writer;

	crew_add(zip->crew, &zip->part.lane, ZIP_SIZE, NULL, 0);
	crew_wait(zip->crew);
	zip->bound = zip->part.size;
	return zip->part.size;
}

static uint64_t zip_bound(const struct writer *writer)
{
	return ((const struct zip_writer *)writer)->bound;
}

static bool zip_checkpoint(struct writer *writer, struct writer_mark *mark, struct error *error)
{
	struct zip_writer *zip = (struct zip_writer *)writer;

	crew_add(zip->crew, &zip->part.lane, ZIP_CHECKPOINT, NULL, 0);
	crew_wait(zip->crew);
	*mark = zip->part.mark;
	return lane_check(&zip->part.lane, error);
}

static void free_zip(struct zip_writer *zip)
{
	zip_part_free(&zip->part);
	if (zip->owns_crew)
		crew_close(zip->crew);
	free(zip);
}

static bool zip_finish(struct writer *writer, struct digest *digest, struct error *error)
{
	struct zip_writer *zip = (struct zip_writer *)writer;
	bool good;

	crew_add(zip->crew, &zip->part.lane, ZIP_FINISH, NULL, 0);
	crew_wait(zip->crew);
	good = lane_check(&zip->part.lane, error);
	if (good && digest != NULL)
		*digest = zip->part.digest;
	free_zip(zip);
	return good;
}

static void zip_abandon(struct writer *writer)
{
	struct zip_writer *zip = (struct zip_writer *)writer;

	atomic_store(&zip->part.lane.is_given_up, true);
	drop_member(zip);
	crew_add(zip->crew, &zip->part.lane, ZIP_ABANDON, NULL, 0);
	crew_wait(zip->crew);
	free_zip(zip);
}

static const struct writer_ops zip_ops = {zip_begin, zip_data, zip_zeros, zip_end, zip_take_back,
    zip_size, zip_bound, zip_checkpoint, zip_finish, zip_abandon};

struct writer *zip_writer_open(const char *path, const struct writer_options *options,
    const struct writer_mark *mark, struct error *error)
{
	struct zip_writer *zip = calloc(1, sizeof(*zip));

	if (zip == NULL) {
		error_no_memory(error);
		return NULL;
	}
	zip->base.ops = &zip_ops;
	zone_parse(&zip->zone, options->zone);
	zip->owns_crew = options->crew == NULL;
	zip->crew = zip->owns_crew ? crew_open(options->workers) : options->crew;
	if (zip->crew == NULL) {
		error_no_memory(error);
	} else if (mark == NULL ? zip_part_open(&zip->part, zip->crew, path, error) :
				  zip_part_reopen(&zip->part, zip->crew, path, options, mark, error)) {
		zip->bound = mark == NULL ? ZIP_RECORD_LIMIT : zip_part_size(&zip->part);
		return &zip->base;
	}
	if (zip->owns_crew)
		crew_close(zip->crew);
	free(zip);
	return NULL;
}
