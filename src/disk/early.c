/* What was read before anything was wrong: see early.h. */
#include "disk/early.h"

#include "base/buf.h"
#include "disk/salvage.h"

#include <stdlib.h>
#include <string.h>

#define COST 64u /* bytes: what a small piece costs besides its bytes */

struct early_piece {
	uint64_t offset;
	size_t length;
	uint8_t *data;
};

void early_free(struct early *early)
{
	for (size_t i = 0; i < early->count; i++)
		free(early->items[i].data);
	free(early->items);
	*early = (struct early){0};
}

void early_add(struct early *early, uint64_t offset, const void *data, size_t length)
{
	struct early_piece piece = {offset, length, NULL};

	if (length == 0 || early->room < COST || early->room - COST < length ||
	    !array_reserve(&early->items, &early->capacity, early->count + 1, sizeof(piece)))
		return;
	piece.data = malloc(length);
	if (piece.data == NULL)
		return;
	memcpy(piece.data, data, length);
	early->items[early->count++] = piece;
	early->room -= length + COST;
}

void early_give(struct early *early, struct salvage *salvage)
{
	for (size_t i = 0; i < early->count; i++) {
		const struct early_piece *piece = &early->items[i];

		salvage_put(salvage, piece->offset, piece->data, piece->length);
	}
	early_free(early);
}
