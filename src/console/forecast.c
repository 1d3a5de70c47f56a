/* What a job would take: see forecast.h. */
#include "console/forecast.h"

#include "console/json_in.h"
#include "console/program.h"

#include <stdlib.h>
#include <string.h>

#define MOST_BYTES ((size_t)96 << 20)

/* --- reading --- */

/*
 * The largest go in front, in the order of their size, since a page shows only a few; the others
 * behind them in any order.
 */
static void keep(struct forecast_decision *decision, const char *path, uint64_t size)
{
	const char **items = decision->paths.items;
	size_t at = decision->paths.count++, n = 0, last;

	items[at] = path;
	decision->bytes += size;
	while (n < FORECAST_LARGEST && n < at && decision->largest[n] >= size)
		n++;
	if (n == FORECAST_LARGEST)
		return;
	last = at < FORECAST_LARGEST ? at : FORECAST_LARGEST - 1;
	items[at] = items[last];
	memmove(&items[n + 1], &items[n], (last - n) * sizeof(*items));
	items[n] = path;
	memmove(&decision->largest[n + 1], &decision->largest[n],
	    (FORECAST_LARGEST - 1 - n) * sizeof(*decision->largest));
	decision->largest[n] = size;
}

static bool read_path(struct arena *arena, struct forecast_decision *decision, const json_t *item)
{
	const char *volume = json_in_text(arena, item, "volume");
	const char *path = json_in_text(arena, item, "path");
	const char *was = json_in_text(arena, item, "was");

	if (volume == NULL || path == NULL || was == NULL)
		return false;
	/* What was deleted is known, and can be asked for, by the path that it had. */
	path = *was != '\0' ? was : arena_printf(arena, "%s%s", volume, path);
	if (path == NULL)
		return false;
	keep(decision, path, json_in_number(item, "size", 0));
	return true;
}

static bool is_of(const json_t *item, const struct order_list *persons)
{
	for (size_t i = 0; i < persons->count; i++)
		if (json_in_is_text(item, "person", persons->items[i]))
			return true;
	return persons->count == 0;
}

/* Files only: a pattern that names a folder takes everything in it. */
static bool concerns(
    const struct forecast_decision *decision, const json_t *item, const struct order_list *persons)
{
	return json_in_is_text(item, "kind", "file") &&
	       json_in_is_text(item, "reason", decision->reason) &&
	       json_object_get(item, "stream") == NULL && is_of(item, persons);
}

static bool read_paths(struct arena *arena, struct forecast_decision *decision, const json_t *items,
    const struct order_list *persons)
{
	size_t index, count = 0;
	json_t *item;

	json_array_foreach(items, index, item) count += concerns(decision, item, persons);
	decision->paths.items = arena_array(arena, count, sizeof(*decision->paths.items));
	if (decision->paths.items == NULL)
		return false;
	json_array_foreach(items, index, item) if (concerns(decision, item, persons) &&
						   !read_path(arena, decision, item)) return false;
	return true;
}

static bool read_decisions(
    struct forecast *forecast, const json_t *document, const struct order_list *persons)
{
	const json_t *array = json_object_get(document, "decisions");
	struct arena *arena = &forecast->arena;
	size_t index;
	json_t *item;

	forecast->decisions =
	    arena_array(arena, json_array_size(array), sizeof(*forecast->decisions));
	if (forecast->decisions == NULL)
		return false;
	json_array_foreach(array, index, item)
	{
		struct forecast_decision *decision = &forecast->decisions[forecast->n_decisions];

		decision->reason = json_in_text(arena, item, "reason");
		decision->sentence = json_in_text(arena, item, "sentence");
		if (decision->reason == NULL || decision->sentence == NULL ||
		    !read_paths(arena, decision, json_object_get(document, "items"), persons))
			return false;
		if (decision->paths.count > 0)
			forecast->n_decisions++;
		else
			*decision = (struct forecast_decision){0};
	}
	return true;
}

bool forecast_read(struct forecast *forecast, const char *json, size_t length,
    const struct order_list *persons, struct error *error)
{
	json_t *document = json_in_load(json, length, "forecast of the job", error), *group;
	const json_t *groups = json_object_get(document, "groups");
	size_t index;
	bool good;

	*forecast = (struct forecast){0};
	if (document == NULL)
		return false;
	json_array_foreach(groups, index, group)
	{
		forecast->files += json_in_number(group, "files", 0);
		forecast->bytes += json_in_number(group, "bytes", 0);
	}
	good = read_decisions(forecast, document, persons);
	json_decref(document);
	return good || error_no_memory(error);
}

/* --- asking --- */

static size_t add(const char **arguments, size_t count, const char *option, const char *value)
{
	arguments[count++] = option;
	if (value != NULL)
		arguments[count++] = value;
	return count;
}

static size_t add_all(
    const char **arguments, size_t count, const char *option, const struct order_list *values)
{
	for (size_t i = 0; i < values->count; i++)
		count = add(arguments, count, option, values->items[i]);
	return count;
}

bool forecast_make(struct forecast *forecast, const struct look *look,
    const struct look_drive *target, const struct order *order, struct error *error)
{
	size_t most =
		   look->n_drives + order->persons.count + order->takes.count + order->leaves.count,
	       count = 0;
	const char **arguments = calloc(2 * most + 8, sizeof(*arguments));
	struct program_end end;
	struct buf out = {0};
	bool good;

	*forecast = (struct forecast){0};
	if (arguments == NULL)
		return error_no_memory(error);
	count = add(arguments, count, "coldlift", "extract");
	count = add(arguments, count, "--dry-run", "--json");
	count = add(arguments, count, "--open-only", "--no-text");
	count = add_all(arguments, count, "--person", &order->persons);
	count = add_all(arguments, count, "--take", &order->takes);
	count = add_all(arguments, count, "--leave", &order->leaves);
	for (size_t i = 0; i < look->n_drives; i++)
		if (&look->drives[i] == target ||
		    (!look->drives[i].readable && !look->drives[i].stick))
			count = add(arguments, count, "--not", look->drives[i].path);
	good = program_capture(arguments, MOST_BYTES, &out, &end, error);
	if (good && out.length == 0)
		good = error_set(error, STATUS_OTHER, "nothing came of it");
	good = good && forecast_read(forecast, buf_text(&out), out.length, &order->persons, error);
	buf_free(&out);
	free(arguments);
	return good;
}

void forecast_free(struct forecast *forecast)
{
	arena_free(&forecast->arena);
	*forecast = (struct forecast){0};
}

uint64_t forecast_room(uint64_t files, uint64_t bytes)
{
	/*
	 * Files that do not shrink grow by their headers, a line of the record and two of the proof
	 * each; 16 MiB for the rest and for what the file system itself needs.
	 */
	return bytes + bytes / 200 + files * 2048 + ((uint64_t)16 << 20);
}
