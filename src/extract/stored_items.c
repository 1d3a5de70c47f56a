/* The entries of a part by the outcomes: see stored_items.h. */
#include "extract/stored_items.h"

#include "extract/items.h"
#include "extract/pieces.h"

void stored_items_start(struct stored_items *items, const struct outcomes *outcomes, uint32_t part)
{
	*items = (struct stored_items){.outcomes = outcomes, .part = part};
}

static void describe(struct stored_items *items, const struct item *item, struct member *member)
{
	const struct node *node = item_node(items->outcomes->plan, item);

	*member = (struct member){
	    .kind = item->kind == ITEM_FOLDER ? MEMBER_FOLDER : MEMBER_FILE,
	    .path = buf_text(&items->path),
	    .created = node->created,
	    .modified = node->modified,
	    .accessed = node->accessed,
	    .is_readonly =
		item->kind == ITEM_FILE && (node->attributes & ATTRIBUTE_READONLY) != 0,
	};
}

/* Moves on to the next entry: whether the one at hand stands in the part. */
static bool step(struct stored_items *items, const struct outcome *outcome)
{
	const struct outcomes *outcomes = items->outcomes;
	uint32_t piece = items->piece;
	size_t item = items->item;

	items->piece++;
	if (items->piece >= outcome->n_pieces) {
		items->piece = 0;
		items->item++;
	}
	if ((outcome->flags & OUTCOME_STORED) == 0)
		return false;
	buf_clear(&items->path);
	outcome_path(outcomes, item, &items->path);
	if (outcome->n_pieces == 0)
		return outcome->part == items->part;
	piece_ending(&items->path, piece + 1, outcome->n_pieces);
	return outcomes->pieces[outcome->first_piece + piece].part == items->part;
}

bool stored_items_next(void *stored, struct member *member)
{
	struct stored_items *items = stored;
	const struct outcomes *outcomes = items->outcomes;

	while (!items->no_memory && items->item < outcomes->n_items) {
		size_t item = items->item;
		bool is_there = step(items, &outcomes->items[item]);

		items->no_memory = items->path.failed;
		if (!is_there || items->no_memory)
			continue;
		describe(items, &outcomes->plan->items[item], member);
		return true;
	}
	return false;
}

void stored_items_free(struct stored_items *items)
{
	buf_free(&items->path);
}
