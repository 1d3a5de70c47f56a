/* The parts of a job: see parts.h. */
#include "extract/parts.h"

#include "base/utf.h"
#include "extract/crew.h"
#include "extract/durable.h"
#include "extract/stored_items.h"
#include "system/survey.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define KEY_LIMIT 115 /* bytes: with JOB_NAME_LIMIT and all endings a name stays below 255 */

bool parts_start(struct parts *parts, const struct job *job, const struct plan *plan,
    enum format format, uint64_t limit)
{
	*parts = (struct parts){.job = job, .plan = plan, .format = format, .destination = 1,
	    .limit = limit};
	parts->n_open = format == FORMAT_FOLDER ? 1 : plan->n_groups;
	parts->open = calloc(parts->n_open + 1, sizeof(*parts->open));
	return parts->open != NULL;
}

static struct open_part *open_of(const struct parts *parts, uint32_t group)
{
	return &parts->open[parts->format == FORMAT_FOLDER ? 0 : group];
}

/* Would "KEY-2" be taken for the first part of another group? */
static bool is_other_group(const struct plan *plan, const char *stem)
{
	for (size_t i = 0; i < plan->n_groups; i++)
		if (utf_equal_fold(plan->groups[i].key, stem))
			return true;
	return false;
}

/*
 * The group's key, cut and marked by its hash where the part's name would become too long: the
 * job's name, number and endings need their room too. NULL: no memory.
 */
static char *short_key(const char *key)
{
	size_t length = strlen(key);
	struct digest digest = digest_of(key, length);
	char *cut;

	if (length <= KEY_LIMIT)
		return strdup(key);
	length = KEY_LIMIT - 17;
	while (length > 0 && ((unsigned char)key[length] & 0xC0) == 0x80)
		length--; /* not inside a character */
	return asprintf(&cut, "%.*s~%.16s", (int)length, key, digest_to_text(&digest).text) < 0 ?
	    NULL : cut;
}

char *parts_next_folder(const struct parts *parts)
{
	char *name;

	if (parts->count == 0)
		return asprintf(&name, "%s-files", parts->job->name) < 0 ? NULL : name;
	return asprintf(&name, "%s-files-%zu", parts->job->name, parts->count + 1) < 0 ? NULL :
											 name;
}

/* The name of the next part of a group; moves its number on. NULL: no memory. */
static char *next_name(struct parts *parts, uint32_t group)
{
	struct open_part *open = open_of(parts, group);
	char *key, *stem, *name;

	if (parts->format == FORMAT_FOLDER)
		return parts_next_folder(parts);
	key = short_key(parts->plan->groups[group].key);
	if (key == NULL)
		return NULL;
	for (;;) {
		if (++open->number == 1)
			stem = strdup(key);
		else if (asprintf(&stem, "%s-%u", key, open->number) < 0)
			stem = NULL;
		if (stem == NULL || open->number == 1 || !is_other_group(parts->plan, stem))
			break;
		free(stem);
	}
	if (stem == NULL || asprintf(&name, "%s-%s.%s", parts->job->name, stem,
				format_name(parts->format)) < 0)
		name = NULL;
	free(stem);
	free(key);
	return name;
}

/* The clock that the group's files were stamped by. */
static bool zone_of(const struct parts *parts, uint32_t group, char *zone, size_t size)
{
	const struct survey *survey = parts->plan->survey;
	size_t system = parts->plan->groups[group].system;

	if (system >= survey->n_systems)
		system = 0;
	return system < survey->n_systems && zone_to_posix(&survey->systems[system], zone, size);
}

/* Adds a part; its name becomes the part's. False: no memory. */
static bool add_part(struct parts *parts, char *name, uint32_t group)
{
	struct part part = {
	    .name = name, .group = parts->format == FORMAT_FOLDER ? NONE : group,
	    .destination = parts->destination};

	if (name == NULL || parts->count >= NONE ||
	    !array_reserve(&parts->items, &parts->capacity, parts->count + 1, sizeof(part))) {
		free(name);
		return false;
	}
	parts->items[parts->count++] = part;
	return true;
}

/* Starts writing the part, or goes on with it from the mark, with what `stored` tells. */
static bool open_writer(struct parts *parts, uint32_t group, uint32_t part,
    const struct writer_mark *mark, struct stored_items *stored, struct error *error)
{
	struct open_part *open = open_of(parts, group);
	struct writer_options options = {.next_stored = stored_items_next, .stored = stored};
	char *path = job_path(parts->job, parts->items[part].name);
	char zone[128];

	if (path == NULL)
		return error_no_memory(error);
	if (zone_of(parts, group, zone, sizeof(zone)))
		options.zone = zone;
	if (parts->crew == NULL && parts->format != FORMAT_FOLDER)
		parts->crew = crew_open(0); /* without one, each writer gets its own */
	options.crew = parts->crew;
	open->writer = mark == NULL ? writer_open(parts->format, path, &options, error) :
				      writer_reopen(parts->format, path, &options, mark, error);
	open->part = part;
	free(path);
	return open->writer != NULL;
}

static bool open_part(struct parts *parts, uint32_t group, struct error *error)
{
	if (!add_part(parts, next_name(parts, group), group))
		return error_no_memory(error);
	if (open_writer(parts, group, (uint32_t)parts->count - 1, NULL, NULL, error))
		return true;
	free(parts->items[--parts->count].name);
	return false;
}

bool parts_recall(struct parts *parts, const char *name, uint32_t group)
{
	bool is_known = parts->format == FORMAT_FOLDER ?
			    group == NONE && (parts->count == 0 ||
						 parts->items[parts->count - 1].is_finished) :
			    group < parts->plan->n_groups;

	return is_known && add_part(parts, next_name(parts, group), group) &&
	    strcmp(parts->items[parts->count - 1].name, name) == 0;
}

bool parts_reopen(struct parts *parts, const struct outcomes *outcomes, uint32_t part,
    const struct writer_mark *mark, struct error *error)
{
	uint32_t group = parts->format == FORMAT_FOLDER ? 0 : parts->items[part].group;
	struct stored_items stored;
	bool good;

	stored_items_start(&stored, outcomes, part);
	good = open_writer(parts, group, part, mark, &stored, error);
	if (stored.no_memory)
		good = error_no_memory(error);
	stored_items_free(&stored);
	return good;
}

uint32_t parts_open_for(const struct parts *parts, uint32_t group, uint64_t cost)
{
	const struct open_part *open = open_of(parts, group);

	if (open->writer == NULL)
		return NONE;
	if (parts->format != FORMAT_FOLDER && parts->limit != 0 &&
	    parts->items[open->part].files > 0 &&
	    !writer_has_room(open->writer, cost, parts->limit))
		return NONE;
	return open->part;
}

static bool close_part(struct parts *parts, struct open_part *open, struct error *error)
{
	struct writer *writer = open->writer;

	open->writer = NULL;
	if (writer == NULL)
		return true;
	if (!writer_finish(writer, &parts->items[open->part].digest, error))
		return false;
	parts->items[open->part].is_finished = true;
	return true;
}

bool parts_enter(struct parts *parts, uint32_t group, uint64_t cost, struct error *error)
{
	struct open_part *open = open_of(parts, group);

	if (parts_open_for(parts, group, cost) == NONE &&
	    (!close_part(parts, open, error) || !open_part(parts, group, error)))
		return false;
	parts->current = open;
	return true;
}

uint32_t parts_current(const struct parts *parts)
{
	return parts->current->part;
}

struct writer *parts_writer(const struct parts *parts)
{
	return parts->current->writer;
}

void parts_count(struct parts *parts, uint64_t bytes)
{
	parts->items[parts->current->part].files++;
	parts->items[parts->current->part].bytes += bytes;
}

uint64_t parts_largest_file(const struct parts *parts, const char *path)
{
	uint64_t fixed = writer_cost(parts->format, path, 0) + 2048;
	uint64_t room;

	if (parts->limit == 0)
		return UINT64_MAX;
	if (parts->format == FORMAT_FOLDER)
		return parts->limit;
	if (parts->limit <= 2 * fixed)
		return 1;
	room = parts->limit - fixed;
	return room - room / 1000; /* writer_cost() adds an 8192nd */
}

bool parts_mark(const struct parts *parts, struct parts_mark *mark, struct error *error)
{
	const struct part *part = &parts->items[parts->current->part];

	*mark = (struct parts_mark){.part = parts->current->part,
	    .number = parts->current->number,
	    .files = part->files,
	    .bytes = part->bytes};
	return writer_checkpoint(parts->current->writer, &mark->writer, error);
}

/* Removes the last part, which is closed. False with *error. */
static bool remove_last(struct parts *parts, struct error *error)
{
	struct part *part = &parts->items[parts->count - 1];
	char *path = job_path(parts->job, part->name);
	bool good = path != NULL || error_no_memory(error);

	/* One that was given up unfinished is gone already. */
	if (good && unlink(path) != 0 && errno != ENOENT)
		good = durable_failed(error, errno, path);
	free(path);
	if (good) {
		free(part->name);
		parts->count--;
	}
	return good;
}

bool parts_go_back(struct parts *parts, const struct outcomes *outcomes,
    const struct parts_mark *mark, struct error *error)
{
	struct part *part = &parts->items[mark->part];

	writer_abandon(parts->current->writer);
	parts->current->writer = NULL;
	while (parts->count > mark->part + (size_t)1)
		if (!remove_last(parts, error))
			return false;
	parts->current->number = mark->number;
	part->files = mark->files;
	part->bytes = mark->bytes;
	part->is_finished = false;
	return parts_reopen(parts, outcomes, mark->part, &mark->writer, error);
}

bool parts_close_current(struct parts *parts, struct error *error)
{
	return close_part(parts, parts->current, error);
}

bool parts_finish(struct parts *parts, struct error *error)
{
	bool good = true;

	for (size_t i = 0; good && i < parts->n_open; i++)
		good = close_part(parts, &parts->open[i], error);
	return good;
}

void parts_abandon(struct parts *parts)
{
	for (size_t i = 0; i < parts->n_open; i++) {
		writer_abandon(parts->open[i].writer);
		parts->open[i].writer = NULL;
	}
}

void parts_recall_move(struct parts *parts)
{
	parts->destination++;
	for (size_t i = 0; i < parts->count; i++)
		if (!parts->items[i].is_finished)
			parts->items[i].destination = parts->destination;
}

void parts_free(struct parts *parts)
{
	parts_abandon(parts);
	for (size_t i = 0; i < parts->count; i++)
		free(parts->items[i].name);
	free(parts->items);
	free(parts->open);
	crew_close(parts->crew);
	*parts = (struct parts){0};
}
