/* Files that are read more than once: see again.h. */
#include "extract/again.h"

#include "extract/bookmark_files.h"
#include "extract/same.h"

bool item_is_read_again(const struct plan *plan, const struct item *item)
{
	return same_has_names(plan, item) || bookmark_file_is_read(plan, item);
}
