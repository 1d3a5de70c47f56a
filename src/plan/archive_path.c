/* Old and archive paths of items: see plan.h. */
#include "plan/inner.h"

#include "plan/names.h"

#define PATH_LIMIT 1024 /* folders in one path */

void plan_old_path(const struct plan *plan, const struct item *item, struct buf *path)
{
	catalogue_path(plan_catalogue(plan->survey, item->volume), item->entry, path);
}

const char *plan_stream_name(const struct catalogue *catalogue, uint32_t entry, uint32_t stream)
{
	const char *name;

	if (stream == NONE || (catalogue->streams[stream].flags & STREAM_KEY) != 0)
		return "";
	name = catalogue_name(catalogue, catalogue->streams[stream].name);
	if (*name == '\0' &&
	    (catalogue->nodes[catalogue->entries[entry].node].flags & NODE_FOLDER) != 0)
		return "$DATA";
	return name;
}

/* Entries from `entry` up to the one below `base`, that one last. *is_lost: the way up was cut. */
static size_t way_up(const struct catalogue *catalogue, uint32_t entry, uint32_t base,
    uint32_t way[PATH_LIMIT], bool *is_lost)
{
	size_t depth = 0;

	*is_lost = false;
	while (depth < PATH_LIMIT) {
		uint32_t parent = catalogue->entries[entry].parent;
		const struct node *folder = catalogue_node(catalogue, parent);

		way[depth++] = entry;
		if (parent == base || parent == NODE_ROOT)
			break;
		if (!folder || folder->n_entries == 0) {
			*is_lost = true;
			break;
		}
		entry = folder->first_entry;
	}
	return depth;
}

/* "C:" is "C" in the archive. */
static void add_volume(struct buf *path, const char *name)
{
	buf_add_byte(path, '/');
	if (name[0] != 0 && name[1] == ':' && name[2] == 0)
		buf_add_byte(path, (uint8_t)name[0]);
	else
		name_map(path, name);
}

void plan_archive_path(const struct plan *plan, const struct item *item, struct buf *path)
{
	const struct catalogue *catalogue = plan_catalogue(plan->survey, item->volume);
	const struct entry *entry = &catalogue->entries[item->entry];
	const char *stream = plan_stream_name(catalogue, item->entry, item->stream);
	const char *ending = form_name((enum item_form)item->form);
	const struct bin_path *deleted = NULL;
	uint32_t way[PATH_LIMIT];
	bool is_lost;
	size_t depth;

	if (item->group == NONE)
		return;
	buf_add_text(path, plan->groups[item->group].folder);
	if (plan->groups[item->group].is_sealed)
		add_volume(path, plan->survey->volumes[item->volume].name);
	/* The folder that stands for the group's own; its streams lie beside it. */
	if (entry->node == item->base) {
		if (*stream) {
			buf_add_text(path, ".stream-");
			name_map(path, stream);
		}
		if (ending)
			buf_printf(path, ".%s", ending);
		return;
	}
	depth = way_up(catalogue, item->entry, item->base, way, &is_lost);
	if (is_lost)
		buf_add_text(path, "/" CATALOGUE_LOST_FOLDER);
	if (plan->groups[item->group].is_bin)
		deleted = bins_path(plan, item->volume, way[depth - 1]);
	for (bool is_first = true; depth > 0; is_first = false) {
		uint32_t at = way[--depth];
		struct name_more more = {
		    .stream = "", .number = twin_number(plan, item->volume, at, NONE)};
		const char *name = catalogue_name(catalogue, catalogue->entries[at].name);

		if (depth == 0 && (*stream || ending)) {
			more.stream = stream;
			more.ending = ending;
			more.stream_number = twin_number(plan, item->volume, at, item->stream);
		}
		buf_add_byte(path, '/');
		if (is_first && deleted) {
			buf_add_text(path, deleted->folder);
			name = deleted->name;
			more.number = deleted->number;
		}
		name_map_more(path, name, &more);
	}
}
