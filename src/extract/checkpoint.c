/* Checkpoints in the journal: see checkpoint.h. */
#include "extract/checkpoint.h"

#include "base/json.h"
#include "extract/rounds.h"

#include <errno.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <time.h>

#define ITEMS_A_LINE 500 /* keeps lines far below JOURNAL_LINE */

static int64_t steady_seconds(void)
{
	struct timespec now = {0};

	clock_gettime(CLOCK_MONOTONIC, &now);
	return now.tv_sec;
}

static size_t count_finished(const struct parts *parts)
{
	size_t count = 0;

	for (size_t i = 0; i < parts->count; i++)
		count += parts->items[i].is_finished;
	return count;
}

void checkpoints_start(struct checkpoints *checkpoints, struct journal *journal,
    struct parts *parts, struct outcomes *outcomes, uint64_t every)
{
	*checkpoints = (struct checkpoints){.journal = journal, .parts = parts,
	    .outcomes = outcomes, .every = every == 0 ? CHECKPOINT_BYTES : every,
	    .at_seconds = steady_seconds(), .n_parts = parts->count,
	    .n_ranges = outcomes->n_ranges, .n_pieces = outcomes->n_pieces,
	    .n_finished = count_finished(parts)};
	for (size_t i = 0; i < parts->count; i++)
		parts->items[i].is_noted = parts->items[i].is_finished;
	outcomes->notes_changes = true;
}

void checkpoints_free(struct checkpoints *checkpoints)
{
	buf_free(&checkpoints->line);
	*checkpoints = (struct checkpoints){0};
}

/* --- lines --- */

static void begin(struct checkpoints *checkpoints, struct json *json, const char *key)
{
	buf_clear(&checkpoints->line);
	json_start(json, &checkpoints->line, false);
	json_begin_object(json);
	json_key(json, key);
}

static bool end(struct checkpoints *checkpoints, struct json *json, struct error *error)
{
	json_end(json);
	return journal_add(checkpoints->journal, &checkpoints->line, error);
}

/* An index; -1 for NONE. */
static void put_index(struct json *json, uint32_t index)
{
	json_signed(json, index == NONE ? -1 : (int64_t)index);
}

static void put_digest(struct json *json, const struct digest *digest)
{
	json_text(json, digest_to_text(digest).text);
}

static bool add_parts(struct checkpoints *checkpoints, struct error *error)
{
	struct json json;
	bool good = true;

	for (; good && checkpoints->n_parts < checkpoints->parts->count; checkpoints->n_parts++) {
		const struct part *part = &checkpoints->parts->items[checkpoints->n_parts];

		begin(checkpoints, &json, "part");
		json_begin_array(&json);
		json_text(&json, part->name);
		put_index(&json, part->group);
		json_end(&json);
		good = end(checkpoints, &json, error);
	}
	return good;
}

static bool add_holes(struct checkpoints *checkpoints, const char *key, const struct holes *holes,
    struct error *error)
{
	struct json json;
	bool good = true;

	for (size_t i = 0; good && i < holes->count;) {
		begin(checkpoints, &json, key);
		json_begin_array(&json);
		for (size_t n = 0; n < ITEMS_A_LINE && i < holes->count; n++, i++) {
			json_begin_array(&json);
			json_unsigned(&json, holes->items[i].offset);
			json_unsigned(&json, holes->items[i].length);
			json_end(&json);
		}
		json_end(&json);
		good = end(checkpoints, &json, error);
	}
	return good;
}

static bool add_ranges(struct checkpoints *checkpoints, struct error *error)
{
	const struct outcomes *outcomes = checkpoints->outcomes;
	struct json json;
	bool good = true;

	for (; good && checkpoints->n_ranges < outcomes->n_ranges; checkpoints->n_ranges++) {
		const struct ranges *ranges = &outcomes->ranges[checkpoints->n_ranges];

		begin(checkpoints, &json, "ranges");
		json_unsigned(&json, 1);
		good = end(checkpoints, &json, error) &&
		    add_holes(checkpoints, "holes", &ranges->holes, error) &&
		    add_holes(checkpoints, "missing", &ranges->missing, error);
	}
	return good;
}

static bool add_pieces(struct checkpoints *checkpoints, struct error *error)
{
	const struct outcomes *outcomes = checkpoints->outcomes;
	struct json json;
	bool good = true;

	while (good && checkpoints->n_pieces < outcomes->n_pieces) {
		begin(checkpoints, &json, "pieces");
		json_begin_array(&json);
		for (size_t n = 0; n < ITEMS_A_LINE && checkpoints->n_pieces < outcomes->n_pieces;
		     n++) {
			const struct piece *piece = &outcomes->pieces[checkpoints->n_pieces++];

			json_begin_array(&json);
			put_index(&json, piece->part);
			json_unsigned(&json, piece->size);
			put_digest(&json, &piece->digest);
			json_end(&json);
		}
		json_end(&json);
		good = end(checkpoints, &json, error);
	}
	return good;
}

static void put_item(struct json *json, uint32_t item, const struct outcome *outcome)
{
	json_begin_array(json);
	json_unsigned(json, item);
	json_unsigned(json, outcome->state);
	json_unsigned(json, outcome->reason);
	json_unsigned(json, outcome->note);
	json_unsigned(json, outcome->flags);
	put_index(json, outcome->part);
	put_index(json, outcome->same_as);
	put_index(json, outcome->first_piece);
	json_unsigned(json, outcome->n_pieces);
	put_index(json, outcome->ranges);
	if ((outcome->flags & OUTCOME_DIGEST) != 0)
		put_digest(json, &outcome->digest);
	json_end(json);
}

static bool add_items(struct checkpoints *checkpoints, struct error *error)
{
	struct outcomes *outcomes = checkpoints->outcomes;
	struct json json;
	bool good = true;

	for (size_t i = 0; good && i < outcomes->n_changed;) {
		begin(checkpoints, &json, "items");
		json_begin_array(&json);
		for (size_t n = 0; n < ITEMS_A_LINE && i < outcomes->n_changed; n++, i++)
			put_item(&json, outcomes->changed[i],
			    &outcomes->items[outcomes->changed[i]]);
		json_end(&json);
		good = end(checkpoints, &json, error);
	}
	outcomes->n_changed = 0;
	return good;
}

/* Size of the part's file; 0 for the folder. */
static bool size_of(const struct parts *parts, struct part *part, struct error *error)
{
	char *path = job_path(parts->job, part->name);
	struct stat info;
	bool good = path != NULL || error_no_memory(error);

	if (good && stat(path, &info) != 0)
		good = durable_failed(error, errno, path);
	else if (good && S_ISREG(info.st_mode))
		part->size = (uint64_t)info.st_size;
	free(path);
	return good;
}

static bool add_finished(struct checkpoints *checkpoints, struct error *error)
{
	struct parts *parts = checkpoints->parts;
	struct json json;

	for (size_t i = 0; i < parts->count; i++) {
		struct part *part = &parts->items[i];

		if (!part->is_finished || part->is_noted)
			continue;
		if (!size_of(parts, part, error))
			return false;
		begin(checkpoints, &json, "finished");
		json_begin_array(&json);
		json_unsigned(&json, i);
		json_unsigned(&json, part->files);
		json_unsigned(&json, part->bytes);
		json_unsigned(&json, part->size);
		put_digest(&json, &part->digest);
		json_end(&json);
		if (!end(checkpoints, &json, error))
			return false;
		part->is_noted = true;
		checkpoints->n_finished++;
	}
	return true;
}

/* --- the checkpoint --- */

static uint64_t finished_bytes(const struct parts *parts)
{
	uint64_t bytes = 0;

	for (size_t i = 0; i < parts->count; i++)
		bytes += parts->items[i].is_finished ? parts->items[i].size : 0;
	return bytes;
}

/* Syncs the open parts, and adds the line that makes all before it count. */
static bool add_checkpoint(struct checkpoints *checkpoints, struct error *error)
{
	struct parts *parts = checkpoints->parts;
	uint64_t stored = finished_bytes(parts);
	struct json json;

	begin(checkpoints, &json, "checkpoint");
	json_begin_object(&json);
	json_key(&json, "open");
	json_begin_array(&json);
	for (size_t i = 0; i < parts->n_open; i++) {
		const struct open_part *open = &parts->open[i];
		struct writer_mark mark;

		if (open->writer == NULL)
			continue;
		if (!writer_checkpoint(open->writer, &mark, error))
			return false;
		json_begin_array(&json);
		json_unsigned(&json, open->part);
		json_unsigned(&json, parts->items[open->part].files);
		json_unsigned(&json, parts->items[open->part].bytes);
		json_unsigned(&json, mark.length);
		json_unsigned(&json, mark.entries);
		json_end(&json);
		stored += parts->format == FORMAT_FOLDER ? parts->items[open->part].bytes :
							   mark.length;
	}
	json_end(&json);
	json_key_unsigned(&json, "stored", stored);
	json_end(&json);
	return end(checkpoints, &json, error);
}

bool checkpoints_make(struct checkpoints *checkpoints, uint64_t done, struct error *error)
{
	if (checkpoints->journal == NULL)
		return true;
	checkpoints->at = done;
	checkpoints->at_seconds = steady_seconds();
	return rounds_sync(checkpoints->outcomes->plan->survey, error) &&
	    add_parts(checkpoints, error) && add_ranges(checkpoints, error) &&
	    add_pieces(checkpoints, error) && add_items(checkpoints, error) &&
	    add_finished(checkpoints, error) && add_checkpoint(checkpoints, error) &&
	    journal_sync(checkpoints->journal, error);
}

bool checkpoints_pass(struct checkpoints *checkpoints, uint64_t done, struct error *error)
{
	/* A file that is set aside takes its bytes back. */
	uint64_t since = done > checkpoints->at ? done - checkpoints->at : 0;
	uint64_t after_part =
	    checkpoints->every < CHECKPOINT_PART_BYTES ? checkpoints->every : CHECKPOINT_PART_BYTES;

	if (checkpoints->journal == NULL)
		return true;
	if (since >= checkpoints->every ||
	    steady_seconds() - checkpoints->at_seconds >= CHECKPOINT_SECONDS ||
	    (since >= after_part && count_finished(checkpoints->parts) > checkpoints->n_finished))
		return checkpoints_make(checkpoints, done, error);
	return true;
}
