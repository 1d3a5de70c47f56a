/* Taking up a job that was cut off: see restore.h. */
#include "extract/restore.h"

#include "extract/durable.h"
#include "extract/leftovers.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct restore {
	const struct head_read *read;
	struct parts *parts;
	struct outcomes *outcomes;
	struct unfinished_part *open; /* as the latest checkpoint has it */
	size_t n_open, open_capacity;
	struct error *error;
};

/* --- numbers --- */

static json_int_t number_at(const json_t *array, size_t index)
{
	const json_t *value = json_array_get(array, index);

	return json_is_integer(value) ? json_integer_value(value) : -2;
}

/* A number that is there, not negative and below the limit. */
static bool count_at(const json_t *array, size_t index, uint64_t limit, uint64_t *out)
{
	json_int_t number = number_at(array, index);

	*out = (uint64_t)number;
	return number >= 0 && (uint64_t)number < limit;
}

/* An index below the limit, or -1 for NONE. */
static bool index_at(const json_t *array, size_t index, uint64_t limit, uint32_t *out)
{
	json_int_t number = number_at(array, index);

	*out = number == -1 ? NONE : (uint32_t)number;
	return number == -1 || (number >= 0 && (uint64_t)number < limit);
}

static bool digest_at(const json_t *array, size_t index, struct digest *digest)
{
	const char *text = json_string_value(json_array_get(array, index));

	return text != NULL && strlen(text) == 2 * DIGEST_SIZE && digest_from_hex(text, digest);
}

/* --- lines. Each is false when it cannot be: the journal is damaged, or memory ran out --- */

static bool take_part(struct restore *restore, const json_t *value)
{
	const char *name = json_string_value(json_array_get(value, 0));
	uint32_t group;

	return name != NULL && index_at(value, 1, restore->parts->plan->n_groups, &group) &&
	    parts_recall(restore->parts, name, group);
}

static bool take_ranges(struct restore *restore, const json_t *value)
{
	struct outcomes *outcomes = restore->outcomes;

	(void)value;
	if (outcomes->n_ranges >= NONE ||
	    !array_reserve(&outcomes->ranges, &outcomes->ranges_capacity, outcomes->n_ranges + 1,
		sizeof(*outcomes->ranges)))
		return false;
	outcomes->ranges[outcomes->n_ranges++] = (struct ranges){{0}, {0}};
	return true;
}

static bool add_holes(struct holes *holes, const json_t *value)
{
	for (size_t i = 0; i < json_array_size(value); i++) {
		const json_t *range = json_array_get(value, i);
		uint64_t offset, length;

		if (!count_at(range, 0, INT64_MAX, &offset) ||
		    !count_at(range, 1, INT64_MAX, &length) || length == 0)
			return false;
		holes_add(holes, offset, length);
	}
	return !holes->failed;
}

static bool take_holes(struct restore *restore, const json_t *value)
{
	struct outcomes *outcomes = restore->outcomes;

	return outcomes->n_ranges > 0 &&
	    add_holes(&outcomes->ranges[outcomes->n_ranges - 1].holes, value);
}

static bool take_missing(struct restore *restore, const json_t *value)
{
	struct outcomes *outcomes = restore->outcomes;

	return outcomes->n_ranges > 0 &&
	    add_holes(&outcomes->ranges[outcomes->n_ranges - 1].missing, value);
}

static bool take_pieces(struct restore *restore, const json_t *value)
{
	struct outcomes *outcomes = restore->outcomes;

	for (size_t i = 0; i < json_array_size(value); i++) {
		const json_t *of = json_array_get(value, i);
		struct piece piece;

		if (!index_at(of, 0, restore->parts->count, &piece.part) || piece.part == NONE ||
		    !count_at(of, 1, INT64_MAX, &piece.size) || !digest_at(of, 2, &piece.digest) ||
		    outcomes->n_pieces >= NONE ||
		    !array_reserve(&outcomes->pieces, &outcomes->pieces_capacity,
			outcomes->n_pieces + 1, sizeof(piece)))
			return false;
		outcomes->pieces[outcomes->n_pieces++] = piece;
	}
	return true;
}

static bool take_item(struct restore *restore, const json_t *of)
{
	struct outcomes *outcomes = restore->outcomes;
	uint64_t item, state, reason, note, flags, n_pieces;
	struct outcome outcome = {0};

	if (!count_at(of, 0, outcomes->n_items, &item) || !count_at(of, 1, STATE_COUNT, &state) ||
	    !count_at(of, 2, REASON_COUNT, &reason) || !count_at(of, 3, NOTE_COUNT, &note) ||
	    !count_at(of, 4, OUTCOME_ALL + 1, &flags) ||
	    !index_at(of, 5, restore->parts->count, &outcome.part) ||
	    !index_at(of, 6, outcomes->n_items, &outcome.same_as) ||
	    !index_at(of, 7, outcomes->n_pieces, &outcome.first_piece) ||
	    !count_at(of, 8, UINT32_MAX, &n_pieces) ||
	    !index_at(of, 9, outcomes->n_ranges, &outcome.ranges))
		return false;
	outcome.state = (uint8_t)state;
	outcome.reason = (uint8_t)reason;
	outcome.note = (uint8_t)note;
	outcome.flags = (uint8_t)flags;
	outcome.n_pieces = (uint32_t)n_pieces;
	if (n_pieces > 0 && (outcome.first_piece == NONE ||
		n_pieces > outcomes->n_pieces - outcome.first_piece))
		return false;
	if ((flags & OUTCOME_STORED) != 0 && outcome.part == NONE)
		return false;
	if ((flags & OUTCOME_DIGEST) != 0 && !digest_at(of, 10, &outcome.digest))
		return false;
	outcomes->items[item] = outcome;
	return true;
}

static bool take_items(struct restore *restore, const json_t *value)
{
	for (size_t i = 0; i < json_array_size(value); i++)
		if (!take_item(restore, json_array_get(value, i)))
			return false;
	return true;
}

static bool take_finished(struct restore *restore, const json_t *value)
{
	struct part *part;
	uint64_t index;

	if (!count_at(value, 0, restore->parts->count, &index))
		return false;
	part = &restore->parts->items[index];
	part->is_finished = true;
	return count_at(value, 1, INT64_MAX, &part->files) &&
	    count_at(value, 2, INT64_MAX, &part->bytes) &&
	    count_at(value, 3, INT64_MAX, &part->size) && digest_at(value, 4, &part->digest);
}

static bool take_checkpoint(struct restore *restore, const json_t *value)
{
	const json_t *list = json_object_get(value, "open");

	restore->n_open = 0;
	for (size_t i = 0; i < json_array_size(list); i++) {
		const json_t *of = json_array_get(list, i);
		struct unfinished_part open;
		uint64_t part;

		if (!count_at(of, 0, restore->parts->count, &part) ||
		    restore->parts->items[part].is_finished ||
		    !count_at(of, 1, INT64_MAX, &open.files) ||
		    !count_at(of, 2, INT64_MAX, &open.bytes) ||
		    !count_at(of, 3, INT64_MAX, &open.mark.length) ||
		    !count_at(of, 4, INT64_MAX, &open.mark.entries) ||
		    !array_reserve(&restore->open, &restore->open_capacity, restore->n_open + 1,
			sizeof(open)))
			return false;
		open.part = (uint32_t)part;
		restore->open[restore->n_open++] = open;
	}
	return true;
}

static bool take_move(struct restore *restore, const json_t *value)
{
	(void)value;
	parts_recall_move(restore->parts);
	return true;
}

static bool take_line(void *about, const json_t *object, uint64_t end, struct error *error)
{
	static const struct {
		const char *key;
		bool (*take)(struct restore *restore, const json_t *value);
	} lines[] = {{"part", take_part}, {"ranges", take_ranges}, {"holes", take_holes},
	    {"missing", take_missing}, {"pieces", take_pieces}, {"items", take_items},
	    {"finished", take_finished}, {"checkpoint", take_checkpoint},
	    {JOURNAL_MOVED, take_move}};
	struct restore *restore = about;

	if (end > restore->read->noted)
		return true;
	for (size_t i = 0; i < sizeof(lines) / sizeof(lines[0]); i++) {
		const json_t *value = json_object_get(object, lines[i].key);

		if (value != NULL && !lines[i].take(restore, value))
			return error_set(error, STATUS_DESTINATION,
			    "the job's journal is damaged; begin a new job without --resume");
	}
	return true;
}

/* --- the parts --- */

static bool check_finished(const struct parts *parts, const struct part *part, struct error *error)
{
	char *path = job_path(parts->job, part->name);
	struct stat info;
	bool good = path != NULL || error_no_memory(error);

	if (good && (lstat(path, &info) != 0 ||
	    (parts->format == FORMAT_FOLDER ? !S_ISDIR(info.st_mode) :
	    !S_ISREG(info.st_mode) || (uint64_t)info.st_size != part->size)))
		good = error_set(error, STATUS_DESTINATION,
		    "'%s' was finished, and is not in the job any more as it was; put it back, or "
		    "begin a new job without --resume",
		    part->name);
	free(path);
	return good;
}

/* Its files are to be taken again. */
static void forget_part(struct restore *restore, uint32_t part)
{
	struct outcomes *outcomes = restore->outcomes;

	restore->parts->items[part].files = restore->parts->items[part].bytes = 0;
	for (size_t i = 0; i < outcomes->n_items; i++)
		if (outcomes->items[i].part == part)
			outcomes->items[i] = outcome_planned(outcomes, i);
}

static bool reopen(struct restore *restore, const struct unfinished_part *open, struct error *error)
{
	struct part *part = &restore->parts->items[open->part];
	bool whole;

	part->files = open->files;
	part->bytes = open->bytes;
	if (!leftovers_take_back(restore->parts, part, open->mark.length, &whole, error))
		return false;
	if (!whole)
		forget_part(restore, open->part);
	return parts_reopen(restore->parts, restore->outcomes, open->part,
	    whole ? &open->mark : NULL, error);
}

static bool is_open(const struct restore *restore, uint32_t part)
{
	for (size_t i = 0; i < restore->n_open; i++)
		if (restore->open[i].part == part)
			return true;
	return false;
}

/*
 * A folder that was begun and is in no checkpoint yet: what is in it is replaced file by file, as it
 * is taken again.
 */
static bool adopt_folder(struct restore *restore, struct error *error)
{
	struct parts *parts = restore->parts;
	struct unfinished_part open = {.part = (uint32_t)parts->count};
	char *name = parts_next_folder(parts);
	bool good = name != NULL || error_no_memory(error);

	if (good && leftovers_has_folder(parts, name)) {
		good = (parts_recall(parts, name, NONE) &&
			array_reserve(&restore->open, &restore->open_capacity, 1, sizeof(open))) ||
		    error_no_memory(error);
		if (good)
			restore->open[restore->n_open++] = open;
	}
	free(name);
	return good;
}

/* Every finished part is there, unless it lies at an earlier destination. */
static bool check_parts(const struct restore *restore, struct error *error)
{
	const struct parts *parts = restore->parts;

	for (size_t i = 0; i < parts->count; i++) {
		const struct part *part = &parts->items[i];

		if (!part->is_finished && !is_open(restore, (uint32_t)i))
			return error_set(error, STATUS_DESTINATION,
			    "the job's journal is damaged; begin a new job without --resume");
		if (part->is_finished && part->destination == parts->destination &&
		    !check_finished(parts, part, error))
			return false;
	}
	return true;
}

static bool restore_parts(struct restore *restore, struct error *error)
{
	struct parts *parts = restore->parts;

	if (parts->format == FORMAT_FOLDER && restore->n_open == 0 && !adopt_folder(restore, error))
		return false;
	if (!check_parts(restore, error) || !leftovers_remove(parts, error))
		return false;
	for (size_t i = 0; i < restore->n_open; i++)
		if (!reopen(restore, &restore->open[i], error))
			return false;
	return true;
}

static bool read_lines(struct restore *restore, struct error *error)
{
	char *path = job_path(restore->parts->job, JOB_JOURNAL);
	bool good = path != NULL ? journal_read(path, take_line, restore, error) :
				   error_no_memory(error);

	free(path);
	return good;
}

bool restore_read(const struct head_read *read, struct parts *parts, struct outcomes *outcomes,
    struct unfinished_part **open, size_t *n_open, struct error *error)
{
	struct restore restore = {.read = read, .parts = parts, .outcomes = outcomes};
	bool good = read_lines(&restore, error) && check_parts(&restore, error);

	*open = restore.open;
	*n_open = restore.n_open;
	return good;
}

bool restore_job(const struct head_read *read, struct parts *parts, struct outcomes *outcomes,
    struct error *error)
{
	struct restore restore = {.read = read, .parts = parts, .outcomes = outcomes};
	bool good = read_lines(&restore, error) && restore_parts(&restore, error);

	free(restore.open);
	return good;
}
