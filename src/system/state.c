/* Sums over folders; and in which state the old system was left: hibernated, fast start-up. */
#include "system/inner.h"

#include "base/text.h"
#include "ntfs/data.h"
#include "ntfs/reparse.h"

#include <stdlib.h>

/* --- sums --- */

struct summing {
	const struct catalogue *catalogue;
	struct sum sum;
	uint32_t *folders; /* still to visit */
	size_t n_folders, capacity;
	size_t visits; /* a damaged catalogue may hold a loop: no more visits than names */
	uint8_t *seen; /* bit for each node with several names; NULL until the first such node */
};

/* A file with several names counts where it is met first. Without memory it counts each time. */
static bool is_seen(struct summing *summing, uint32_t number)
{
	uint8_t bit = (uint8_t)(1u << number % 8);
	bool seen;

	if (summing->catalogue->nodes[number].n_entries < 2)
		return false;
	if (!summing->seen)
		summing->seen = calloc(summing->catalogue->n_nodes / 8 + 1, 1);
	if (!summing->seen)
		return false;
	seen = summing->seen[number / 8] & bit;
	summing->seen[number / 8] |= bit;
	return seen;
}

/* Bytes of a stream that are only in the cloud. */
static uint64_t missing_of(
    const struct catalogue *catalogue, const struct stream *stream, enum content content)
{
	struct holes missing = {0};
	uint64_t bytes;

	if (content == CONTENT_CLOUD_ONLY)
		return stream->size;
	if (content != CONTENT_CLOUD_PART)
		return 0;
	data_missing(catalogue, stream, &missing);
	bytes = holes_total(&missing);
	holes_free(&missing);
	return bytes;
}

static void add_node(struct summing *summing, uint32_t number)
{
	const struct catalogue *catalogue = summing->catalogue;
	const struct node *node = catalogue_node(catalogue, number);
	uint64_t bytes = 0, missing = 0;
	bool in_cloud = false, is_part = false;

	/* The file system's own, such as the list of bad clusters, lie in the root folder. */
	if (!node || reparse_kind(node->reparse_tag) == REPARSE_KIND_LINK ||
	    (node->flags & NODE_SYSTEM && number != NODE_ROOT) || is_seen(summing, number))
		return;
	if (node->flags & NODE_FOLDER) {
		summing->sum.folders++;
		if (array_reserve(&summing->folders, &summing->capacity, summing->n_folders + 1,
			sizeof(*summing->folders)))
			summing->folders[summing->n_folders++] = number;
		return;
	}
	for (uint32_t i = 0; i < node->n_streams; i++) {
		const struct stream *stream = &catalogue->streams[node->first_stream + i];
		enum content content = data_content(catalogue, stream);

		if (stream->flags & (STREAM_CARRIER | STREAM_KEY))
			continue;
		bytes += stream->size;
		in_cloud =
		    in_cloud || content == CONTENT_CLOUD_ONLY || content == CONTENT_CLOUD_PART;
		is_part = is_part || content == CONTENT_CLOUD_PART;
		missing += missing_of(catalogue, stream, content);
	}
	summing->sum.files++;
	summing->sum.bytes += bytes;
	if (in_cloud) {
		summing->sum.cloud_files++;
		summing->sum.cloud_bytes += bytes;
		summing->sum.missing_bytes += missing;
	}
	if (is_part) {
		summing->sum.part_files++;
		summing->sum.part_bytes += bytes;
	}
}

struct sum survey_sum(const struct survey *survey, struct location location)
{
	struct summing summing = {.catalogue = survey_catalogue(survey, location.volume)};
	const uint32_t *children;

	if (!summing.catalogue || location.node == NONE)
		return summing.sum;
	add_node(&summing, location.node);
	summing.sum.folders = 0;
	while (summing.n_folders > 0) {
		uint32_t folder = summing.folders[--summing.n_folders];
		size_t n_children = catalogue_children(summing.catalogue, folder, &children);

		for (size_t i = 0; i < n_children && summing.visits < summing.catalogue->n_entries;
		     i++) {
			summing.visits++;
			add_node(&summing, summing.catalogue->entries[children[i]].node);
		}
	}
	free(summing.folders);
	free(summing.seen);
	return summing.sum;
}

/* --- where things lie --- */

bool lies_below(const struct survey *survey, struct location at, struct location above)
{
	const struct catalogue *catalogue = survey_catalogue(survey, at.volume);

	if (!catalogue || at.volume != above.volume)
		return false;
	for (unsigned i = 0; i < 512 && at.node != NONE; i++) {
		const struct node *node = catalogue_node(catalogue, at.node);

		if (at.node == above.node)
			return true;
		if (!node || node->n_entries == 0 || at.node == NODE_ROOT)
			return false;
		at.node = catalogue->entries[node->first_entry].parent;
	}
	return false;
}

/*
 * A saved session: real hibernation, or only the fast start-up that a usual shutdown leaves behind?
 * Fast start-up signs everybody off first, so persons' hives are whole; a hibernated session holds
 * them open. So: fast start-up when it is switched on and no person's hive has unwritten changes.
 * (Common practice, no source.)
 */
static bool is_fast_start_up(const struct learn *learn)
{
	uint64_t fast = 0;

	if (!learn->config || learn->control == HIVE_NO_CELL || learn->session_open)
		return false;
	return hive_number(learn->config, learn->control, "Control\\Session Manager\\Power",
		   "HiberbootEnabled", &fast) &&
	       fast == 1;
}

/* The volume has said that it is hibernated; the hives may know that it is less than that. */
void learn_state(struct learn *learn)
{
	const struct survey_volume *volume = &learn->survey->volumes[learn->system->volume];
	struct findings *findings = learn->findings;

	if (!volume->volume->hibernated || learn->system->is_copy || !is_fast_start_up(learn))
		return;
	findings_drop(findings, "hibernated", volume->name);
	findings_add(findings, WEIGHT_NOTE, "fast-start-up", volume->name, "",
	    "The PC was shut down with fast start-up, which keeps a part of the old system in a "
	    "file. "
	    "Everybody was signed off first, so little can be missing because of that.");
}
