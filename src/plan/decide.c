/*
 * The decision for one folder, link or stream: rule, else area; then the command line; then whether
 * the bytes can be had at all.
 */
#include "plan/inner.h"

#include "base/filetime.h"
#include "base/utf.h"
#include "ntfs/data.h"
#include "ntfs/reparse.h"
#include "ntfs/view.h"
#include "system/bulk_data.h"
#include "system/program_licences.h"

#include <string.h>

#define DAY (INT64_C(86400) * FILETIME_PER_SECOND)

static struct question ask(
    const struct decider *decider, size_t volume, uint32_t entry, uint32_t hash, uint32_t area)
{
	const struct catalogue *catalogue = plan_catalogue(decider->layout->survey, volume);

	return (struct question){.layout = decider->layout,
	    .volume = volume,
	    .node = catalogue->entries[entry].node,
	    .parent = catalogue->entries[entry].parent,
	    .name = catalogue_name(catalogue, catalogue->entries[entry].name),
	    .hash = hash,
	    .area = &decider->layout->areas[area]};
}

static uint32_t area_at(
    const struct decider *decider, size_t volume, uint32_t entry, uint32_t hash, uint32_t area)
{
	struct layout *layout = decider->layout;
	const struct catalogue *catalogue = plan_catalogue(layout->survey, volume);
	uint32_t node = catalogue->entries[entry].node;
	const struct anchor *anchor = layout_anchor(layout, volume, node);
	struct question question = ask(decider, volume, entry, hash, area);
	const struct rule *rule;

	if (anchor && anchor->area != NONE)
		return anchor->area;
	rule = rules_find(&decider->rules, RULE_FOLDER, &question);
	if (rule && (rule->reason != layout->areas[area].reason || rule->is_whole))
		return area_by_rule(layout, area, rule, catalogue->nodes[node].created);
	if (layout->areas[area].is_top && layout->areas[area].reason == REASON_PROGRAM)
		return area_of_program(layout, area, catalogue->nodes[node].created);
	return area;
}

uint32_t decide_area(
    const struct decider *decider, size_t volume, uint32_t entry, uint32_t hash, uint32_t area)
{
	struct layout *layout = decider->layout;
	uint32_t node = plan_catalogue(layout->survey, volume)->entries[entry].node;
	uint32_t found = area_at(decider, volume, entry, hash, area);

	if (found == NONE || layout->areas[found].is_bulk ||
	    layout->areas[found].reason != REASON_PROGRAM ||
	    !is_bulk(layout->survey, (struct location){volume, node}))
		return found;
	return area_of_bulk(layout, found);
}

/* Why something in the area is left or taken where nothing else is said. */
static uint8_t reason_in(const struct area *area)
{
	return area->reason == REASON_PROGRAM && area->is_bulk ? REASON_OFFERED : area->reason;
}

/*
 * Data that a program keeps beside itself: of a data kind, and changed more than a day after the
 * program's folder, or the file itself, was made. The latter also finds it where a whole drive was
 * copied to another one and every folder looks new.
 */
static bool is_changed_data(const struct area *area, const struct node *node, const char *name)
{
	if (area->reason != REASON_PROGRAM || !kind_is_data(name, area->kind != AREA_PROGRAM_DATA))
		return false;
	return (area->since > 0 && node->modified > area->since + DAY) ||
	       node->modified > node->created + DAY;
}

/*
 * Into the sealed group of the person whose group it is; what is nobody's stays where it is. Paths
 * there are the old ones, since the group takes things from everywhere.
 */
static void seal(const struct decider *decider, struct decision *decision)
{
	struct layout *layout = decider->layout;
	const struct group *group;
	size_t system, person;
	uint32_t *sealed;

	if (decision->group == NONE)
		return;
	group = &layout->plan->groups[decision->group];
	system = group->system;
	person = group->person;
	if (system == SIZE_MAX || person == SIZE_MAX)
		return;
	sealed = &layout->sealed[layout->first_person[system] + person];
	if (*sealed == NONE)
		*sealed = group_of_sealed(layout->plan, system, person);
	if (*sealed == NONE) {
		layout->no_memory = true;
		return;
	}
	decision->group = *sealed;
	decision->base = NODE_ROOT;
}

/* Puts the reason into words of state, as far as the plan alone knows. */
static struct decision make_decision(
    const struct decider *decider, const struct area *area, uint8_t reason)
{
	const struct area *home = area;
	struct decision decision;

	if (reason == REASON_SETTINGS && area->settings != NONE)
		home = &decider->layout->areas[area->settings];
	decision = (struct decision){.state = reason_takes(reason) ? STATE_TAKEN : STATE_LEFT,
	    .reason = reason,
	    .group = home->group,
	    .base = home->base};
	if (reason == REASON_KEYS)
		seal(decider, &decision);
	return decision;
}

/*
 * Into the group of its person's hives: they are private beyond other settings, of use only as a
 * whole, and nothing that anybody opens by the way.
 */
static void keep_apart(const struct decider *decider, size_t volume, struct decision *decision)
{
	struct layout *layout = decider->layout;
	const struct group *group;
	const struct person *person;
	uint32_t *registry;

	if (decision->group == NONE)
		return;
	group = &layout->plan->groups[decision->group];
	if (group->system == SIZE_MAX || group->person == SIZE_MAX)
		return;
	/* Paths in the group are those below the profile; settings that were moved have others. */
	person = &layout->survey->systems[group->system].persons[group->person];
	if (person->profile.volume != volume || person->profile.node != decision->base)
		return;
	registry = &layout->registries[layout->first_person[group->system] + group->person];
	if (*registry == NONE)
		*registry = group_of_place(
		    layout->plan, group->system, group->person, "registry", "registry");
	if (*registry == NONE)
		layout->no_memory = true;
	else
		decision->group = *registry;
}

static void leave(struct decision *decision, uint8_t reason)
{
	decision->state = STATE_LEFT;
	decision->reason = reason;
}

/* Nothing that the command line says takes these. */
static bool is_never_taken(uint8_t reason)
{
	return reason == REASON_FILE_SYSTEM || reason == REASON_LINK || reason == REASON_ZONE_MARK;
}

static void apply_command_line(
    const struct named *named, const struct area *area, struct decision *decision)
{
	if (decision->state == STATE_TAKEN && !area->is_asked)
		leave(decision, REASON_NOT_ASKED);
	if (named->take && decision->state == STATE_LEFT && !is_never_taken(decision->reason)) {
		decision->state = STATE_TAKEN;
		decision->reason = area->taken_reason;
	}
	if (named->leave && decision->state == STATE_TAKEN)
		leave(decision, REASON_NOT_ASKED);
}

/* Into the group of what lies on the volume outside of profiles. */
static void give_to_volume(const struct decider *decider, size_t volume, struct decision *decision)
{
	const struct area *root = &decider->layout->areas[decider->layout->root_areas[volume]];

	decision->group = root->group;
	decision->base = root->base;
}

struct decision decide_folder(const struct decider *decider, const struct named *named)
{
	const struct area *area = &decider->layout->areas[named->area];
	const struct catalogue *catalogue = plan_catalogue(decider->layout->survey, named->volume);
	const struct node *node = &catalogue->nodes[catalogue->entries[named->entry].node];
	struct decision decision = make_decision(decider, area, reason_in(area));

	/* Nobody's in particular: the bin's own folder is that of the archive's group. */
	if (area->kind == AREA_BIN && catalogue->entries[named->entry].node == area->base)
		give_to_volume(decider, named->volume, &decision);
	if (node->flags & NODE_SYSTEM)
		leave(&decision, REASON_FILE_SYSTEM);
	else
		apply_command_line(named, area, &decision);
	return decision;
}

struct decision decide_link(const struct decider *decider, const struct named *named)
{
	const struct area *area = &decider->layout->areas[named->area];

	return make_decision(decider, area, REASON_LINK);
}

/* The compressed bytes of a file that cannot be decoded: no stream of its own. */
static bool is_undecoded(const struct catalogue *catalogue, const struct stream *stream)
{
	const struct node *node = &catalogue->nodes[stream->node];
	const struct stream *first = &catalogue->streams[node->first_stream];

	return reparse_kind(node->reparse_tag) == REPARSE_KIND_WOF && first != stream &&
	       utf_equal_fold(catalogue_name(catalogue, stream->name), "WofCompressedData") &&
	       data_content(catalogue, first) == CONTENT_SYSTEM_COMPRESSED;
}

/*
 * tar and folders have a form for sparse files, and zip makes little of zeros, but whoever hashes a
 * file, now or when it is proven, has to go through every zero: some minutes for this much on an
 * old PC, and more would take hours. What such a file holds, and where, says as much. More ranges
 * than a line of the record should list make it an ordinary file again.
 */
#define LARGE_GAP (UINT64_C(64) << 30)
#define MOST_RANGES 8192u

static bool is_mostly_gaps(
    const struct catalogue *catalogue, const struct stream *stream, enum view view)
{
	struct holes ranges = {0};
	bool result;

	if ((stream->flags & (STREAM_RESIDENT | STREAM_CARRIED)) != 0 || stream->size < LARGE_GAP)
		return false;
	view_ranges(catalogue, stream, view, &ranges);
	result = !ranges.failed && ranges.count <= MOST_RANGES &&
		 stream->size - holes_total(&ranges) >= LARGE_GAP;
	holes_free(&ranges);
	return result;
}

static void apply_content(const struct decider *decider, const struct catalogue *catalogue,
    const struct stream *stream, struct decision *decision)
{
	static const uint8_t outcomes[][2] = {
	    [CONTENT_READABLE] = {STATE_TAKEN, 0},
	    [CONTENT_CLOUD_ONLY] = {STATE_ABSENT, REASON_CLOUD_ONLY},
	    [CONTENT_CLOUD_PART] = {STATE_INCOMPLETE, REASON_CLOUD_PART},
	    [CONTENT_ENCRYPTED] = {STATE_LOCKED, REASON_ENCRYPTED},
	    [CONTENT_SYSTEM_COMPRESSED] = {STATE_UNREADABLE, REASON_SYSTEM_COMPRESSED},
	    [CONTENT_DEDUPLICATED] = {STATE_UNREADABLE, REASON_DEDUPLICATED},
	    [CONTENT_DAMAGED] = {STATE_UNREADABLE, REASON_DAMAGED},
	};
	enum content content = data_content(catalogue, stream);

	if (stream->flags & STREAM_KEY) {
		decision->form = FORM_KEY;
		decision->reason = REASON_KEYS;
		seal(decider, decision);
	}
	if (is_undecoded(catalogue, stream))
		content = CONTENT_SYSTEM_COMPRESSED;
	if (content != CONTENT_READABLE) {
		decision->state = outcomes[content][0];
		decision->reason = outcomes[content][1];
	}
	if (content == CONTENT_ENCRYPTED) {
		decision->form = is_mostly_gaps(catalogue, stream, VIEW_RAW) ? FORM_ENCRYPTED_RANGES
									     : FORM_ENCRYPTED;
		seal(decider, decision);
	} else if ((content == CONTENT_READABLE || content == CONTENT_CLOUD_PART) &&
		   is_mostly_gaps(catalogue, stream, VIEW_CONTENT)) {
		decision->form = FORM_RANGES;
	}
}

/* The file system's own, or only a name that it has for somebody's file: see NODE_SYSTEM. */
static bool is_file_systems(const struct catalogue *catalogue, uint32_t entry)
{
	uint32_t parent = catalogue->entries[entry].parent;
	const struct node *folder = catalogue_node(catalogue, parent);

	return (catalogue->nodes[catalogue->entries[entry].node].flags & NODE_SYSTEM) != 0 ||
	       (folder && parent != NODE_ROOT && (folder->flags & NODE_SYSTEM) != 0);
}

/* By rule and area alone; *rule is the one that said so, or NULL. */
static uint8_t reason_by_rule(const struct decider *decider, const struct named *named,
    const struct node *node, const struct catalogue *catalogue, const struct rule **rule)
{
	const struct area *area = &decider->layout->areas[named->area];
	struct question question =
	    ask(decider, named->volume, named->entry, named->hash, named->area);

	if (node->n_streams > 0 &&
	    *catalogue_name(catalogue, catalogue->streams[node->first_stream].name) == 0)
		question.size = catalogue->streams[node->first_stream].size;
	/* In a folder that is left as a whole, no file is anything else. */
	*rule = reason_takes(area->reason) || area->reason == REASON_PROGRAM
		   ? rules_find(&decider->rules, RULE_FILE, &question)
		   : NULL;
	if (*rule)
		return (*rule)->reason;
	if (is_changed_data(area, node, question.name))
		return REASON_CHANGED;
	return area->reason == REASON_PROGRAM &&
		       licence_file_is(question.name, question.size)
		   ? REASON_OFFERED
		   : reason_in(area);
}

struct decision decide_stream(
    const struct decider *decider, const struct named *named, uint32_t stream)
{
	const struct catalogue *catalogue = plan_catalogue(decider->layout->survey, named->volume);
	const struct node *node = &catalogue->nodes[catalogue->entries[named->entry].node];
	const struct area *area = &decider->layout->areas[named->area];
	struct question question =
	    ask(decider, named->volume, named->entry, named->hash, named->area);
	const struct rule *rule = NULL;
	struct decision decision;
	uint8_t reason;

	if (stream != NONE) {
		question.name = catalogue_name(catalogue, catalogue->streams[stream].name);
		question.hash = utf_hash_fold(question.name);
		if (*question.name && !(catalogue->streams[stream].flags & STREAM_KEY))
			rule = rules_find(&decider->rules, RULE_STREAM, &question);
	}
	if (is_file_systems(catalogue, named->entry))
		reason = REASON_FILE_SYSTEM;
	else if (rule)
		reason = rule->reason;
	else if (node->flags & NODE_FOLDER)
		reason = reason_in(area);
	else if (area->kind == AREA_STRAY)
		reason = strays_reason(decider->layout, area,
		    catalogue_name(catalogue, catalogue->entries[named->entry].name), node);
	else if (area->kind == AREA_BIN)
		reason = bins_reason(decider->layout, named->volume, named->entry);
	else
		reason = reason_by_rule(decider, named, node, catalogue, &rule);
	if (addition_is_taken(decider->layout, named->volume,
		catalogue->entries[named->entry].node, reason))
		reason = REASON_ADDED;
	decision = make_decision(decider, area, reason);
	if (area->kind == AREA_BIN && reason == REASON_SYSTEM)
		give_to_volume(decider, named->volume, &decision);
	if (rule && rule->is_registry)
		keep_apart(decider, named->volume, &decision);
	if (reason != REASON_FILE_SYSTEM)
		apply_command_line(named, area, &decision);
	if (decision.state != STATE_TAKEN)
		return decision;
	if (stream == NONE) {
		decision.state = STATE_UNREADABLE;
		decision.reason = REASON_DAMAGED;
	} else {
		apply_content(decider, catalogue, &catalogue->streams[stream], &decision);
	}
	return decision;
}
