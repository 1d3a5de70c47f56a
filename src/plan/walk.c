/*
 * The walk: every name of every catalogue once, folder by folder, in the order of names.
 *
 * Without recursion: a stack of open folders, each with its sorted children. A folder's state is
 * known when it closes. Whatever a damaged or hostile catalogue does not connect to the root is
 * walked as if it had lost its folder, so that nothing is silently missing.
 */
#include "plan/inner.h"

#include "base/utf.h"
#include "ntfs/reparse.h"

#include <stdlib.h>
#include <string.h>

struct child {
	uint32_t entry;
	uint32_t hash; /* utf_hash_fold() of its name */
};

/* An open folder. */
struct frame {
	uint32_t area;
	uint32_t item;           /* of the folder, NONE: the root, or the folder of lost ones */
	size_t first, next, end; /* its children, in walk.children */
	size_t path_length;      /* of the old path up to here */
	bool take, leave;        /* by the command line */
	bool has_taken;          /* something in it is taken... */
	uint8_t taken_reason;    /* ...for this reason, the first in the order of the enum... */
	bool has_own;            /* ...and some of it goes into the folder's own group */
};

struct walk {
	struct decider *decider;
	struct plan *plan;
	const struct catalogue *catalogue;
	size_t volume;
	uint8_t *entered; /* bit for each node: it was opened as a folder */
	uint8_t *visited; /* bit for each entry */
	struct frame *frames;
	size_t n_frames, frames_capacity;
	struct child *children;
	size_t n_children, children_capacity;
	uint32_t *hashes; /* for finding twins */
	size_t hashes_capacity;
	bool follows_paths; /* there are patterns to compare with */
	struct buf path;
	bool no_memory;
};

static bool get_bit(const uint8_t *bits, size_t at)
{
	return bits[at / 8] & 1u << at % 8;
}

static void set_bit(uint8_t *bits, size_t at)
{
	bits[at / 8] |= (uint8_t)(1u << at % 8);
}

/* --- items --- */

static bool bytes_arrive(uint8_t state)
{
	return state == STATE_TAKEN || state == STATE_INCOMPLETE || state == STATE_SAME ||
	       state == STATE_LOCKED;
}

/* What the folder around learns from an item in it. */
static void tell_folder(struct walk *walk, const struct item *item)
{
	struct frame *frame = &walk->frames[walk->n_frames - 1];
	uint8_t reason = item->reason;

	if (!bytes_arrive(item->state))
		return;
	if (reason_takes(reason) && (!frame->has_taken || reason < frame->taken_reason))
		frame->taken_reason = reason;
	if (!reason_takes(reason) && !frame->has_taken)
		frame->taken_reason = walk->decider->layout->areas[frame->area].taken_reason;
	frame->has_taken = true;
	if (frame->item != NONE && item->group != NONE &&
	    item->group == walk->plan->items[frame->item].group)
		frame->has_own = true;
}

static uint32_t add_item(
    struct walk *walk, uint32_t entry, uint32_t stream, uint8_t kind, struct decision decision)
{
	struct plan *plan = walk->plan;

	if (plan->n_items >= NONE - 1 || !array_reserve(&plan->items, &plan->items_capacity,
					     plan->n_items + 1, sizeof(*plan->items))) {
		walk->no_memory = true;
		return NONE;
	}
	plan->items[plan->n_items] = (struct item){.volume = (uint32_t)walk->volume,
	    .entry = entry,
	    .stream = stream,
	    .group = decision.group,
	    .base = decision.base,
	    .kind = kind,
	    .state = decision.state,
	    .reason = decision.reason,
	    .form = decision.form};
	/* A folder speaks for itself when it closes. */
	if (kind != ITEM_FOLDER)
		tell_folder(walk, &plan->items[plan->n_items]);
	return (uint32_t)plan->n_items++;
}

/* The streams of a node; `named_only`: the unnamed one counts only when it holds something. */
static void add_streams(struct walk *walk, const struct named *named, bool named_only)
{
	const struct catalogue *catalogue = walk->catalogue;
	const struct node *node = &catalogue->nodes[catalogue->entries[named->entry].node];

	for (uint32_t i = 0; i < node->n_streams && !walk->no_memory; i++) {
		uint32_t stream = node->first_stream + i;
		bool is_unnamed = *catalogue_name(catalogue, catalogue->streams[stream].name) == 0;
		struct decision decision;

		if (catalogue->streams[stream].flags & STREAM_CARRIER)
			continue;
		if (named_only && is_unnamed && catalogue->streams[stream].size == 0)
			continue;
		decision = decide_stream(walk->decider, named, stream);
		/* A link has no content; what stands behind its name is no file of anybody. */
		if (named_only && is_unnamed && !(node->flags & NODE_FOLDER))
			decision = decide_link(walk->decider, named);
		add_item(walk, named->entry, stream, ITEM_FILE, decision);
	}
}

/* --- opening and closing folders --- */

static int by_name(const void *a, const void *b, void *context)
{
	const struct catalogue *catalogue = context;
	const struct child *one = a, *two = b;
	int order = strcmp(catalogue_name(catalogue, catalogue->entries[one->entry].name),
	    catalogue_name(catalogue, catalogue->entries[two->entry].name));

	return order ? order : one->entry < two->entry ? -1 : one->entry > two->entry;
}

static int by_number(const void *a, const void *b)
{
	const uint32_t *one = a, *two = b;

	return *one < *two ? -1 : *one > *two;
}

/* Names that differ only in case side by side, each lot in the order of names. */
static int by_fold(const void *a, const void *b, void *context)
{
	const struct catalogue *catalogue = context;
	const struct child *one = a, *two = b;
	int order;

	if (one->hash != two->hash)
		return one->hash < two->hash ? -1 : 1;
	order = utf_compare_fold(catalogue_name(catalogue, catalogue->entries[one->entry].name),
	    catalogue_name(catalogue, catalogue->entries[two->entry].name));
	return order ? order : by_name(a, b, context);
}

/* Gives numbers, from 2, to all but the first of names that differ only in case. */
static bool number_twins(struct walk *walk, const struct child *children, size_t count)
{
	const struct catalogue *catalogue = walk->catalogue;
	struct child *sorted = malloc(count * sizeof(*sorted));
	uint32_t number = 1;
	bool good = sorted != NULL;

	if (good) {
		memcpy(sorted, children, count * sizeof(*sorted));
		qsort_r(sorted, count, sizeof(*sorted), by_fold, (void *)catalogue);
	}
	for (size_t i = 1; good && i < count; i++) {
		bool are_twins =
		    sorted[i].hash == sorted[i - 1].hash &&
		    utf_equal_fold(
			catalogue_name(catalogue, catalogue->entries[sorted[i].entry].name),
			catalogue_name(catalogue, catalogue->entries[sorted[i - 1].entry].name));

		number = are_twins ? number + 1 : 1;
		if (are_twins)
			good = twins_add(
			    walk->plan, (uint32_t)walk->volume, sorted[i].entry, NONE, number);
	}
	free(sorted);
	return good;
}

/* Twins are rare: the costly look is only taken where hashes are equal. */
static void find_twins(struct walk *walk, size_t first, size_t count)
{
	const struct child *children = &walk->children[first];

	if (!array_reserve(&walk->hashes, &walk->hashes_capacity, count, sizeof(*walk->hashes))) {
		walk->no_memory = true;
		return;
	}
	for (size_t i = 0; i < count; i++)
		walk->hashes[i] = children[i].hash;
	qsort(walk->hashes, count, sizeof(*walk->hashes), by_number);
	for (size_t i = 1; i < count; i++) {
		if (walk->hashes[i] != walk->hashes[i - 1])
			continue;
		if (!number_twins(walk, children, count))
			walk->no_memory = true;
		return;
	}
}

/* Puts the entries of a folder on the stack of children, sorted. Returns how many. */
static size_t push_children(struct walk *walk, uint32_t folder)
{
	const struct catalogue *catalogue = walk->catalogue;
	size_t first = walk->n_children;
	const uint32_t *entries;
	size_t count = catalogue_children(catalogue, folder, &entries);

	if (!array_reserve(&walk->children, &walk->children_capacity, first + count,
		sizeof(*walk->children))) {
		walk->no_memory = true;
		return 0;
	}
	for (size_t i = 0; i < count; i++) {
		const char *name = catalogue_name(catalogue, catalogue->entries[entries[i]].name);

		walk->children[walk->n_children++] =
		    (struct child){.entry = entries[i], .hash = utf_hash_fold(name)};
	}
	qsort_r(&walk->children[first], count, sizeof(*walk->children), by_name, (void *)catalogue);
	if (count > 1)
		find_twins(walk, first, count);
	return count;
}

static void open_folder(struct walk *walk, uint32_t folder, struct frame frame)
{
	if (!array_reserve(
		&walk->frames, &walk->frames_capacity, walk->n_frames + 1, sizeof(*walk->frames))) {
		walk->no_memory = true;
		return;
	}
	frame.first = frame.next = walk->n_children;
	frame.end = frame.first + push_children(walk, folder);
	frame.path_length = walk->path.length;
	walk->frames[walk->n_frames++] = frame;
}

static void close_folder(struct walk *walk)
{
	struct frame frame = walk->frames[--walk->n_frames];
	struct item *item;

	walk->n_children = frame.first;
	if (frame.item == NONE)
		return;
	item = &walk->plan->items[frame.item];
	if (frame.has_taken && item->kind == ITEM_FOLDER && item->reason != REASON_FILE_SYSTEM) {
		if (item->state != STATE_TAKEN) {
			item->state = STATE_TAKEN;
			item->reason = frame.taken_reason;
		}
		/* All that is taken in it goes to persons: it would be an empty folder of the
		 * drive. */
		if (!frame.has_own && item->group != NONE &&
		    walk->plan->groups[item->group].system == SIZE_MAX)
			item->group = NONE;
	}
	if (walk->n_frames == 0)
		return;
	/* A folder without a group still says that something in it is taken. */
	tell_folder(walk, item);
	if (frame.has_taken) {
		struct frame *above = &walk->frames[walk->n_frames - 1];

		if (!above->has_taken || frame.taken_reason < above->taken_reason)
			above->taken_reason = frame.taken_reason;
		above->has_taken = true;
	}
}

/* --- one name --- */

static bool is_link_kind(const struct node *node)
{
	enum reparse_kind kind = reparse_kind(node->reparse_tag);

	return kind == REPARSE_KIND_LINK || kind == REPARSE_KIND_ALIAS;
}

/* What was deleted answers to the path that it had, too. */
static void choose_deleted(struct walk *walk, struct named *named)
{
	const struct choices *choices = &walk->decider->choices;
	struct buf was = {0};

	if (bins_was(walk->plan->survey, named->volume, named->entry, &was)) {
		named->take = named->take ||
			      choices_match(choices->takes, choices->n_takes, buf_text(&was));
		named->leave = named->leave ||
			       choices_match(choices->leaves, choices->n_leaves, buf_text(&was));
	}
	walk->no_memory = walk->no_memory || was.failed;
	buf_free(&was);
}

static void choose(
    struct walk *walk, const struct frame *frame, const char *name, struct named *named)
{
	const struct choices *choices = &walk->decider->choices;

	named->take = frame->take;
	named->leave = frame->leave;
	if (!walk->follows_paths)
		return;
	walk->path.length = frame->path_length;
	buf_add_byte(&walk->path, '\\');
	buf_add_text(&walk->path, name);
	walk->no_memory = walk->no_memory || walk->path.failed;
	named->take =
	    named->take || choices_match(choices->takes, choices->n_takes, buf_text(&walk->path));
	named->leave = named->leave ||
		       choices_match(choices->leaves, choices->n_leaves, buf_text(&walk->path));
	if (walk->decider->layout->areas[frame->area].kind == AREA_BIN)
		choose_deleted(walk, named);
}

static void visit_folder(struct walk *walk, struct named *named, bool is_link)
{
	uint32_t node = walk->catalogue->entries[named->entry].node;
	uint32_t item;

	if (!is_link) {
		named->area = decide_area(
		    walk->decider, named->volume, named->entry, named->hash, named->area);
		if (named->area == NONE) {
			walk->no_memory = true;
			return;
		}
	}
	/* A folder has one name; a second one is treated as a link to it. The root lies in itself.
	 */
	is_link = is_link || (get_bit(walk->entered, node) && node != NODE_ROOT);
	item = add_item(walk, named->entry, NONE, is_link ? ITEM_LINK : ITEM_FOLDER,
	    is_link ? decide_link(walk->decider, named) : decide_folder(walk->decider, named));
	if (walk->no_memory || get_bit(walk->entered, node))
		return;
	add_streams(walk, named, true);
	set_bit(walk->entered, node);
	open_folder(walk, node,
	    (struct frame){
		.area = named->area, .item = item, .take = named->take, .leave = named->leave});
}

static void visit(struct walk *walk, struct child child)
{
	const struct catalogue *catalogue = walk->catalogue;
	const struct frame *frame = &walk->frames[walk->n_frames - 1];
	const struct entry *entry = &catalogue->entries[child.entry];
	const struct node *node = catalogue_node(catalogue, entry->node);
	struct named named = {
	    .volume = walk->volume, .entry = child.entry, .area = frame->area, .hash = child.hash};

	if (!node || get_bit(walk->visited, child.entry))
		return;
	set_bit(walk->visited, child.entry);
	choose(walk, frame, catalogue_name(catalogue, entry->name), &named);
	if (node->flags & NODE_FOLDER) {
		visit_folder(walk, &named, is_link_kind(node));
		return;
	}
	if (is_link_kind(node) && !(node->flags & NODE_SYSTEM)) {
		add_item(walk, child.entry, NONE, ITEM_LINK, decide_link(walk->decider, &named));
		add_streams(walk, &named, true);
		return;
	}
	if (node->n_streams == 0)
		add_item(
		    walk, child.entry, NONE, ITEM_FILE, decide_stream(walk->decider, &named, NONE));
	add_streams(walk, &named, false);
}

/* --- one volume --- */

static void walk_down(struct walk *walk)
{
	while (walk->n_frames > 0 && !walk->no_memory) {
		struct frame *frame = &walk->frames[walk->n_frames - 1];

		if (frame->next < frame->end)
			visit(walk, walk->children[frame->next++]);
		else
			close_folder(walk);
	}
}

static void start_path(struct walk *walk, const char *folder)
{
	buf_clear(&walk->path);
	buf_add_text(&walk->path, walk->plan->survey->volumes[walk->volume].name);
	buf_add_text(&walk->path, folder);
}

/* A folder at the root that is called like the one made up for lost files gives way. */
static void mark_lost_folder_twin(struct walk *walk)
{
	const uint32_t *lost;
	uint32_t entry;

	if (catalogue_children(walk->catalogue, NONE, &lost) == 0)
		return;
	entry = catalogue_child(walk->catalogue, NODE_ROOT, CATALOGUE_LOST_FOLDER);
	if (entry != NONE && !twins_add(walk->plan, (uint32_t)walk->volume, entry, NONE, 2))
		walk->no_memory = true;
}

/* What neither the root nor the list of lost ones leads to: loops that nothing has cut. */
static void walk_unconnected(struct walk *walk, uint32_t area)
{
	const struct catalogue *catalogue = walk->catalogue;

	for (uint32_t i = 0; i < catalogue->n_entries && !walk->no_memory; i++) {
		const struct entry *entry = &catalogue->entries[i];
		const struct node *parent = catalogue_node(catalogue, entry->parent);
		const char *name = catalogue_name(catalogue, entry->name);
		/* A folder that cannot be: nothing lies in it but what is visited now. */
		uint32_t folder = (uint32_t)catalogue->n_nodes;

		if (get_bit(walk->visited, i) || !catalogue_node(catalogue, entry->node))
			continue;
		/* Below what is no folder: with all others there. */
		if (parent && !(parent->flags & NODE_FOLDER))
			folder = entry->parent;
		start_path(walk, "\\" CATALOGUE_LOST_FOLDER);
		open_folder(walk, folder, (struct frame){.area = area, .item = NONE});
		if (walk->no_memory)
			return;
		if (folder == catalogue->n_nodes)
			visit(walk, (struct child){.entry = i, .hash = utf_hash_fold(name)});
		walk_down(walk);
	}
}

static void walk_volume(struct walk *walk)
{
	const struct anchor *root = layout_anchor(walk->decider->layout, walk->volume, NODE_ROOT);
	uint32_t area = walk->decider->layout->root_areas[walk->volume];
	uint32_t root_area = root && root->area != NONE ? root->area : area;

	/* The root's entry lies in the root itself; its folder is open already. */
	if (catalogue_node(walk->catalogue, NODE_ROOT))
		set_bit(walk->entered, NODE_ROOT);
	start_path(walk, "");
	open_folder(walk, NODE_ROOT, (struct frame){.area = root_area, .item = NONE});
	walk_down(walk);
	mark_lost_folder_twin(walk);
	start_path(walk, "\\" CATALOGUE_LOST_FOLDER);
	open_folder(walk, NONE, (struct frame){.area = area, .item = NONE});
	walk_down(walk);
	walk_unconnected(walk, area);
}

static void free_walk(struct walk *walk)
{
	free(walk->entered);
	free(walk->visited);
	free(walk->frames);
	free(walk->children);
	free(walk->hashes);
	buf_free(&walk->path);
}

bool walk_all(struct decider *decider, struct error *error)
{
	const struct survey *survey = decider->layout->survey;
	bool good = true;

	for (size_t v = 0; v < survey->n_volumes && good; v++) {
		const struct catalogue *catalogue = plan_catalogue(survey, v);
		struct walk walk = {.decider = decider,
		    .plan = decider->layout->plan,
		    .catalogue = catalogue,
		    .volume = v,
		    .follows_paths = decider->choices.n_takes + decider->choices.n_leaves > 0};

		if (!catalogue)
			continue;
		walk.entered = calloc(catalogue->n_nodes / 8 + 1, 1);
		walk.visited = calloc(catalogue->n_entries / 8 + 1, 1);
		walk.no_memory = !walk.entered || !walk.visited;
		if (!walk.no_memory)
			walk_volume(&walk);
		good = !walk.no_memory && !decider->layout->no_memory;
		free_walk(&walk);
	}
	return good || error_no_memory(error);
}
