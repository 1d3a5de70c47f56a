/* The mark of a drive: see drive_mark.h. */
#include "extract/drive_mark.h"

#include <stdlib.h>

struct drive_mark *drive_mark_read(struct source *source)
{
	uint64_t size = source_size(source), sector = source_sector_size(source);
	struct drive_mark *mark = calloc(1, sizeof(*mark));
	struct digest digest;

	if (mark == NULL)
		return NULL;
	mark->length = (size_t)(DRIVE_MARK_SECTORS * sector);
	if (mark->length > size)
		mark->length = (size_t)(size - size % sector);
	if (mark->length > 0 &&
	    source_read(source, 0, mark->bytes, mark->length, &mark->holes)) {
		digest = digest_of(mark->bytes, mark->length);
		mark->text = digest_to_text(&digest);
	}
	return mark;
}

void drive_mark_free(struct drive_mark *mark)
{
	if (mark != NULL)
		holes_free(&mark->holes);
	free(mark);
}
