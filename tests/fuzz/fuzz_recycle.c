/*
 * Fuzzes the readers of recycle bins' index files. The first byte chooses the reader; every text
 * and number that it gave is looked at.
 */
#include "system/recycle_index.h"

#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void look_at(const struct recycle_note *note)
{
	/* A path that is told starts at a drive or a share. */
	if (note->was && (strlen(note->was) < 3 || (note->was[1] != ':' && note->was[1] != '\\')))
		abort();
	if (note->when < 0 || (note->drive != 0 && (note->drive < 'a' || note->drive > 'z')))
		abort();
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct arena arena = {0};
	struct recycle_note note, *notes;
	size_t count;

	if (size < 1)
		return 0;
	if (data[0] % 2 == 0) {
		if (recycle_note_read(data + 1, size - 1, &arena, &note))
			look_at(&note);
	} else {
		count = recycle_index_read(data + 1, size - 1, &arena, &notes);
		for (size_t i = 0; i < count; i++)
			look_at(&notes[i]);
	}
	arena_free(&arena);
	return 0;
}
