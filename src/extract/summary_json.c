/* What was taken and what not, as JSON: see summary.h. */
#include "extract/summary.h"

#include "extract/items.h"
#include "plan/belongings.h"

#define FLUSH_AT ((size_t)1 << 20)

static void tally_to_json(struct json *json, const struct tally *tally)
{
	json_key_unsigned(json, "files", tally->count);
	json_key_unsigned(json, "bytes", tally->bytes);
}

/* Whose files the group holds. */
static void owner_to_json(struct json *json, const struct plan *plan, const struct group *group)
{
	const struct survey *survey = plan->survey;
	const struct old_system *system;

	if (group->system >= survey->n_systems)
		return;
	system = &survey->systems[group->system];
	json_key_text(json, "pc", system->key);
	if (group->person < system->n_persons)
		json_key_text(json, "person", system->persons[group->person].key);
}

static void group_to_json(struct json *json, const struct summary *summary, size_t index)
{
	const struct group *group = &summary->plan->groups[index];
	struct tally arrived = sums_arrived(summary->sums, index);

	json_begin_object(json);
	owner_to_json(json, summary->plan, group);
	json_key_text(json, "place", group->place);
	json_key_text(json, "folder", group->folder);
	tally_to_json(json, &arrived);
	if (summary->parts != NULL) {
		json_key(json, "parts");
		json_begin_array(json);
		for (size_t i = 0; i < summary->parts->count; i++)
			if (summary->parts->items[i].group == index)
				json_text(json, summary->parts->items[i].name);
		json_end(json);
	}
	json_end(json);
}

static void left_to_json(struct json *json, const struct summary *summary, bool decisions)
{
	json_begin_array(json);
	for (unsigned reason = 0; reason < REASON_COUNT; reason++) {
		if (summary->sums->left[reason].count == 0 ||
		    reason_needs_decision((enum reason)reason) != decisions)
			continue;
		json_begin_object(json);
		json_key_text(json, "reason", reason_name((enum reason)reason));
		json_key_text(json, "sentence", reason_sentence((enum reason)reason));
		tally_to_json(json, &summary->sums->left[reason]);
		json_end(json);
	}
	json_end(json);
}

static void states_to_json(struct json *json, const struct summary *summary)
{
	json_begin_object(json);
	for (unsigned state = 0; state < STATE_COUNT; state++) {
		json_key(json, state_name((enum state)state));
		json_begin_object(json);
		tally_to_json(json, &summary->sums->states[state]);
		json_end(json);
	}
	json_end(json);
}

static void item_to_json(struct json *json, const struct plan *plan, const struct item *item,
    struct buf *text)
{
	static const char *const kinds[] = {"file", "folder", "link"};
	const char *stream = item_stream_name(plan, item);

	json_begin_object(json);
	json_key_text(json, "volume", plan->survey->volumes[item->volume].name);
	buf_clear(text);
	plan_old_path(plan, item, text);
	json_key_text(json, "path", buf_text(text));
	if (stream[0] != '\0')
		json_key_text(json, "stream", stream);
	buf_clear(text);
	if (plan_was(plan, item, text))
		json_key_text(json, "was", buf_text(text));
	json_key_text(json, "kind", kinds[item->kind]);
	if (item->kind == ITEM_FILE)
		json_key_unsigned(json, "size", item_size(plan, item));
	json_key_text(json, "state", state_name((enum state)item->state));
	json_key_text(json, "reason", reason_name((enum reason)item->reason));
	if (item->group != NONE)
		owner_to_json(json, plan, &plan->groups[item->group]);
	if (item->group != NONE && item->state != STATE_LEFT) {
		buf_clear(text);
		plan_archive_path(plan, item, text);
		json_key_text(json, "as", buf_text(text));
	}
	json_end(json);
}

/* There can be millions: the text is handed to the stream as it grows. */
static bool items_to_json(
    FILE *stream, struct json *json, const struct plan *plan, bool open_only)
{
	struct buf text = {0};
	bool good = true;

	json_begin_array(json);
	for (size_t i = 0; good && i < plan->n_items; i++) {
		if (open_only && !reason_needs_decision((enum reason)plan->items[i].reason))
			continue;
		item_to_json(json, plan, &plan->items[i], &text);
		if (json->buf->length < FLUSH_AT)
			continue;
		good = !json->buf->failed &&
		    fwrite(json->buf->data, 1, json->buf->length, stream) == json->buf->length;
		buf_clear(json->buf);
	}
	json_end(json);
	good = good && !text.failed;
	buf_free(&text);
	return good;
}

static bool all_belongings(struct json *json, const struct plan *plan)
{
	struct belongings belongings;
	bool good = belongings_find(&belongings, plan);

	belongings_to_json(&belongings, plan, json);
	belongings_free(&belongings);
	return good;
}

/* The folders of the same job at destinations that it has left; null: not attached. */
static void others_to_json(struct json *json, const struct places *places)
{
	json_key(json, "other_folders");
	json_begin_array(json);
	for (size_t i = 0; i < places->count; i++) {
		if (places->items[i].folder == NULL)
			json_put_null(json);
		else
			json_text(json, places->items[i].folder);
	}
	json_end(json);
}

bool summary_print_json(FILE *stream, const struct summary *summary)
{
	struct buf buf = {0};
	struct json json;
	bool good = true;

	json_start(&json, &buf, true);
	json_begin_object(&json);
	json_key_bool(&json, "dry_run", summary->job == NULL);
	if (summary->job != NULL) {
		json_key_text(&json, "job", summary->job->name);
		json_key_text(&json, "folder", summary->job->folder);
		json_key_text(&json, "format", format_name(summary->parts->format));
		json_key_unsigned(&json, "status", summary->status);
		others_to_json(&json, summary->places);
	}
	json_key(&json, "states");
	states_to_json(&json, summary);
	json_key(&json, "groups");
	json_begin_array(&json);
	for (size_t i = 0; i < summary->plan->n_groups; i++)
		group_to_json(&json, summary, i);
	json_end(&json);
	json_key(&json, "left");
	left_to_json(&json, summary, false);
	json_key(&json, "decisions");
	left_to_json(&json, summary, true);
	json_key(&json, "belongings");
	good = all_belongings(&json, summary->plan);
	json_key(&json, "findings");
	findings_to_json(summary->findings, &json);
	if (good && summary->job == NULL) {
		json_key(&json, "items");
		good = items_to_json(stream, &json, summary->plan, summary->open_only);
	}
	json_end(&json);
	good = good && !buf.failed && fwrite(buf.data, 1, buf.length, stream) == buf.length &&
	    fflush(stream) == 0;
	buf_free(&buf);
	return good;
}
