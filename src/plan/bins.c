/*
 * Recycle bins in the plan: whose they are, what of them is taken, and how it is called.
 *
 * Things go where a person looks for them: under the path that they had, below one folder for all
 * bins of a person. Several can have had the same path, or one lay in a folder that was deleted
 * later; such go into layers. A layer is numbered at its first folder or name, and in one layer no
 * thing lies in the way of another.
 */
#include "plan/areas.h"

#include "base/utf.h"
#include "plan/names.h"
#include "system/recycle_bin.h"

#include <stdlib.h>
#include <string.h>

/* --- paths --- */

/* Of one path of one group: the highest layer with a thing there, and with one there or below. */
struct taken {
	uint64_t key; /* 0: free */
	uint32_t here, below;
};

/* Paths are known by a hash: of two with the same one the second goes into a higher layer, no more.
 */
struct layers {
	struct taken *slots;
	size_t n_slots, used; /* n_slots is a power of two */
};

static struct taken *find_slot(struct layers *layers, uint64_t key)
{
	size_t at = (size_t)(key * UINT64_C(0x9E3779B97F4A7C15) >> 20) & (layers->n_slots - 1);

	while (layers->slots[at].key != 0 && layers->slots[at].key != key)
		at = (at + 1) & (layers->n_slots - 1);
	return &layers->slots[at];
}

static bool grow(struct layers *layers)
{
	struct layers more = {.n_slots = layers->n_slots ? 2 * layers->n_slots : 1024};

	more.slots = calloc(more.n_slots, sizeof(*more.slots));
	if (!more.slots)
		return false;
	for (size_t i = 0; i < layers->n_slots; i++)
		if (layers->slots[i].key != 0)
			*find_slot(&more, layers->slots[i].key) = layers->slots[i];
	more.used = layers->used;
	free(layers->slots);
	*layers = more;
	return true;
}

/* NULL when memory runs out. Valid until the next call. */
static struct taken *taken_at(struct layers *layers, uint32_t group, const char *path)
{
	uint64_t key = (uint64_t)(group + 1) << 32 | utf_hash_fold(path);
	struct taken *taken;

	if (2 * (layers->used + 1) > layers->n_slots && !grow(layers))
		return NULL;
	taken = find_slot(layers, key);
	if (taken->key == 0) {
		taken->key = key;
		layers->used++;
	}
	return taken;
}

/*
 * Where the next shorter path ends that something must not stand at: the folder above; or the file
 * that this looks like a stream or another form of. 0: there is none.
 */
static size_t shorten(const char *path, size_t length)
{
	static const char stream[] = ".stream-";

	while (length > 0) {
		length--;
		if (path[length] == '\\')
			return length;
		if (path[length] != '.')
			continue;
		if (strncasecmp(path + length, stream, sizeof(stream) - 1) == 0)
			return length;
		for (unsigned form = FORM_CONTENT + 1; form < FORM_COUNT; form++)
			if (strncasecmp(path + length + 1, form_name((enum item_form)form),
				strlen(form_name((enum item_form)form))) == 0)
				return length;
	}
	return 0;
}

/* Goes through all that lies above the path: raises *layer, or with `mark` notes it there. */
static bool each_above(
    struct layers *layers, uint32_t group, const char *path, uint32_t *layer, bool mark)
{
	char *text = strdup(path);
	bool good = text != NULL;

	for (size_t end = good ? shorten(text, strlen(text)) : 0; good && end > 0;
	     end = shorten(text, end)) {
		struct taken *taken;

		text[end] = '\0';
		taken = taken_at(layers, group, text);
		good = taken != NULL;
		if (good && mark && taken->below < *layer)
			taken->below = *layer;
		if (good && !mark && taken->here > *layer)
			*layer = taken->here;
	}
	free(text);
	return good;
}

/* The lowest layer above all that would be in the way; 0: no memory. */
static uint32_t choose_layer(struct layers *layers, uint32_t group, const char *path)
{
	struct taken *taken = taken_at(layers, group, path);
	uint32_t layer = taken ? taken->below : 0;

	if (!taken || !each_above(layers, group, path, &layer, false))
		return 0;
	layer++;
	taken = taken_at(layers, group, path);
	if (!taken)
		return 0;
	taken->here = taken->below = layer;
	return each_above(layers, group, path, &layer, true) ? layer : 0;
}

/* The path without drive and prefixes, from the profile on where it lay in there. */
static void relative_path(struct buf *out, const char *was, const struct person *person)
{
	size_t length = person ? strlen(person->path) : 0;

	if (length > 3 && utf_starts_fold(was, person->path) && was[length] == '\\')
		was += length;
	while (*was) {
		size_t part = strcspn(was, "\\/"), shown = part;

		if (part == 2 && was[1] == ':')
			shown = 1; /* "C:" is "C" in the archive */
		if (part > 0 && strncmp(was, "?", part) != 0) {
			if (out->length > 0)
				buf_add_byte(out, '\\');
			buf_add(out, was, shown);
		}
		was += part + (was[part] != '\0');
	}
}

static bool make_path(struct plan *plan, struct bin_path *made, const char *path, uint32_t layer)
{
	const char *name = strrchr(path, '\\');
	struct buf folder = {0};
	struct name_more more = {.number = layer, .stream = ""};

	for (const char *at = path; name && at <= name;) {
		size_t length = strcspn(at, "\\");
		char *part = arena_text(&plan->arena, at, length);

		if (!part)
			folder.failed = true;
		else
			name_map_more(&folder, part, &more);
		buf_add_byte(&folder, '/');
		more.number = 1;
		at += length + 1;
	}
	*made = (struct bin_path){.folder = arena_strdup(&plan->arena, buf_text(&folder)),
	    .name = arena_strdup(&plan->arena, name ? name + 1 : path),
	    .number = more.number};
	if (folder.failed)
		made->folder = NULL;
	buf_free(&folder);
	return made->folder && made->name;
}

/* --- areas --- */

/* One group for all bins of a person; what belongs to nobody here is shared. NONE: no old system.
 */
static uint32_t group_of_bin(struct layout *layout, const uint32_t *groups, size_t index)
{
	const struct survey *survey = layout->survey;
	const struct bin *bin = &survey->bins[index];
	size_t system = bin->system < survey->n_systems ? bin->system : 0;
	uint32_t group;

	if (survey->n_systems == 0)
		return NONE;
	for (size_t i = 0; i < index; i++)
		if (survey->bins[i].system == bin->system && survey->bins[i].person == bin->person)
			return groups[i];
	group = group_of_place(layout->plan, system, bin->person, "recycle-bin", "recycle-bin");
	if (group == NONE)
		layout->no_memory = true;
	else
		layout->plan->groups[group].is_bin = true;
	return group;
}

static void put_bin(struct layout *layout, const struct bin *bin, uint32_t group)
{
	struct area area = {.kind = AREA_BIN,
	    .reason = REASON_RECYCLE_BIN,
	    .taken_reason = REASON_DELETED,
	    .is_whole = true,
	    .group = group,
	    .base = bin->folder,
	    .settings = NONE};

	area.is_asked =
	    !layout->asked || (bin->system < layout->survey->n_systems &&
				  layout->asked[layout->first_person[bin->system] + bin->person]);
	anchor_put(layout, (struct location){bin->volume, bin->folder}, area_add(layout, area),
	    PRIORITY_SYSTEM, 0);
}

static int latest_first(const void *a, const void *b, void *context)
{
	const struct survey *survey = context;
	uint32_t first = *(const uint32_t *)a, second = *(const uint32_t *)b;
	int64_t one = survey->deleted[first].when, two = survey->deleted[second].when;

	if (one != two)
		return one > two ? -1 : 1;
	return first < second ? -1 : first > second;
}

static bool name_things(struct layout *layout, const uint32_t *groups, uint32_t *order)
{
	const struct survey *survey = layout->survey;
	struct layers layers = {0};
	struct buf path = {0};
	bool good = true;

	for (size_t i = 0; i < survey->n_deleted; i++)
		order[i] = (uint32_t)i;
	qsort_r(order, survey->n_deleted, sizeof(*order), latest_first, (void *)survey);
	for (size_t i = 0; good && i < survey->n_deleted; i++) {
		const struct deleted *thing = &survey->deleted[order[i]];
		const struct bin *bin = &survey->bins[thing->bin];
		const struct catalogue *catalogue = plan_catalogue(survey, thing->volume);
		uint32_t layer;

		buf_clear(&path);
		if (thing->was)
			relative_path(&path, thing->was,
			    bin->system < survey->n_systems
				? &survey->systems[bin->system].persons[bin->person]
				: NULL);
		if (path.length == 0)
			buf_add_text(&path,
			    catalogue_name(catalogue, catalogue->entries[thing->entry].name));
		layer = choose_layer(&layers, groups[thing->bin], buf_text(&path));
		good = layer > 0 && !path.failed &&
		       make_path(layout->plan, &layout->plan->bin_paths[order[i]], buf_text(&path),
			   layer);
	}
	buf_free(&path);
	free(layers.slots);
	return good;
}

void bins_put(struct layout *layout)
{
	const struct survey *survey = layout->survey;
	struct plan *plan = layout->plan;
	uint32_t *groups, *order;

	if (survey->n_bins == 0)
		return;
	groups = calloc(survey->n_bins, sizeof(*groups));
	order = calloc(survey->n_deleted + 1, sizeof(*order));
	plan->bin_paths =
	    arena_array(&plan->arena, survey->n_deleted + 1, sizeof(*plan->bin_paths));
	layout->no_memory = !groups || !order || !plan->bin_paths;
	for (size_t i = 0; i < survey->n_bins && !layout->no_memory; i++) {
		groups[i] = group_of_bin(layout, groups, i);
		if (groups[i] != NONE && !layout->no_memory)
			put_bin(layout, &survey->bins[i], groups[i]);
	}
	if (!layout->no_memory && !name_things(layout, groups, order))
		layout->no_memory = true;
	free(groups);
	free(order);
}

/* --- questions --- */

uint8_t bins_reason(const struct layout *layout, size_t volume, uint32_t entry)
{
	const struct survey *survey = layout->survey;
	const struct catalogue *catalogue = plan_catalogue(survey, volume);
	const struct deleted *thing = recycle_bin_find(survey, volume, entry);
	const char *name = catalogue_name(catalogue, catalogue->entries[entry].name);

	if (!thing)
		return recycle_bin_is_index(name) ? REASON_SYSTEM : REASON_RECYCLE_BIN;
	if (thing->entry == entry && thing->was)
		name = layout->plan->bin_paths[thing - survey->deleted].name;
	return thing->is_recent && kind_is_document(name) ? REASON_DELETED : REASON_RECYCLE_BIN;
}

const struct bin_path *bins_path(const struct plan *plan, uint32_t volume, uint32_t entry)
{
	const struct survey *survey = plan->survey;
	const struct deleted *thing = recycle_bin_find(survey, volume, entry);

	return thing && thing->entry == entry ? &plan->bin_paths[thing - survey->deleted] : NULL;
}

bool bins_was(const struct survey *survey, size_t volume, uint32_t entry, struct buf *path)
{
	const struct catalogue *catalogue = plan_catalogue(survey, volume);
	const struct deleted *thing = recycle_bin_find(survey, volume, entry);
	struct buf whole = {0}, top = {0};

	if (!thing || !thing->was)
		return false;
	catalogue_path(catalogue, entry, &whole);
	catalogue_path(catalogue, thing->entry, &top);
	buf_add_text(path, thing->was);
	if (whole.length > top.length)
		buf_add_text(path, buf_text(&whole) + top.length);
	path->failed = path->failed || whole.failed || top.failed;
	buf_free(&whole);
	buf_free(&top);
	return true;
}

bool plan_was(const struct plan *plan, const struct item *item, struct buf *path)
{
	/* Nothing else needs the way up to be looked at. */
	return item->group != NONE && plan->groups[item->group].is_bin &&
	       bins_was(plan->survey, item->volume, item->entry, path);
}
