/* The beginning of a journal: see head.h. */
#include "extract/head.h"

#include "base/json.h"
#include "base/utf.h"
#include "extract/job.h"

#include <string.h>

#define PROGRAM "coldlift " COLDLIFT_VERSION
#define JOURNAL_FORM 1   /* of the journal's lines: another number when they change */
#define MOST_LINES 65536 /* of a kind: more than any command line has */

static const char *const same_names[] = {"usual", "once", "each"};

/* --- writing --- */

/* A line in the making. */
struct line {
	struct journal *journal;
	struct buf buf;
	struct json json;
	bool good;
};

static void begin(struct line *line)
{
	buf_clear(&line->buf);
	json_start(&line->json, &line->buf, false);
	json_begin_object(&line->json);
}

static void end(struct line *line, struct error *error)
{
	json_end(&line->json);
	line->good = line->good && journal_add(line->journal, &line->buf, error);
}

static void write_first(struct line *line, const struct head *head, struct error *error)
{
	begin(line);
	json_key_unsigned(&line->json, "journal", JOURNAL_FORM);
	json_key_text(&line->json, "program", PROGRAM);
	json_key_text(&line->json, "job", head->name);
	json_key_unsigned(&line->json, "clock", (uint64_t)head->started);
	json_key_bool(&line->json, "fixed", head->fixed_clock);
	end(line, error);
}

static void write_options(struct line *line, const struct head *head, struct error *error)
{
	begin(line);
	json_key(&line->json, "options");
	json_begin_object(&line->json);
	json_key_text(&line->json, "format", format_name(head->format));
	json_key_text(&line->json, "same", same_names[head->same]);
	json_key_bool(&line->json, "licence_keys", head->licence_keys);
	json_key_bool(&line->json, "careful", head->careful);
	json_key_unsigned(&line->json, "part_size", head->part_limit);
	json_key_unsigned(&line->json, "limit", head->limit);
	json_end(&line->json);
	end(line, error);
}

static void write_texts(struct line *line, const char *key, const char *const *texts, size_t count,
    struct error *error)
{
	for (size_t i = 0; i < count; i++) {
		begin(line);
		json_key_text(&line->json, key, texts[i]);
		end(line, error);
	}
}

static void write_source(struct line *line, const struct identity *source, struct error *error)
{
	begin(line);
	json_key(&line->json, "source");
	json_begin_object(&line->json);
	json_key_text(&line->json, "path", source->path);
	json_key_text(&line->json, "model", source->model);
	json_key_text(&line->json, "serial", source->serial);
	json_key_unsigned(&line->json, "size", source->size);
	json_key_text(&line->json, "digest", digest_to_text(&source->digest).text);
	json_end(&line->json);
	end(line, error);
}

bool head_write(struct journal *journal, const struct head *head, struct error *error)
{
	struct line line = {.journal = journal, .good = true};

	write_first(&line, head, error);
	write_options(&line, head, error);
	write_texts(&line, "person", head->choices.persons, head->choices.n_persons, error);
	write_texts(&line, "take", head->choices.takes, head->choices.n_takes, error);
	write_texts(&line, "leave", head->choices.leaves, head->choices.n_leaves, error);
	for (size_t i = 0; i < head->n_sources; i++)
		write_source(&line, &head->sources[i], error);
	begin(&line);
	json_key(&line.json, "plan");
	json_begin_object(&line.json);
	json_key_unsigned(&line.json, "items", head->n_items);
	json_key_text(&line.json, "digest", digest_to_text(&head->plan).text);
	json_end(&line.json);
	end(&line, error);
	buf_free(&line.buf);
	return line.good && journal_sync(journal, error);
}

/* --- reading --- */

/* Lists that grow in the arena: each is copied to twice its room when it is full. */
struct list {
	void *items;
	size_t count, room;
};

struct reading {
	struct head_read *read;
	struct list persons, takes, leaves, sources, earlier;
	bool is_ours; /* the first line was */
};

/* Room for one more of `size` bytes; NULL: no memory, or too many. */
static void *grow(struct arena *arena, struct list *list, size_t size)
{
	if (list->count == list->room) {
		size_t room = list->room == 0 ? 8 : 2 * list->room;
		void *items = room > MOST_LINES ? NULL : arena_array(arena, room, size);

		if (items == NULL)
			return NULL;
		if (list->count > 0)
			memcpy(items, list->items, list->count * size);
		list->items = items;
		list->room = room;
	}
	return (uint8_t *)list->items + list->count++ * size;
}

/* Never NULL but for no memory: "" for what is no text. */
static const char *text_in(struct arena *arena, const json_t *object, const char *key)
{
	const char *text = json_string_value(json_object_get(object, key));

	return arena_strdup(arena, text == NULL ? "" : text);
}

static uint64_t number_in(const json_t *object, const char *key)
{
	json_int_t number = json_integer_value(json_object_get(object, key));

	return number < 0 ? 0 : (uint64_t)number;
}

static bool digest_in(const json_t *object, struct digest *digest)
{
	const char *text = json_string_value(json_object_get(object, "digest"));

	return text != NULL && strlen(text) == 2 * DIGEST_SIZE && digest_from_hex(text, digest);
}

static bool add_text(struct arena *arena, struct list *list, const json_t *value)
{
	const char **room = grow(arena, list, sizeof(*room));
	const char *text = json_string_value(value);

	if (room == NULL || text == NULL)
		return false;
	*room = arena_strdup(arena, text);
	return *room != NULL;
}

static bool read_first(struct reading *reading, const json_t *object, struct error *error)
{
	struct head *head = &reading->read->head;
	struct arena *arena = &reading->read->arena;

	head->program = text_in(arena, object, "program");
	head->name = text_in(arena, object, "job");
	head->started = (int64_t)number_in(object, "clock");
	head->fixed_clock = json_is_true(json_object_get(object, "fixed"));
	if (head->program == NULL || head->name == NULL)
		return error_no_memory(error);
	if (number_in(object, "journal") != JOURNAL_FORM || strcmp(head->program, PROGRAM) != 0)
		return error_set(error, STATUS_USAGE,
		    "the job was begun by another version of this program (%.60s) and can only go "
		    "on with that one; or begin a new job without --resume",
		    head->program);
	reading->is_ours = true;
	return job_name_check(head->name, error);
}

static bool read_options(struct reading *reading, const json_t *options)
{
	struct head *head = &reading->read->head;
	const char *format = json_string_value(json_object_get(options, "format"));
	const char *same = json_string_value(json_object_get(options, "same"));
	bool known = false;

	for (size_t i = 0; same != NULL && i < sizeof(same_names) / sizeof(same_names[0]); i++) {
		if (strcmp(same, same_names[i]) == 0) {
			head->same = (enum same_choice)i;
			known = true;
		}
	}
	head->licence_keys = json_is_true(json_object_get(options, "licence_keys"));
	head->careful = json_is_true(json_object_get(options, "careful"));
	head->part_limit = number_in(options, "part_size");
	head->limit = number_in(options, "limit");
	return known && format != NULL && format_from_name(format, &head->format);
}

static bool read_source(struct reading *reading, const json_t *object)
{
	struct arena *arena = &reading->read->arena;
	struct identity *source = grow(arena, &reading->sources, sizeof(*source));

	if (source == NULL)
		return false;
	*source = (struct identity){.path = text_in(arena, object, "path"),
	    .model = text_in(arena, object, "model"),
	    .serial = text_in(arena, object, "serial"),
	    .size = number_in(object, "size")};
	return source->path != NULL && source->model != NULL && source->serial != NULL &&
	    digest_in(object, &source->digest);
}

/* One line of the head. False: it is none, or memory ran out. */
static bool read_line(struct reading *reading, const json_t *object)
{
	struct head *head = &reading->read->head;
	struct arena *arena = &reading->read->arena;
	const json_t *value;

	if ((value = json_object_get(object, "options")) != NULL)
		return read_options(reading, value);
	if ((value = json_object_get(object, "person")) != NULL)
		return add_text(arena, &reading->persons, value);
	if ((value = json_object_get(object, "take")) != NULL)
		return add_text(arena, &reading->takes, value);
	if ((value = json_object_get(object, "leave")) != NULL)
		return add_text(arena, &reading->leaves, value);
	if ((value = json_object_get(object, "source")) != NULL)
		return read_source(reading, value);
	value = json_object_get(object, "plan");
	head->n_items = (size_t)number_in(value, "items");
	reading->read->is_whole = value != NULL && digest_in(value, &head->plan);
	return reading->read->is_whole;
}

static bool read_move(struct reading *reading, const json_t *value)
{
	struct arena *arena = &reading->read->arena;
	struct earlier *earlier = grow(arena, &reading->earlier, sizeof(*earlier));

	if (earlier == NULL)
		return false;
	*earlier = (struct earlier){text_in(arena, value, "mark"), text_in(arena, value, "place")};
	return earlier->mark != NULL && earlier->place != NULL;
}

static void read_checkpoint(struct head_read *read, const json_t *checkpoint)
{
	const json_t *open = json_object_get(checkpoint, "open");

	read->stored = number_in(checkpoint, "stored");
	read->unfinished = 0;
	for (size_t i = 0; i < json_array_size(open); i++) {
		json_int_t length = json_integer_value(json_array_get(json_array_get(open, i), 3));

		read->unfinished += length < 0 ? 0 : (uint64_t)length;
	}
}

static bool take_line(void *about, const json_t *object, uint64_t line_end, struct error *error)
{
	struct reading *reading = about;
	struct head_read *read = reading->read;
	const json_t *value;

	if (!reading->is_ours)
		return read_first(reading, object, error);
	if (!read->is_whole) {
		if (!read_line(reading, object))
			return error_set(error, STATUS_DESTINATION,
			    "the job's journal is damaged; begin a new job without --resume");
		read->noted = line_end;
		return true;
	}
	if ((value = json_object_get(object, "checkpoint")) != NULL) {
		read->noted = line_end;
		read_checkpoint(read, value);
	} else if ((value = json_object_get(object, JOURNAL_MOVED)) != NULL) {
		read->noted = line_end;
		return read_move(reading, value) || error_no_memory(error);
	}
	return true;
}

bool head_read(struct head_read *read, const char *path, struct error *error)
{
	struct reading reading = {.read = read};
	bool good;

	*read = (struct head_read){0};
	good = journal_read(path, take_line, &reading, error);
	read->head.choices = (struct plan_options){
	    .persons = reading.persons.items, .n_persons = reading.persons.count,
	    .takes = reading.takes.items, .n_takes = reading.takes.count,
	    .leaves = reading.leaves.items, .n_leaves = reading.leaves.count};
	read->head.sources = reading.sources.items;
	read->head.n_sources = reading.sources.count;
	read->earlier = reading.earlier.items;
	read->n_earlier = reading.earlier.count;
	if (good && !read->is_whole)
		return error_set(error, STATUS_DESTINATION,
		    "the job was cut off before anything of it was kept; delete its folder, and "
		    "begin a new job without --resume");
	return good;
}

void head_read_free(struct head_read *read)
{
	arena_free(&read->arena);
	*read = (struct head_read){0};
}
