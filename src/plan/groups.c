/* Groups: what shares archive files, under which name, and in which folder of the archive. */
#include "plan/inner.h"

#include "base/utf.h"
#include "plan/names.h"

#include <stdlib.h>
#include <string.h>

static bool key_is_taken(const struct plan *plan, const char *key)
{
	for (size_t i = 0; i < plan->n_groups; i++)
		if (utf_equal_fold(plan->groups[i].key, key))
			return true;
	return false;
}

/* `key`, with the old system's name in front or a number behind where another group has it. */
static const char *unique_key(struct plan *plan, const char *key, const char *system)
{
	const char *unique = key;

	if (key && key_is_taken(plan, key) && *system)
		key = unique = arena_printf(&plan->arena, "%s-%s", system, key);
	for (unsigned number = 2; unique && key_is_taken(plan, unique); number++)
		unique = arena_printf(&plan->arena, "%s-%u", key, number);
	return unique;
}

static uint32_t add_group(struct plan *plan, struct group group, const char *system)
{
	group.key = unique_key(plan, group.key, system);
	if (!group.key || !group.folder || plan->n_groups >= NONE - 1 ||
	    !array_reserve(
		&plan->groups, &plan->groups_capacity, plan->n_groups + 1, sizeof(*plan->groups)))
		return NONE;
	plan->groups[plan->n_groups] = group;
	return (uint32_t)plan->n_groups++;
}

/* A folder of the archive; one that would be called as `reserved` is told apart like a twin. */
static void add_component(struct buf *path, const char *name, const char *reserved)
{
	buf_add_byte(path, '/');
	name_map_more(path, name,
	    &(struct name_more){.number = utf_equal_fold(name, reserved) ? 2 : 1, .stream = ""});
}

static const char *finish_folder(struct plan *plan, struct buf *path)
{
	const char *folder = path->failed ? NULL : arena_strdup(&plan->arena, buf_text(path));

	buf_free(path);
	return folder;
}

/* The mapped form of a name, for keys. */
static const char *safe(struct plan *plan, const char *name)
{
	struct buf text = {0};

	name_map(&text, name);
	return finish_folder(plan, &text);
}

uint32_t group_of_place(
    struct plan *plan, size_t system, size_t person, const char *place, const char *folder)
{
	const struct old_system *of = &plan->survey->systems[system];
	const char *owner = person == SIZE_MAX ? "shared" : of->persons[person].key;
	const char *system_key = safe(plan, of->key);
	struct group group = {.system = system, .person = person, .place = place};
	struct buf path = {0};

	buf_add_text(&path, "data");
	add_component(&path, of->key, "drives");
	add_component(&path, owner, person == SIZE_MAX ? "" : "shared");
	add_component(&path, folder, "");
	group.folder = finish_folder(plan, &path);
	owner = safe(plan, owner);
	if (!owner || !system_key)
		return NONE;
	group.key = arena_printf(&plan->arena, "%s-%s", owner, place);
	return add_group(plan, group, system_key);
}

uint32_t group_of_sealed(struct plan *plan, size_t system, size_t person)
{
	uint32_t group = group_of_place(plan, system, person, "sealed", "sealed");

	if (group != NONE)
		plan->groups[group].is_sealed = true;
	return group;
}

uint32_t group_of_volume(struct plan *plan, size_t volume)
{
	const struct survey_volume *of = &plan->survey->volumes[volume];
	struct group group = {.system = SIZE_MAX, .person = SIZE_MAX, .place = "outside"};
	size_t length = strlen(of->name);
	struct buf path = {0};
	const char *name;

	/* "C:" is "C" in the archive. */
	if (length == 2 && of->name[1] == ':')
		length = 1;
	name = arena_text(&plan->arena, of->name, length);
	if (!name)
		return NONE;
	buf_add_text(&path, "data/drives");
	add_component(&path, name, "");
	group.folder = finish_folder(plan, &path);
	name = safe(plan, name);
	if (!name)
		return NONE;
	group.key = arena_printf(&plan->arena, "drive-%s", name);
	return add_group(plan, group, "");
}

/* --- order --- */

static int place_rank(const struct group *group)
{
	if (strcmp(group->place, "other") == 0)
		return 1;
	if (group->is_sealed)
		return 5;
	if (group->is_bin)
		return 4;
	if (strcmp(group->place, "registry") == 0)
		return 3;
	return strcmp(group->place, "settings") == 0 ? 2 : 0;
}

static int by_owner(const void *a, const void *b, void *context)
{
	const struct plan *plan = context;
	uint32_t first = *(const uint32_t *)a, second = *(const uint32_t *)b;
	const struct group *one = &plan->groups[first], *two = &plan->groups[second];

	/* SIZE_MAX, for nobody's, comes last by itself. */
	if (one->system != two->system)
		return one->system < two->system ? -1 : 1;
	if (one->person != two->person)
		return one->person < two->person ? -1 : 1;
	if (place_rank(one) != place_rank(two))
		return place_rank(one) - place_rank(two);
	return first < second ? -1 : first > second;
}

/* `order[new]` is the old number. */
static void renumber(
    struct plan *plan, const uint32_t *order, uint32_t *numbers, struct group *sorted)
{
	size_t kept = 0;

	for (size_t i = 0; i < plan->n_items; i++)
		if (plan->items[i].group != NONE)
			numbers[plan->items[i].group] = 0;
	for (size_t i = 0; i < plan->n_groups; i++) {
		if (numbers[order[i]] == NONE)
			continue;
		numbers[order[i]] = (uint32_t)kept;
		sorted[kept++] = plan->groups[order[i]];
	}
	for (size_t i = 0; i < plan->n_items; i++)
		if (plan->items[i].group != NONE)
			plan->items[i].group = numbers[plan->items[i].group];
	memcpy(plan->groups, sorted, kept * sizeof(*sorted));
	plan->n_groups = kept;
}

bool groups_sort(struct plan *plan, struct error *error)
{
	size_t count = plan->n_groups;
	uint32_t *order = calloc(count + 1, sizeof(*order));
	uint32_t *numbers = calloc(count + 1, sizeof(*numbers));
	struct group *sorted = calloc(count + 1, sizeof(*sorted));
	bool good = order && numbers && sorted;

	if (good && count > 0) {
		for (size_t i = 0; i < count; i++) {
			order[i] = (uint32_t)i;
			numbers[i] = NONE;
		}
		qsort_r(order, count, sizeof(*order), by_owner, plan);
		renumber(plan, order, numbers, sorted);
	}
	free(order);
	free(numbers);
	free(sorted);
	return good || error_no_memory(error);
}
