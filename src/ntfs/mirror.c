/* Comparing the first records of the file table with their copies: see table.h. */
#include "ntfs/table.h"

#include <stdlib.h>
#include <string.h>

/* The attributes alone: the heads count how often each copy was written. */
static bool are_equal(const struct record *one, const struct record *other)
{
	return one->in_use == other->in_use && one->first == other->first &&
	       one->used == other->used &&
	       memcmp(one->bytes + one->first, other->bytes + other->first,
		   one->used - one->first) == 0;
}

static void say_mended(const char *name, struct findings *findings)
{
	findings_add(findings, WEIGHT_CAUTION, "file-table-from-mirror", name,
	    "Nothing is lost by this alone, but the drive may be failing: do not use it for "
	    "anything else.",
	    "One of the first records of the file table is broken; its copy was used instead.");
}

static void say_unequal(const char *name, struct findings *findings)
{
	findings_add(findings, WEIGHT_NOTE, "file-table-mirror", name, "",
	    "The copy of the file table's first records is damaged, or older than the table; the "
	    "table itself is sound and was used.");
}

void table_compare_mirror(const struct volume *volume, const char *name, struct findings *findings)
{
	uint8_t *bytes = malloc(2 * (size_t)volume->record_size), *copy;
	struct record record, mirrored;
	bool mended = false, unequal = false, was_read;
	uint64_t number;

	if (bytes == NULL)
		return;
	copy = bytes + volume->record_size;
	for (number = 0; number < TABLE_MIRRORED && number < table_records(volume); number++) {
		bool good = table_load_own(volume, number, bytes, &record) == RECORD_GOOD;

		was_read = table_load_mirror(volume, number, copy, &mirrored) == RECORD_GOOD;
		mended = mended || (!good && was_read && number > 0);
		unequal = unequal || (good && (!was_read || !are_equal(&record, &mirrored)));
	}
	/* Of record 0 it was said when the table was looked for. */
	if (mended && !findings_have(findings, "file-table-from-mirror"))
		say_mended(name, findings);
	if (unequal)
		say_unequal(name, findings);
	free(bytes);
}
