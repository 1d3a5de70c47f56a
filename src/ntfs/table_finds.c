/* Which records that were found are believed: see table_finds.h. */
#include "ntfs/table_finds.h"

#include "base/buf.h"
#include "ntfs/index.h"

#include <stdlib.h>
#include <string.h>

#define MOST_STRETCHES 16384u
#define MOST_FACTS (4u << 20)
#define ROUNDS 32u    /* in which stretches vouch for others */
#define FIT_TIMES 4u  /* what fits has to outnumber what does not so many times */
#define BY_CHANCE 1e-4
#define ROOT_BYTES (UINT64_C(16) << 20) /* of its index */
#define NAME_HEADER 0x42u
#define SAYS_NOTHING UINT32_MAX

void finds_free(struct finds *finds)
{
	free(finds->items);
	free(finds->facts);
	free(finds->listed);
	free(finds->believed);
	*finds = (struct finds){0};
}

/* --- what the root lists ------------------------------------------------------------------- */

/* FNV-1a, 64 bits: nobody gains by two names that meet. */
static uint64_t hash_name(uint16_t sequence, uint32_t folder, const uint8_t *name, size_t units)
{
	uint64_t hash = UINT64_C(0xCBF29CE484222325) ^ sequence ^ (uint64_t)folder << 16;

	for (size_t i = 0; i < 2 * units; i++)
		hash = (hash ^ name[i]) * UINT64_C(0x100000001B3);
	return hash;
}

static bool note_listed(void *context, const struct index_name *name)
{
	struct finds *finds = context;

	if (!holes_meet(finds->gaps, name->file.record, 1))
		return true;
	if (!array_reserve(&finds->listed, &finds->listed_capacity, finds->n_listed + 1,
		sizeof(*finds->listed)))
		return false;
	finds->listed[finds->n_listed++] = (struct listed){name->file.record,
	    hash_name(name->file.sequence, NODE_ROOT, name->name, name->name_units)};
	return true;
}

static int compare_listed(const void *a, const void *b)
{
	const struct listed *x = a, *y = b;

	return (x->number > y->number) - (x->number < y->number);
}

bool finds_learn_root(struct finds *finds)
{
	uint64_t budget = ROOT_BYTES;

	if (!index_names(finds->known->volume, NODE_ROOT, &budget, note_listed, finds))
		return false;
	if (finds->n_listed > 1)
		qsort(finds->listed, finds->n_listed, sizeof(*finds->listed), compare_listed);
	return true;
}

/* --- collecting ---------------------------------------------------------------------------- */

/* What the record says of its folder, or of its base record. */
static struct fact fact_of(uint64_t number, const struct record *record)
{
	struct fact fact = {.number = (uint32_t)number, .sequence = record->sequence,
	    .is_folder = record->is_folder, .other = {SAYS_NOTHING, 0}};
	struct attribute attribute;
	size_t position = 0, units;

	if (record->is_extension) {
		fact.other = record->base;
		return fact;
	}
	while (attribute_next(record, &position, &attribute) == ATTRIBUTE_GOOD) {
		if (attribute.type != ATTR_FILE_NAME || !attribute.is_resident ||
		    attribute.value_length < 8)
			continue;
		fact.of_folder = true;
		fact.other = reference_get(attribute.value);
		units = attribute.value_length < NAME_HEADER ? 0 : attribute.value[0x40];
		if (units > 0 && attribute.value_length - NAME_HEADER >= 2 * units)
			fact.name = hash_name(record->sequence, fact.other.record,
			    attribute.value + NAME_HEADER, units);
		break;
	}
	/* Every volume has its root under the same number. */
	if (fact.other.record == NODE_ROOT)
		fact.other.record = SAYS_NOTHING;
	return fact;
}

/* Folders and files in the stretches that are believed. */
static const struct fact *believed_fact(const struct finds *finds, uint32_t number)
{
	size_t low = 0, high = finds->n_believed;
	const struct stretch *stretch;
	const struct fact *facts;

	while (low < high) {
		size_t middle = low + (high - low) / 2;

		if (finds->items[finds->believed[middle]].first <= number)
			low = middle + 1;
		else
			high = middle;
	}
	if (low == 0)
		return NULL;
	stretch = &finds->items[finds->believed[low - 1]];
	facts = finds->facts + stretch->first_fact;
	for (low = 0, high = stretch->n_facts; low < high;) {
		size_t middle = low + (high - low) / 2;

		if (facts[middle].number < number)
			low = middle + 1;
		else
			high = middle;
	}
	return low < stretch->n_facts && facts[low].number == number ? &facts[low] : NULL;
}

enum verdict { VERDICT_NONE, VERDICT_FITS, VERDICT_STRAYS };

/* Does the root list the record as it calls itself? */
static enum verdict judge_listed(const struct finds *finds, const struct fact *fact)
{
	size_t low = 0, high = finds->n_listed;
	enum verdict verdict = VERDICT_NONE;

	while (low < high) {
		size_t middle = low + (high - low) / 2;

		if (finds->listed[middle].number < fact->number)
			low = middle + 1;
		else
			high = middle;
	}
	/* An 8.3 name is listed beside the long one. */
	for (; low < finds->n_listed && finds->listed[low].number == fact->number; low++) {
		if (finds->listed[low].name == fact->name)
			return VERDICT_FITS;
		verdict = VERDICT_STRAYS;
	}
	return fact->of_folder ? verdict : VERDICT_NONE;
}

/* Is the record that the fact names what it says? */
static enum verdict judge(const struct finds *finds, const struct fact *fact)
{
	const struct node *node;
	const struct fact *other;
	uint32_t number = fact->other.record;

	if (number == SAYS_NOTHING)
		return VERDICT_NONE;
	if (holes_meet(finds->gaps, number, 1)) {
		other = believed_fact(finds, number);
		if (other == NULL)
			return VERDICT_NONE;
		return other->sequence == fact->other.sequence &&
			       (!fact->of_folder || other->is_folder) ? VERDICT_FITS : VERDICT_STRAYS;
	}
	/* A number that the table does not have. */
	if (number >= finds->known->n_nodes)
		return VERDICT_STRAYS;
	node = &finds->known->nodes[number];
	if ((node->flags & NODE_DAMAGED) != 0)
		return VERDICT_NONE;
	return (node->flags & NODE_IN_USE) != 0 && node->sequence == fact->other.sequence &&
		       (!fact->of_folder || (node->flags & NODE_FOLDER) != 0) ? VERDICT_FITS :
										VERDICT_STRAYS;
}

static void count_verdict(struct stretch *stretch, enum verdict verdict)
{
	stretch->named += verdict == VERDICT_FITS;
	stretch->misnamed += verdict == VERDICT_STRAYS;
}

static void count_fact(
    const struct finds *finds, struct stretch *stretch, const struct fact *fact)
{
	count_verdict(stretch, judge_listed(finds, fact));
	count_verdict(stretch, judge(finds, fact));
}

static bool is_trusted(const struct stretch *stretch)
{
	return stretch->named > 0 && stretch->named >= FIT_TIMES * stretch->misnamed &&
	       stretch->placed >= FIT_TIMES * stretch->misplaced;
}

void finds_break(struct finds *finds)
{
	if (finds->goes_on && is_trusted(&finds->items[finds->count - 1]))
		finds->covered += finds->items[finds->count - 1].count;
	finds->goes_on = false;
}

/* The last stretch, when it goes on with the record, or a new one. */
static struct stretch *stretch_for(struct finds *finds, uint64_t at, uint64_t number)
{
	if (finds->goes_on) {
		struct stretch *last = &finds->items[finds->count - 1];

		if (number >= last->first &&
		    at - last->at == (number - last->first) * finds->record_size)
			return last;
	}
	finds_break(finds);
	if (finds->count >= MOST_STRETCHES)
		return NULL;
	if (!array_reserve(&finds->items, &finds->capacity, finds->count + 1,
		sizeof(*finds->items))) {
		finds->no_memory = true;
		return NULL;
	}
	finds->items[finds->count] =
	    (struct stretch){.at = at, .first = number, .first_fact = finds->n_facts};
	finds->goes_on = true;
	return &finds->items[finds->count++];
}

struct stretch *finds_add(
    struct finds *finds, uint64_t at, uint64_t number, const struct record *record)
{
	struct stretch *stretch = stretch_for(finds, at, number);
	struct fact fact = fact_of(number, record);

	if (stretch == NULL)
		return NULL;
	stretch->count = number + 1 - stretch->first;
	if (!record->in_use || finds->n_facts >= MOST_FACTS)
		return stretch;
	if (!array_reserve(&finds->facts, &finds->facts_capacity, finds->n_facts + 1,
		sizeof(fact))) {
		finds->no_memory = true;
		return NULL;
	}
	finds->facts[finds->n_facts++] = fact;
	stretch->n_facts++;
	count_fact(finds, stretch, &fact);
	return stretch;
}

/* --- deciding ------------------------------------------------------------------------------ */

static bool meets(const struct stretch *a, const struct stretch *b)
{
	return a->first < b->first + b->count && b->first < a->first + a->count;
}

/* Believes the stretch unless another one that is believed stands in its place. */
static bool believe(struct finds *finds, size_t index)
{
	struct stretch *stretch = &finds->items[index];
	size_t at = 0;

	while (at < finds->n_believed &&
	       finds->items[finds->believed[at]].first < stretch->first)
		at++;
	if ((at > 0 && meets(stretch, &finds->items[finds->believed[at - 1]])) ||
	    (at < finds->n_believed && meets(stretch, &finds->items[finds->believed[at]])))
		return false;
	if (!array_reserve(&finds->believed, &finds->believed_capacity, finds->n_believed + 1,
		sizeof(*finds->believed))) {
		finds->no_memory = true;
		return false;
	}
	memmove(finds->believed + at + 1, finds->believed + at,
	    (finds->n_believed - at) * sizeof(*finds->believed));
	finds->believed[at] = index;
	finds->n_believed++;
	stretch->is_believed = true;
	return true;
}

struct choice {
	uint64_t weight;
	size_t index;
};

static int compare_choices(const void *a, const void *b)
{
	const struct choice *x = a, *y = b;

	if (x->weight != y->weight)
		return x->weight > y->weight ? -1 : 1;
	return (x->index > y->index) - (x->index < y->index);
}

/* By what is believed now, from the best on. Is there anything new? */
static bool believe_named(struct finds *finds, struct choice *choices)
{
	size_t n = 0;
	bool any = false;

	for (size_t i = 0; i < finds->count; i++) {
		struct stretch *stretch = &finds->items[i];

		if (stretch->is_believed)
			continue;
		stretch->named = stretch->misnamed = 0;
		for (size_t k = 0; k < stretch->n_facts; k++)
			count_fact(finds, stretch, &finds->facts[stretch->first_fact + k]);
		if (is_trusted(stretch))
			choices[n++] = (struct choice){stretch->named, i};
	}
	qsort(choices, n, sizeof(*choices), compare_choices);
	for (size_t i = 0; i < n && !finds->no_memory; i++)
		any = believe(finds, choices[i].index) || any;
	return any;
}

/* Could all its files lie where they may by chance? */
static bool is_by_chance(const struct stretch *stretch, double chance)
{
	double all = 1;

	for (uint64_t i = 0; i < stretch->placed && all >= BY_CHANCE; i++)
		all *= chance;
	return all >= BY_CHANCE;
}

static void believe_placed(struct finds *finds, struct choice *choices, double chance)
{
	size_t n = 0;

	for (size_t i = 0; i < finds->count; i++) {
		const struct stretch *stretch = &finds->items[i];

		if (!stretch->is_believed && stretch->named + stretch->misnamed == 0 &&
		    stretch->misplaced == 0 && !is_by_chance(stretch, chance))
			choices[n++] = (struct choice){stretch->placed, i};
	}
	qsort(choices, n, sizeof(*choices), compare_choices);
	for (size_t i = 0; i < n && !finds->no_memory; i++)
		believe(finds, choices[i].index);
}

void finds_believe(struct finds *finds, double chance)
{
	struct choice *choices = calloc(finds->count + 1, sizeof(*choices));
	bool goes_on = choices != NULL;

	finds->no_memory = finds->no_memory || choices == NULL;
	for (unsigned i = 0; goes_on && i < ROUNDS; i++)
		goes_on = believe_named(finds, choices);
	if (choices != NULL)
		believe_placed(finds, choices, chance);
	free(choices);
}
