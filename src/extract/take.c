/*
 * Taking: see take.h.
 *
 * Several groups at a time, since their files lie mixed on the drive: folders first, then the files
 * in the order of the drive, each into the open part of its group. One pipeline reads them all;
 * files that are expected to be second names of another in the same part are left out of it, and
 * read by themselves in the rare case that a new part has begun between the two.
 */
#include "extract/take.h"

#include "base/bytes.h"
#include "extract/intake.h"
#include "extract/items.h"
#include "extract/order.h"

#include <stdlib.h>
#include <string.h>

#define ZIP_PATH_LIMIT 60000 /* the format counts a path in 16 bits */
#define MOST_GROUPS 64       /* whose parts are open at a time: each is a file and some memory */

/* The items of some groups that go into parts. */
struct batch {
	uint32_t *folders;  /* in the order of the plan */
	size_t n_folders;
	uint32_t *files;    /* in the order of reading */
	size_t n_files;
	uint32_t *reads;    /* of those, the ones that the pipeline reads */
	size_t n_reads;
};

uint64_t take_bytes(const struct plan *plan)
{
	uint64_t total = 0;

	for (size_t i = 0; i < plan->n_items; i++)
		if (item_is_wanted(&plan->items[i]))
			total += item_stored_size(plan, &plan->items[i]);
	return total;
}

static bool fits_format(struct take *take, uint32_t index)
{
	struct buf path = {0};
	bool fits;

	if (take->parts->format != FORMAT_ZIP)
		return true;
	plan_archive_path(take->plan, &take->plan->items[index], &path);
	fits = path.length <= ZIP_PATH_LIMIT;
	buf_free(&path);
	if (!fits) {
		take->outcomes->items[index].state = STATE_UNREADABLE;
		take->outcomes->items[index].reason = REASON_DAMAGED;
	}
	return fits;
}

static bool goes_into_part(struct take *take, uint32_t index)
{
	const struct item *item = &take->plan->items[index];

	if (item->group == NONE || item->kind == ITEM_LINK || !item_is_wanted(item))
		return false;
	return fits_format(take, index);
}

static bool is_done(const struct take *take, uint32_t index)
{
	return (take->outcomes->items[index].flags & OUTCOME_DONE) != 0;
}

/* Nothing more is to be done with the item; between two entries is the time for a checkpoint. */
static bool note_done(struct take *take, uint32_t index, struct error *error)
{
	take->outcomes->items[index].flags |= OUTCOME_DONE | (take->is_last_try ? OUTCOME_WAITED : 0);
	return (outcomes_note_change(take->outcomes, index) || error_no_memory(error)) &&
	    checkpoints_pass(take->checkpoints, take->done, error);
}

/* The item waits for the rounds. */
static bool note_aside(struct take *take, uint32_t index, struct error *error)
{
	if (!array_reserve(&take->aside, &take->aside_capacity, take->n_aside + 1,
		sizeof(*take->aside)))
		return error_no_memory(error);
	take->aside[take->n_aside++] = index;
	return checkpoints_pass(take->checkpoints, take->done, error);
}

static void free_batch(struct batch *batch)
{
	free(batch->folders);
	free(batch->files);
	free(batch->reads);
}

static bool fill_batch(struct take *take, struct batch *batch, size_t first, size_t end)
{
	size_t n = end - first;

	*batch = (struct batch){.folders = calloc(n, sizeof(uint32_t)),
	    .files = calloc(n, sizeof(uint32_t)), .reads = calloc(n, sizeof(uint32_t))};
	if (batch->folders == NULL || batch->files == NULL || batch->reads == NULL)
		return false;
	for (size_t i = first; i < end; i++) {
		if (!goes_into_part(take, (uint32_t)i))
			continue;
		if (take->plan->items[i].kind == ITEM_FILE)
			batch->files[batch->n_files++] = (uint32_t)i;
		else
			batch->folders[batch->n_folders++] = (uint32_t)i;
	}
	return order_sort(take->plan, batch->files, batch->n_files, take->careful);
}

/* Large files that may be the same as another are hashed before anything is decided. */
static bool hash_large(struct take *take, const struct batch *batch, struct error *error)
{
	struct pipeline *pipeline;
	size_t n = 0;
	bool good = true;

	for (size_t i = 0; i < batch->n_files; i++)
		if (item_stored_size(take->plan, &take->plan->items[batch->files[i]]) > TAKE_HELD &&
		    (take->outcomes->items[batch->files[i]].flags & OUTCOME_DIGEST) == 0 &&
		    !is_done(take, batch->files[i]) &&
		    same_is_candidate(&take->same, batch->files[i]))
			batch->reads[n++] = batch->files[i];
	if (n == 0)
		return true;
	pipeline = pipeline_open(take->plan, batch->reads, n, true, error);
	if (pipeline == NULL)
		return false;
	for (size_t i = 0; good && i < n; i++)
		good = intake_hash(take, pipeline, batch->reads[i], error) &&
		    (outcomes_note_change(take->outcomes, batch->reads[i]) ||
			error_no_memory(error)) &&
		    checkpoints_pass(take->checkpoints, take->done, error);
	pipeline_close(pipeline);
	return good;
}

/* Does an earlier file of the group have the same stream or, as hashed before, the same content? */
static bool expects_same(struct take *take, struct map *seen, uint32_t index, bool *failed)
{
	const struct item *item = &take->plan->items[index];
	const struct outcome *outcome = &take->outcomes->items[index];
	uint64_t keys[2];
	size_t n = 0;
	bool known = false;

	if (!take->same.once)
		return false;
	/* Streams and contents share the map: volumes are few, so the former have small numbers. */
	if (same_has_names(take->plan, item))
		keys[n++] = same_key(item_stream_key(item), item->group);
	if ((outcome->flags & OUTCOME_DIGEST) != 0)
		keys[n++] = same_key(
		    get_u64(outcome->digest.bytes) | UINT64_C(1) << 63, item->group);
	for (size_t i = 0; i < n; i++) {
		known = known || map_get(seen, keys[i]) != MAP_NONE;
		if (!map_put(seen, keys[i], index))
			*failed = true;
	}
	return known;
}

static bool choose_reads(struct take *take, struct batch *batch)
{
	struct map seen = {0};
	bool failed = false;

	batch->n_reads = 0;
	for (size_t i = 0; i < batch->n_files; i++)
		if (!expects_same(take, &seen, batch->files[i], &failed) &&
		    !is_done(take, batch->files[i]))
			batch->reads[batch->n_reads++] = batch->files[i];
	map_free(&seen);
	return !failed;
}

static bool store_folder(struct take *take, uint32_t index, struct error *error)
{
	struct outcome *outcome = &take->outcomes->items[index];
	struct buf path = {0};
	struct member member;
	bool good = intake_member(take, index, &path, &member, error) &&
	    parts_enter(take->parts, take->plan->items[index].group,
		writer_cost(take->parts->format, member.path, 0), error) &&
	    writer_begin(parts_writer(take->parts), &member, error) &&
	    writer_end(parts_writer(take->parts), error);

	if (good) {
		outcome->part = parts_current(take->parts);
		outcome->flags |= OUTCOME_STORED;
	}
	buf_free(&path);
	return good;
}

/* The item in the open part that this one is another name for, if that has room for the name. */
static uint32_t find_target(struct take *take, uint32_t index, bool *by_content)
{
	uint32_t target = NONE;
	struct buf path = {0};
	uint32_t part;

	plan_archive_path(take->plan, &take->plan->items[index], &path);
	part = parts_open_for(take->parts, take->plan->items[index].group,
	    writer_cost(take->parts->format, buf_text(&path), path.length));
	buf_free(&path);
	*by_content = false;
	if (part != NONE)
		target = same_stream_in_part(&take->same, index, part);
	if (target != NONE || part == NONE ||
	    (take->outcomes->items[index].flags & OUTCOME_DIGEST) == 0)
		return target;
	*by_content = true;
	return same_content_in_part(&take->same, index, part);
}

/* A file that was expected to be another name of one in the open part. */
static bool store_same(struct take *take, uint32_t index, bool *set_aside, struct error *error)
{
	struct pipeline *pipeline;
	bool by_content, good;
	uint32_t target = find_target(take, index, &by_content);

	if (target != NONE) {
		take->done += item_stored_size(take->plan, &take->plan->items[index]);
		rounds_forget(take->plan, &take->plan->items[index]);
		return intake_same(take, index, target, by_content, error);
	}
	pipeline = pipeline_open(take->plan, &index, 1, false, error);
	if (pipeline == NULL)
		return false;
	good = intake_file(take, pipeline, index, set_aside, error);
	pipeline_close(pipeline);
	return good;
}

static bool store_files(struct take *take, const struct batch *batch, struct error *error)
{
	struct pipeline *pipeline = NULL;
	size_t next = 0;
	bool good = true;

	if (batch->n_reads > 0 &&
	    (pipeline = pipeline_open(
		 take->plan, batch->reads, batch->n_reads, false, error)) == NULL)
		return false;
	for (size_t i = 0; good && i < batch->n_files; i++) {
		bool set_aside = false;

		if (is_done(take, batch->files[i]))
			continue;
		if (next < batch->n_reads && batch->reads[next] == batch->files[i])
			good = intake_file(take, pipeline, batch->reads[next++], &set_aside, error);
		else
			good = store_same(take, batch->files[i], &set_aside, error);
		good = good && (set_aside ? note_aside(take, batch->files[i], error) :
					    note_done(take, batch->files[i], error));
	}
	pipeline_close(pipeline);
	return good;
}

static bool store_batch(struct take *take, const struct batch *batch, struct error *error)
{
	for (size_t i = 0; i < batch->n_folders; i++) {
		if (is_done(take, batch->folders[i]))
			continue;
		if (!store_folder(take, batch->folders[i], error) ||
		    !note_done(take, batch->folders[i], error))
			return false;
	}
	return store_files(take, batch, error);
}

/* What was stored before the job was cut off, in the same order as then. */
static bool recall_stored(struct take *take, const struct batch *batch)
{
	for (size_t i = 0; i < batch->n_files; i++) {
		const struct outcome *outcome = &take->outcomes->items[batch->files[i]];

		if (!is_done(take, batch->files[i]))
			continue;
		take->done += item_stored_size(take->plan, &take->plan->items[batch->files[i]]);
		if ((outcome->flags & OUTCOME_STORED) != 0 && outcome->same_as == NONE &&
		    !same_note_stored(&take->same, batch->files[i]))
			return false;
	}
	return true;
}

/* The parts of the last groups stay open: what was set aside may belong to them. */
static bool take_groups(
    struct take *take, size_t first, size_t end, bool are_last, struct error *error)
{
	struct batch batch;
	bool good = fill_batch(take, &batch, first, end) &&
	    same_enter_groups(&take->same, batch.files, batch.n_files) &&
	    recall_stored(take, &batch);

	if (!good)
		error_no_memory(error);
	good = good && hash_large(take, &batch, error);
	if (good && !choose_reads(take, &batch))
		good = error_no_memory(error);
	good = good && store_batch(take, &batch, error) &&
	    (are_last || take->parts->format == FORMAT_FOLDER || parts_finish(take->parts, error)) &&
	    checkpoints_make(take->checkpoints, take->done, error);
	free_batch(&batch);
	return good;
}

/* Rounds over what did not read at first, and then the files that waited for them. */
static bool take_aside(struct take *take, struct rounds_result *result, struct error *error)
{
	struct batch batch = {.files = take->aside, .n_files = take->n_aside};
	bool good;

	if (!rounds_run(take->plan, take->aside, take->n_aside, take->progress, take->done,
		result, error))
		return false;
	take->is_last_try = true;
	if (take->n_aside == 0)
		return true;
	rounds_set_reserve(take->plan->survey, 0); /* nothing is kept from now on */
	batch.reads = calloc(take->n_aside, sizeof(uint32_t));
	good = (batch.reads != NULL &&
		   order_sort(take->plan, batch.files, batch.n_files, take->careful) &&
		   choose_reads(take, &batch)) ||
	    error_no_memory(error);
	good = good && store_files(take, &batch, error);
	free(batch.reads);
	return good;
}

/* Index behind the last item of the groups that are taken together with that of items[first]. */
static size_t end_of_groups(const struct outcomes *outcomes, size_t first)
{
	const struct item *items = outcomes->plan->items;
	size_t end = first, n_groups = 0;

	while (end < outcomes->n_items && n_groups < MOST_GROUPS) {
		uint32_t group = items[end].group;

		while (end < outcomes->n_items && items[end].group == group)
			end++;
		n_groups++;
	}
	return end;
}

/* Second names point at the first one, wherever that went. */
static void point_at_firsts(struct take *take)
{
	for (size_t i = 0; i < take->outcomes->n_items; i++) {
		struct outcome *outcome = &take->outcomes->items[i];

		if (outcome->state == STATE_SAME && outcome->same_as == NONE)
			outcome->same_as = same_first(&take->same, (uint32_t)i);
	}
}

bool take_all(const struct plan *plan, struct checkpoints *checkpoints,
    const struct take_choices *choices, struct progress *progress, struct rounds_result *rounds,
    struct error *error)
{
	struct parts *parts = checkpoints->parts;
	struct outcomes *outcomes = checkpoints->outcomes;
	struct take take = {.plan = plan, .parts = parts, .outcomes = outcomes,
	    .checkpoints = checkpoints, .progress = progress, .careful = choices->careful,
	    .waits = choices->waits};
	bool once = choices->once, good = same_start(&take.same, outcomes, once);

	take.held = once ? malloc(TAKE_HELD) : NULL;
	if (!good || (once && take.held == NULL))
		good = error_no_memory(error);
	for (size_t first = 0, end; good && first < outcomes->n_items; first = end) {
		end = end_of_groups(outcomes, first);
		good = take_groups(&take, first, end, end >= outcomes->n_items, error);
	}
	good = good && take_aside(&take, rounds, error) && parts_finish(parts, error) &&
	    checkpoints_make(checkpoints, take.done, error);
	if (good)
		point_at_firsts(&take);
	parts_abandon(parts);
	same_free(&take.same);
	free(take.held);
	free(take.aside);
	arena_free(&take.arena);
	return good;
}
