/*
 * The rules, looked up by name.
 *
 * Of a rule's pattern only the last part is looked up, in a table; the parts before it are compared
 * with the folders above, going up. So a name costs one hash and few comparisons, however many
 * rules there are.
 */
#include "plan/inner.h"

#include "base/utf.h"

#include <string.h>

#define PATH_LIMIT 1024 /* folders in one path */
#define PART_LIMIT 16   /* parts in one pattern */

/* --- compiling --- */

static bool compile_part(
    struct rule_part *part, const char *text, size_t length, struct arena *arena)
{
	part->text = arena_text(arena, text, length);
	if (!part->text || !pattern_compile(arena, part->text, &part->pattern))
		return false;
	part->is_folders = strcmp(part->text, "**") == 0;
	return true;
}

static bool compile_rule(struct compiled *compiled, const struct rule *rule, struct arena *arena)
{
	const char *text = rule->pattern;

	*compiled = (struct compiled){.rule = rule,
	    .parts = arena_array(arena, PART_LIMIT, sizeof(*compiled->parts)),
	    .next = NONE};
	if (!compiled->parts)
		return false;
	while (*text && compiled->n_parts < PART_LIMIT) {
		size_t length = strcspn(text, "\\");

		if (!compile_part(&compiled->parts[compiled->n_parts++], text, length, arena))
			return false;
		text += length + (text[length] != 0);
	}
	return compiled->n_parts > 0;
}

/* Appends to a chain, so that the table's order is kept. */
static void append(struct rule_index *index, uint32_t *chain, uint32_t rule)
{
	while (*chain != NONE)
		chain = &index->rules[*chain].next;
	*chain = rule;
}

static void file_under(struct rule_index *index, uint32_t number)
{
	const struct compiled *compiled = &index->rules[number];
	const struct rule_part *last = &compiled->parts[compiled->n_parts - 1];
	uint8_t kind = compiled->rule->kind;

	if (last->pattern.is_plain)
		append(
		    index, &index->by_name[kind][utf_hash_fold(last->text) % RULE_BUCKETS], number);
	else if (last->text[0] == '*' && last->text[1] == '.' && !strpbrk(last->text + 2, "*?."))
		append(index,
		    &index->by_extension[kind][utf_hash_fold(last->text + 2) % RULE_BUCKETS],
		    number);
	else
		append(index, &index->other[kind], number);
}

bool rules_compile(
    struct rule_index *index, const struct rule *rules, size_t count, struct arena *arena)
{
	memset(index->by_name, 0xFF, sizeof(index->by_name));
	memset(index->by_extension, 0xFF, sizeof(index->by_extension));
	memset(index->other, 0xFF, sizeof(index->other));
	index->count = count;
	index->rules = arena_array(arena, count, sizeof(*index->rules));
	if (!index->rules)
		return false;
	for (size_t i = 0; i < count; i++) {
		if (!compile_rule(&index->rules[i], &rules[i], arena))
			return false;
		file_under(index, (uint32_t)i);
	}
	return true;
}

/* --- matching --- */

static bool is_anchored(uint8_t scope)
{
	return scope >= SCOPE_PROFILE;
}

static bool part_matches(const struct rule_part *part, const char *name)
{
	return part->pattern.is_plain ? utf_equal_fold(part->text, name)
				      : pattern_match(&part->pattern, name);
}

static bool starts_at(const struct question *question, uint8_t scope, uint32_t folder)
{
	const struct anchor *anchor;

	if (!is_anchored(scope))
		return true;
	anchor = layout_anchor(question->layout, question->volume, folder);
	return anchor && (anchor->scopes & 1u << scope);
}

/* The folder above; NONE at the root, for lost ones, and beyond. *name is the folder's own. */
static uint32_t go_up(const struct catalogue *catalogue, uint32_t folder, const char **name)
{
	const struct node *node = catalogue_node(catalogue, folder);
	const struct entry *entry;

	*name = NULL;
	if (!node || node->n_entries == 0 || folder == NODE_ROOT)
		return NONE;
	entry = &catalogue->entries[node->first_entry];
	*name = catalogue_name(catalogue, entry->name);
	return entry->parent;
}

/*
 * Do the first `n` parts of the pattern fit the folders from `folder` up? The depth of the
 * recursion is the number of `**` in the pattern.
 */
static bool fits_above(
    const struct question *question, const struct compiled *compiled, size_t n, uint32_t folder)
{
	const struct catalogue *catalogue =
	    plan_catalogue(question->layout->survey, question->volume);
	const char *name;

	for (; n > 0; n--) {
		const struct rule_part *part = &compiled->parts[n - 1];
		uint32_t above;

		if (part->is_folders) {
			for (unsigned i = 0; i < PATH_LIMIT && folder != NONE; i++) {
				if (fits_above(question, compiled, n - 1, folder))
					return true;
				folder = go_up(catalogue, folder, &name);
			}
			return false;
		}
		above = go_up(catalogue, folder, &name);
		if (!name || !part_matches(part, name))
			return false;
		folder = above;
	}
	return starts_at(question, compiled->rule->scope, folder);
}

/* Does the rule count in an area of this kind? */
static bool counts_in(const struct rule *rule, const struct area *area)
{
	if (is_anchored(rule->scope) || rule->kind == RULE_STREAM)
		return true;
	if (area->is_whole)
		return false;
	/* What is left already stays so, unless the rule takes it. */
	if (!reason_takes(area->reason) && area->reason != REASON_PROGRAM &&
	    !reason_takes(rule->reason))
		return false;
	switch (rule->scope) {
	case SCOPE_SETTINGS:
		return area->kind == AREA_SETTINGS;
	case SCOPE_SOFTWARE:
		return area->kind == AREA_SETTINGS || area->kind == AREA_PROGRAM ||
		       area->kind == AREA_PROGRAM_DATA;
	case SCOPE_PROGRAMS:
		return area->kind == AREA_PROGRAM || area->kind == AREA_PROGRAM_DATA;
	default:
		return area->kind != AREA_SYSTEM && area->kind != AREA_SERVICE;
	}
}

/* Does the folder that is asked about hold what the rule knows it by? */
static bool holds(const struct question *question, const struct rule *rule)
{
	const struct catalogue *catalogue =
	    plan_catalogue(question->layout->survey, question->volume);

	return rule->holds == NULL ||
	       catalogue_child(catalogue, question->node, rule->holds) != NONE;
}

static bool applies(const struct question *question, const struct compiled *compiled)
{
	const struct rule *rule = compiled->rule;
	size_t last = compiled->n_parts - 1;

	return counts_in(rule, question->area) &&
	       (rule->at_least == 0 || question->size >= rule->at_least) &&
	       (rule->at_most == 0 || question->size <= rule->at_most) &&
	       part_matches(&compiled->parts[last], question->name) &&
	       fits_above(question, compiled, last, question->parent) && holds(question, rule);
}

/* The first of a chain that applies and stands before `best` in the table. */
static uint32_t first_of(
    const struct rule_index *index, uint32_t chain, uint32_t best, const struct question *question)
{
	for (uint32_t i = chain; i != NONE && i < best; i = index->rules[i].next)
		if (applies(question, &index->rules[i]))
			return i;
	return best;
}

const struct rule *rules_find(
    const struct rule_index *index, enum rule_kind kind, const struct question *question)
{
	const char *dot = strrchr(question->name, '.');
	uint32_t best = NONE;

	best = first_of(index, index->by_name[kind][question->hash % RULE_BUCKETS], best, question);
	if (dot)
		best = first_of(index,
		    index->by_extension[kind][utf_hash_fold(dot + 1) % RULE_BUCKETS], best,
		    question);
	best = first_of(index, index->other[kind], best, question);
	return best == NONE ? NULL : index->rules[best].rule;
}
