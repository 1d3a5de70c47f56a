/* record.jsonl: see record.h. */
#include "extract/record.h"

#include "base/json.h"
#include "base/utf.h"
#include "extract/items.h"
#include "extract/line_file.h"
#include "ntfs/reparse.h"

struct record {
	const struct job *job;
	const struct plan *plan;
	const struct outcomes *outcomes;
	const struct parts *parts;
	struct line_file lines;
	struct buf text; /* for one path or name */
	struct arena arena;
};

static const char *path_text(struct record *record, const struct item *item)
{
	buf_clear(&record->text);
	plan_old_path(record->plan, item, &record->text);
	return buf_text(&record->text);
}

static void header(struct record *record)
{
	const struct survey *survey = record->plan->survey;
	struct json json;

	json_start(&json, &record->lines.buf, false);
	json_begin_object(&json);
	json_key_unsigned(&json, "record", 1);
	json_key_text(&json, "program", "coldlift " COLDLIFT_VERSION);
	json_key_text(&json, "job", record->job->name);
	json_key_time(&json, "started", record->job->started);
	json_key_text(&json, "format", format_name(record->parts->format));
	json_key(&json, "sources");
	json_begin_array(&json);
	for (size_t i = 0; i < survey->n_drives; i++) {
		const struct drive *drive = &survey->drives[i].about;

		json_begin_object(&json);
		json_key_text(&json, "path", drive->path);
		json_key_text(&json, "model", drive->model);
		json_key_text(&json, "serial", drive->serial);
		json_key_unsigned(&json, "size", drive->size);
		json_end(&json);
	}
	json_end(&json);
	json_end(&json);
	buf_add_byte(&record->lines.buf, '\n');
}

static void whose(struct record *record, struct json *json, const struct item *item)
{
	const struct survey *survey = record->plan->survey;
	const struct group *group;

	if (item->group == NONE)
		return;
	group = &record->plan->groups[item->group];
	if (group->system < survey->n_systems) {
		const struct old_system *system = &survey->systems[group->system];

		json_key_text(json, "pc", system->key);
		if (group->person < system->n_persons)
			json_key_text(json, "person", system->persons[group->person].key);
	}
	json_key_text(json, "place", group->place);
}

static const char *part_name(const struct record *record, uint32_t part)
{
	return record->parts->items[part].name;
}

/* Where the bytes are: only for what has any in the archive. */
static void where(struct record *record, struct json *json, size_t index,
    const struct outcome *outcome)
{
	if (outcome->n_pieces > 0) {
		json_key(json, "parts");
		json_begin_array(json);
		for (uint32_t i = 0; i < outcome->n_pieces; i++)
			json_text(json, part_name(record,
			    record->outcomes->pieces[outcome->first_piece + i].part));
		json_end(json);
	} else if (outcome->part != NONE) {
		json_key_text(json, "part", part_name(record, outcome->part));
	}
	if ((outcome->flags & OUTCOME_STORED) != 0) {
		buf_clear(&record->text);
		outcome_path(record->outcomes, index, &record->text);
		json_key_text(json, "as", buf_text(&record->text));
	}
	if ((outcome->flags & OUTCOME_DIGEST) != 0)
		json_key_text(json, "sha256", digest_to_text(&outcome->digest).text);
}

/* What stands in the archive, where that is not the file's bytes. */
static void form(struct record *record, struct json *json, const struct item *item,
    const struct outcome *outcome)
{
	if (item->form == FORM_CONTENT || (outcome->flags & OUTCOME_DIGEST) == 0)
		return;
	json_key_text(json, "form", form_name((enum item_form)item->form));
	json_key_unsigned(json, "stored", item_stored_size(record->plan, item));
}

static void times(struct json *json, const struct node *node)
{
	if (node->created > 0)
		json_key_time(json, "created", node->created);
	if (node->modified > 0)
		json_key_time(json, "modified", node->modified);
	if (node->changed > 0)
		json_key_time(json, "changed", node->changed);
	if (node->accessed > 0)
		json_key_time(json, "accessed", node->accessed);
	json_key_unsigned(json, "attributes", node->attributes);
}

static void owner(struct json *json, const struct catalogue *catalogue, const struct node *node)
{
	const char *sid = catalogue_name(catalogue, node->owner);

	if (sid[0] != '\0')
		json_key_text(json, "owner", sid);
}

void record_ranges(struct json *json, const char *key, const struct holes *holes)
{
	json_key(json, key);
	json_begin_array(json);
	for (size_t i = 0; i < holes->count; i++) {
		json_begin_array(json);
		json_unsigned(json, holes->items[i].offset);
		json_unsigned(json, holes->items[i].length);
		json_end(json);
	}
	json_end(json);
}

/* Of a file in another form: where what was stored belongs, or where nothing was ever written. */
static void list_data(struct record *record, struct json *json, const struct item *item,
    const struct outcome *outcome)
{
	const struct stream *stream = item_stream(record->plan, item);
	struct holes ranges = {0}, gaps = {0};
	uint64_t end = 0;

	if (item_view(item) == VIEW_CONTENT || (outcome->flags & OUTCOME_DIGEST) == 0)
		return;
	view_ranges(item_catalogue(record->plan, item), stream, item_view(item), &ranges);
	for (size_t i = 0; i < ranges.count; i++) {
		if (ranges.items[i].offset > end)
			holes_add(&gaps, end, ranges.items[i].offset - end);
		end = ranges.items[i].offset + ranges.items[i].length;
	}
	if (end < stream->size)
		holes_add(&gaps, end, stream->size - end);
	if (ranges.failed || gaps.failed)
		record->text.failed = true;
	if (form_is_ranges((enum item_form)item->form))
		record_ranges(json, "ranges", &ranges);
	else if (gaps.count > 0)
		record_ranges(json, "gaps", &gaps);
	holes_free(&ranges);
	holes_free(&gaps);
}

/* The exact name, where JSON cannot hold it. */
static void exact_name(struct record *record, struct json *json, const char *key, const char *name)
{
	struct buf units = {0};

	if (utf_is_clean(name))
		return;
	buf_clear(&record->text);
	utf_to_utf16(&units, name);
	for (size_t i = 0; i < units.length; i++)
		buf_printf(&record->text, "%02x", units.data[i]);
	json_key_text(json, key, buf_text(&record->text));
	buf_free(&units);
}

static void rest(struct record *record, struct json *json, const struct item *item,
    const struct outcome *outcome)
{
	if (outcome->ranges != NONE) {
		const struct ranges *ranges = &record->outcomes->ranges[outcome->ranges];

		if (ranges->holes.count > 0)
			record_ranges(json, "holes", &ranges->holes);
		if (ranges->missing.count > 0)
			record_ranges(json, "missing", &ranges->missing);
	}
	list_data(record, json, item, outcome);
	if (item->kind == ITEM_LINK) {
		bool relative;
		const char *target = reparse_target(item_catalogue(record->plan, item),
		    item_entry(record->plan, item)->node, &record->arena, &relative);

		if (target != NULL)
			json_key_text(json, "target", target);
		arena_free(&record->arena);
	}
	exact_name(record, json, "name_utf16", item_name(record->plan, item));
	exact_name(record, json, "stream_utf16", item_stream_name(record->plan, item));
	if (outcome->same_as != NONE &&
	    (record->outcomes->items[outcome->same_as].flags & OUTCOME_STORED) != 0) {
		buf_clear(&record->text);
		outcome_path(record->outcomes, outcome->same_as, &record->text);
		json_key_text(json, "same_as", buf_text(&record->text));
	}
	if (outcome->note != NOTE_NONE)
		json_key_text(json, "note", note_text((enum note)outcome->note));
}

static void line(struct record *record, size_t index)
{
	static const char *const kinds[] = {"file", "folder", "link"};
	const struct item *item = &record->plan->items[index];
	struct outcome outcome = outcome_of(record->outcomes, index);
	const char *stream = item_stream_name(record->plan, item);
	struct json json;

	json_start(&json, &record->lines.buf, false);
	json_begin_object(&json);
	json_key_text(&json, "volume", record->plan->survey->volumes[item->volume].name);
	json_key_text(&json, "path", path_text(record, item));
	if (stream[0] != '\0')
		json_key_text(&json, "stream", stream);
	buf_clear(&record->text);
	if (plan_was(record->plan, item, &record->text))
		json_key_text(&json, "was", buf_text(&record->text));
	json_key_text(&json, "kind", kinds[item->kind]);
	if (item->kind == ITEM_FILE)
		json_key_unsigned(&json, "size", item_size(record->plan, item));
	json_key_text(&json, "state", state_name((enum state)outcome.state));
	json_key_text(&json, "reason", reason_name((enum reason)outcome.reason));
	whose(record, &json, item);
	form(record, &json, item, &outcome);
	where(record, &json, index, &outcome);
	times(&json, item_node(record->plan, item));
	owner(&json, item_catalogue(record->plan, item), item_node(record->plan, item));
	/* Damage can give two files one name in one folder; this always tells them apart. */
	json_key_unsigned(&json, "file_record", item_entry(record->plan, item)->node);
	rest(record, &json, item, &outcome);
	json_end(&json);
	buf_add_byte(&record->lines.buf, '\n');
}

bool record_write(const struct job *job, const struct outcomes *outcomes, const struct parts *parts,
    struct digest *digest, struct error *error)
{
	struct record record = {.job = job, .plan = outcomes->plan, .outcomes = outcomes,
	    .parts = parts};
	bool good = line_file_open(&record.lines, job, "record.jsonl", error);

	if (!good)
		return false;
	header(&record);
	for (size_t i = 0; good && i < record.plan->n_items; i++) {
		line(&record, i);
		good = line_file_flush(&record.lines, error);
	}
	if (good && record.text.failed)
		good = error_no_memory(error);
	good = line_file_finish(&record.lines, good, digest, error);
	buf_free(&record.text);
	arena_free(&record.arena);
	return good;
}
