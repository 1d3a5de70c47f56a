/* What became of every item: see outcome.h. */
#include "extract/outcome.h"

#include "extract/pieces.h"

#include <stdlib.h>

struct outcome outcome_planned(const struct outcomes *outcomes, size_t item)
{
	return (struct outcome){.same_as = NONE, .part = NONE, .first_piece = NONE, .ranges = NONE,
	    .state = outcomes->plan->items[item].state,
	    .reason = outcomes->plan->items[item].reason};
}

bool outcomes_start(struct outcomes *outcomes, const struct plan *plan)
{
	size_t n = plan->n_items;

	while (n > 0 && plan->items[n - 1].state == STATE_LEFT)
		n--;
	*outcomes = (struct outcomes){.plan = plan, .n_items = n};
	outcomes->items = calloc(n == 0 ? 1 : n, sizeof(*outcomes->items));
	if (outcomes->items == NULL)
		return false;
	for (size_t i = 0; i < n; i++)
		outcomes->items[i] = outcome_planned(outcomes, i);
	return true;
}

void outcomes_free(struct outcomes *outcomes)
{
	for (size_t i = 0; i < outcomes->n_ranges; i++) {
		holes_free(&outcomes->ranges[i].holes);
		holes_free(&outcomes->ranges[i].missing);
	}
	free(outcomes->ranges);
	free(outcomes->pieces);
	free(outcomes->changed);
	free(outcomes->items);
	*outcomes = (struct outcomes){0};
}

struct outcome outcome_of(const struct outcomes *outcomes, size_t item)
{
	return item < outcomes->n_items ? outcomes->items[item] : outcome_planned(outcomes, item);
}

bool outcomes_note_change(struct outcomes *outcomes, uint32_t item)
{
	if (!outcomes->notes_changes)
		return true;
	if (!array_reserve(&outcomes->changed, &outcomes->changed_capacity, outcomes->n_changed + 1,
		sizeof(*outcomes->changed)))
		return false;
	outcomes->changed[outcomes->n_changed++] = item;
	return true;
}

bool outcomes_set_ranges(struct outcomes *outcomes, uint32_t item, struct ranges *ranges)
{
	if (ranges->holes.failed || ranges->missing.failed || outcomes->n_ranges >= NONE ||
	    !array_reserve(&outcomes->ranges, &outcomes->ranges_capacity, outcomes->n_ranges + 1,
		sizeof(*outcomes->ranges)))
		return false;
	outcomes->items[item].ranges = (uint32_t)outcomes->n_ranges;
	outcomes->ranges[outcomes->n_ranges++] = *ranges;
	*ranges = (struct ranges){{0}, {0}};
	return true;
}

bool outcomes_add_piece(struct outcomes *outcomes, uint32_t item, const struct piece *piece)
{
	struct outcome *outcome = &outcomes->items[item];

	if (outcomes->n_pieces >= NONE ||
	    !array_reserve(&outcomes->pieces, &outcomes->pieces_capacity, outcomes->n_pieces + 1,
		sizeof(*outcomes->pieces)))
		return false;
	if (outcome->n_pieces == 0)
		outcome->first_piece = (uint32_t)outcomes->n_pieces;
	outcome->n_pieces++;
	outcomes->pieces[outcomes->n_pieces++] = *piece;
	return true;
}

void outcomes_drop_pieces(struct outcomes *outcomes, uint32_t item)
{
	struct outcome *outcome = &outcomes->items[item];

	outcomes->n_pieces -= outcome->n_pieces;
	outcome->n_pieces = 0;
	outcome->first_piece = outcome->part = NONE;
	outcome->flags &= (uint8_t)~OUTCOME_STORED;
}

void outcome_path(const struct outcomes *outcomes, size_t item, struct buf *path)
{
	size_t start = path->length;

	plan_archive_path(outcomes->plan, &outcomes->plan->items[item], path);
	if (item < outcomes->n_items && outcomes->items[item].n_pieces > 0)
		piece_shorten(path, start);
}
