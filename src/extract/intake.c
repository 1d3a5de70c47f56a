/* One file on its way into a part: see intake.h. */
#include "extract/intake.h"

#include "extract/interrupt.h"
#include "extract/items.h"
#include "extract/rounds.h"
#include "extract/sparse_map.h"

#include <string.h>

struct intake {
	struct take *take;
	uint32_t item;
	struct sha256_ctx hash;
	struct check check;
	struct ranges ranges;
	struct buf path;
	struct member member;
	struct sink sink;
	bool hold; /* into take->held, until it is known whether it is the same as another */
	size_t n_held;
	bool begun;         /* the sink is open */
	uint64_t unread;    /* bytes before that, none of which could be read */
	bool set_aside;
};

bool intake_member(struct take *take, uint32_t item, struct buf *path, struct member *member,
    struct error *error)
{
	const struct item *it = &take->plan->items[item];
	const struct node *node = item_node(take->plan, it);
	const struct stream *stream = item_stream(take->plan, it);
	const struct kind *kind;

	buf_clear(path);
	plan_archive_path(take->plan, it, path);
	if (path->failed)
		return error_no_memory(error);
	kind = it->kind == ITEM_FILE && it->form == FORM_CONTENT &&
		       item_stream_name(take->plan, it)[0] == '\0'
		   ? kind_of_name(item_name(take->plan, it))
		   : NULL;
	*member = (struct member){
	    .kind = it->kind == ITEM_FOLDER ? MEMBER_FOLDER : MEMBER_FILE,
	    .path = buf_text(path),
	    .size = item_stored_size(take->plan, it),
	    .created = node->created,
	    .modified = node->modified,
	    .accessed = node->accessed,
	    .is_readonly = it->kind == ITEM_FILE && (node->attributes & ATTRIBUTE_READONLY) != 0,
	    /* What the old system could compress or leave out is not compact, whatever its name. */
	    .is_compact =
		form_is_encrypted((enum item_form)it->form) ||
		(kind != NULL && kind->is_compact && stream != NULL &&
		    (stream->flags & (STREAM_COMPRESSED | STREAM_SPARSE | STREAM_CARRIED)) == 0),
	};
	return true;
}

/*
 * A drive that was unplugged by mistake, or whose adapter gave up, comes back: what it still has is
 * taken then. Only when everything else was taken counts what does not read.
 */
static bool has_gone(const struct take *take, const struct chunk *chunk, struct error *error)
{
	const struct plan *plan = take->plan;
	size_t volume = plan->items[chunk->item].volume;
	const struct survey_drive *drive =
		&plan->survey->drives[plan->survey->volumes[volume].drive];

	if (!take->waits || take->is_last_try || chunk->holes.count == 0 ||
	    !source_is_gone(drive->source))
		return false;
	error_set(error, STATUS_OTHER,
	    "the old drive %s%s%.80s%s is gone: it was unplugged, or has switched itself off; plug it "
	    "in again and go on; should it drop out again and again, --patience 1h ends the job "
	    "with what it gave",
	    drive->about.path, *drive->about.model != '\0' ? " (" : "", drive->about.model,
	    *drive->about.model != '\0' ? ")" : "");
	return true;
}

/* The next chunk of the file. */
static bool next_chunk(struct take *take, struct pipeline *pipeline, uint32_t item,
    const struct chunk **chunk, struct error *error)
{
	if (interrupt_seen())
		return error_set(error, STATUS_OTHER, "stopped as asked");
	if (!pipeline_next(pipeline, chunk, error))
		return false;
	if (*chunk == NULL || (*chunk)->item != item)
		return error_set(error, STATUS_OTHER, "reading and writing are out of step");
	if (has_gone(take, *chunk, error))
		return false;
	take->done += (*chunk)->length;
	return true;
}

static void add_holes(struct holes *to, const struct holes *from)
{
	for (size_t i = 0; i < from->count; i++)
		holes_add(to, from->items[i].offset, from->items[i].length);
}

static bool begin(struct intake *intake, struct error *error)
{
	struct take *take = intake->take;

	intake->begun = true;
	if (take->parts->format != FORMAT_FOLDER &&
	    !sparse_map(take->plan, &take->plan->items[intake->item], &take->arena,
		&intake->member.data, &intake->member.n_data))
		return error_no_memory(error);
	return sink_begin(&intake->sink, take->parts, take->outcomes, intake->item, &intake->member,
		   error) &&
	    sink_add(&intake->sink, NULL, intake->unread, error);
}

static void hold(struct intake *intake, const struct chunk *chunk)
{
	uint8_t *to = intake->take->held + intake->n_held;

	if (chunk->data != NULL)
		memcpy(to, chunk->data, (size_t)chunk->length);
	else
		memset(to, 0, (size_t)chunk->length);
	intake->n_held += (size_t)chunk->length;
}

/* Has the file met something that a later round may read? */
static bool must_wait(const struct intake *intake, const struct chunk *chunk)
{
	const struct take *take = intake->take;

	return chunk->holes.count > 0 && !take->is_last_try &&
	    rounds_concern(take->plan, &take->plan->items[intake->item]);
}

/* Its part is as if it had never been there; the rest of it is only read, for the store. */
static bool set_aside(struct intake *intake, struct error *error)
{
	bool was_begun = intake->begun;

	intake->set_aside = true;
	intake->begun = false;
	return !was_begun || sink_go_back(&intake->sink, error);
}

static bool absorb(struct intake *intake, const struct chunk *chunk, struct error *error)
{
	bool unread = chunk->data != NULL && chunk->length > 0 &&
	    holes_total(&chunk->holes) >= chunk->length;

	if (intake->set_aside)
		return true;
	if (must_wait(intake, chunk))
		return set_aside(intake, error);
	if (chunk->data != NULL) {
		sha256_update(&intake->hash, (size_t)chunk->length, chunk->data);
		check_data(&intake->check, chunk->data, (size_t)chunk->length);
	} else {
		digest_zeros(&intake->hash, chunk->length);
		check_zeros(&intake->check, chunk->length);
	}
	add_holes(&intake->ranges.holes, &chunk->holes);
	if (intake->hold) {
		hold(intake, chunk);
		return true;
	}
	if (!intake->begun && unread) {
		intake->unread += chunk->length;
		return true;
	}
	return (intake->begun || begin(intake, error)) &&
	    sink_add(&intake->sink, chunk->data, chunk->length, error);
}

/* What the file is now, as far as its bytes say so. */
static bool judge(struct intake *intake, struct error *error)
{
	struct take *take = intake->take;
	const struct item *item = &take->plan->items[intake->item];
	struct outcome *outcome = &take->outcomes->items[intake->item];
	uint64_t lost = holes_total(&intake->ranges.holes);
	/* Also under a second name. */
	bool is_cloud_part = item->reason == REASON_CLOUD_PART;

	outcome->digest = digest_take(&intake->hash);
	outcome->flags |= OUTCOME_DIGEST;
	if (is_cloud_part)
		data_missing(item_catalogue(take->plan, item), item_stream(take->plan, item),
		    &intake->ranges.missing);
	if (lost > 0) {
		bool damaged = (item_stream(take->plan, item)->flags & STREAM_DAMAGED) != 0;

		if (lost >= intake->member.size)
			outcome->state = STATE_UNREADABLE;
		else if (outcome->state != STATE_LOCKED)
			outcome->state = STATE_PARTIAL;
		if (outcome->state != STATE_LOCKED)
			outcome->reason = damaged ? REASON_DAMAGED : REASON_READ_ERROR;
	} else if (item_node(take->plan, item)->flags & NODE_DAMAGED) {
		outcome->note = NOTE_DAMAGED;
	} else if (!is_cloud_part && (item->form == FORM_CONTENT || item->form == FORM_RANGES)) {
		outcome->note = (uint8_t)check_result(&intake->check);
	}
	if (intake->ranges.holes.failed || intake->ranges.missing.failed)
		return error_no_memory(error);
	if (intake->ranges.holes.count == 0 && intake->ranges.missing.count == 0)
		return true;
	return outcomes_set_ranges(take->outcomes, intake->item, &intake->ranges) ||
	    error_no_memory(error);
}

/* The whole file is held: the same as one that is there, or to be stored now. */
static bool release(struct intake *intake, struct error *error)
{
	struct take *take = intake->take;
	struct outcome *outcome = &take->outcomes->items[intake->item];
	uint32_t twin = NONE;
	uint32_t part = parts_open_for(take->parts, take->plan->items[intake->item].group,
	    writer_cost(take->parts->format, intake->member.path, intake->path.length));

	if (outcome->ranges == NONE && part != NONE)
		twin = same_content_in_part(&take->same, intake->item, part);
	if (twin != NONE)
		return intake_same(take, intake->item, twin, true, error);
	return begin(intake, error) &&
	    sink_add(&intake->sink, take->held, intake->n_held, error);
}

static bool run(struct intake *intake, struct pipeline *pipeline, struct error *error)
{
	struct take *take = intake->take;
	struct outcome *outcome = &take->outcomes->items[intake->item];
	const struct chunk *chunk;

	do {
		if (!next_chunk(take, pipeline, intake->item, &chunk, error) ||
		    !absorb(intake, chunk, error))
			return false;
		progress_at(take->progress, take->done, buf_text(&intake->path));
	} while (!chunk->last);
	if (intake->set_aside) {
		/* It comes again. */
		take->done -= intake->member.size;
		return true;
	}
	if (!judge(intake, error))
		return false;
	if (outcome->state == STATE_UNREADABLE) {
		outcome->flags &= (uint8_t)~OUTCOME_DIGEST;
		return true;
	}
	if (intake->hold && !release(intake, error))
		return false;
	if (!intake->begun)
		return true; /* the same as another */
	return sink_end(&intake->sink, error) &&
	    (same_note_stored(&take->same, intake->item) || error_no_memory(error));
}

static void start(struct intake *intake, struct take *take, uint32_t item)
{
	const struct item *it = &take->plan->items[item];

	*intake = (struct intake){.take = take, .item = item};
	sha256_init(&intake->hash);
	check_start(
	    &intake->check, it->form == FORM_CONTENT && item_stream_name(take->plan, it)[0] == '\0'
				? item_name(take->plan, it)
				: NULL);
}

static void free_intake(struct intake *intake)
{
	sink_free(&intake->sink);
	buf_free(&intake->path);
	holes_free(&intake->ranges.holes);
	holes_free(&intake->ranges.missing);
	arena_free(&intake->take->arena);
}

bool intake_file(struct take *take, struct pipeline *pipeline, uint32_t item, bool *set_aside,
    struct error *error)
{
	struct intake intake;
	bool good;

	start(&intake, take, item);
	good = intake_member(take, item, &intake.path, &intake.member, error);
	intake.hold = intake.member.size <= TAKE_HELD && same_is_candidate(&take->same, item);
	good = good && run(&intake, pipeline, error);
	*set_aside = intake.set_aside;
	if (good && !intake.set_aside)
		rounds_forget(take->plan, &take->plan->items[item]);
	free_intake(&intake);
	return good;
}

bool intake_hash(struct take *take, struct pipeline *pipeline, uint32_t item, struct error *error)
{
	struct outcome *outcome = &take->outcomes->items[item];
	const struct chunk *chunk;
	struct sha256_ctx hash;
	bool whole = true;

	sha256_init(&hash);
	do {
		if (!next_chunk(take, pipeline, item, &chunk, error))
			return false;
		if (chunk->data != NULL)
			sha256_update(&hash, (size_t)chunk->length, chunk->data);
		else
			digest_zeros(&hash, chunk->length);
		whole = whole && chunk->holes.count == 0;
		progress_at(take->progress, take->done, NULL);
	} while (!chunk->last);
	outcome->digest = digest_take(&hash);
	if (whole)
		outcome->flags |= OUTCOME_DIGEST;
	return true;
}

/* The item shares what is known of the target's bytes. */
static void share(struct take *take, uint32_t item, uint32_t target, bool by_content)
{
	struct outcome *own = &take->outcomes->items[item];
	struct outcome *other = &take->outcomes->items[target];

	own->digest = other->digest;
	own->flags |= OUTCOME_DIGEST | (by_content ? OUTCOME_BY_CONTENT : 0);
	own->ranges = other->ranges;
	own->note = other->note;
	own->same_as = target;
	if (other->state == STATE_PARTIAL) {
		own->state = other->state;
		own->reason = other->reason;
	} else if (by_content) {
		own->state = STATE_SAME;
	}
}

bool intake_same(struct take *take, uint32_t item, uint32_t target, bool by_content,
    struct error *error)
{
	struct outcome *own = &take->outcomes->items[item];
	struct outcome *other = &take->outcomes->items[target];
	struct buf path = {0}, target_path = {0};
	struct member member;
	bool good;

	share(take, item, target, by_content);
	if (take->parts->format == FORMAT_ZIP) {
		/* The one that is stored counts as taken, whichever name the plan had put first. */
		if (own->state != STATE_SAME && other->state == STATE_SAME) {
			other->state = own->state;
			own->state = STATE_SAME;
			other->same_as = NONE;
			if (!outcomes_note_change(take->outcomes, target))
				return error_no_memory(error);
		}
		own->part = other->part;
		return true;
	}
	good = intake_member(take, item, &path, &member, error);
	plan_archive_path(take->plan, &take->plan->items[target], &target_path);
	member.kind = MEMBER_SAME;
	member.same_as = buf_text(&target_path);
	good = good && (!target_path.failed || error_no_memory(error)) &&
	    parts_enter(take->parts, take->plan->items[item].group,
		writer_cost(take->parts->format, member.path, path.length), error) &&
	    writer_begin(parts_writer(take->parts), &member, error) &&
	    writer_end(parts_writer(take->parts), error);
	if (good) {
		own->part = other->part;
		own->flags |= OUTCOME_STORED;
		parts_count(take->parts, member.size);
	}
	buf_free(&path);
	buf_free(&target_path);
	return good;
}
