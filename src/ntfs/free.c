/* Counting $Bitmap: see free.h. */
#include "ntfs/free.h"

#include "base/bits.h"
#include "base/moment.h"
#include "ntfs/table.h"

#include <stdlib.h>

#define RECORD_BITMAP 6u
#define PIECE 65536u
#define LIMIT (UINT64_C(64) << 20)
#define SECONDS 5

static bool count_runs(const struct volume *volume, const struct run_list *list, uint64_t *unused)
{
	uint64_t done = 0; /* bits, a multiple of 8 until the end */
	int64_t begun = moment_now() / 1000;
	uint8_t bytes[PIECE];

	*unused = 0;
	while (done < volume->clusters) {
		uint64_t left = volume->clusters - done;
		uint64_t bits = left < 8 * PIECE ? left : 8 * PIECE;

		if (!table_read_runs(volume, list->items, list->count, done / 8, bytes,
			(size_t)(bits + 7) / 8, NULL))
			return false;
		*unused += bits_count_zeros(bytes, bits);
		done += bits;
		if (moment_now() / 1000 - begun > SECONDS)
			return false;
	}
	return true;
}

bool volume_count_free(const struct volume *volume, uint64_t *bytes)
{
	uint8_t *room = malloc(volume->record_size);
	struct run_list list = {0};
	struct attribute attribute;
	struct record record;
	bool good = false;
	uint64_t unused;

	if (room != NULL && volume->clusters / 8 <= LIMIT &&
	    table_load(volume, RECORD_BITMAP, room, &record) == RECORD_GOOD &&
	    record_find(&record, ATTR_LIST, &attribute) == NULL &&
	    record_find(&record, ATTR_DATA, &attribute) != NULL && !attribute.is_resident &&
	    attribute.lowest == 0 && attribute.size >= (volume->clusters + 7) / 8) {
		good = runs_decode(&list, attribute.pairs, attribute.pairs_length, attribute.end,
			   volume->clusters) &&
		       !list.failed && count_runs(volume, &list, &unused);
		if (good)
			*bytes = unused * volume->cluster_size;
	}
	run_list_free(&list);
	free(room);
	return good;
}
