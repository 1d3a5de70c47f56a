/* Clusters that two files claim: see shared.h. */
#include "ntfs/shared.h"

#include "base/text.h"
#include "ntfs/runs.h"

#include <stdlib.h>

struct claim {
	uint64_t first, end; /* clusters */
	uint32_t node;
};

struct claims {
	struct claim *items;
	size_t count, capacity;
	bool failed;
};

static void add_stream(
    struct claims *claims, const struct catalogue *catalogue, const struct stream *stream)
{
	struct run_cursor cursor;
	struct run run;

	/* A carrier is a stream of its own. */
	if ((stream->flags & (STREAM_RESIDENT | STREAM_CARRIED)) != 0)
		return;
	run_cursor_stream(&cursor, catalogue, stream);
	while (run_cursor_next(&cursor, &run) && claims->count <= SHARED_RUNS_MAX) {
		if (run.lcn >= RUN_LOST)
			continue;
		if (!array_reserve(&claims->items, &claims->capacity, claims->count + 1,
			sizeof(*claims->items))) {
			claims->failed = true;
			return;
		}
		claims->items[claims->count++] =
		    (struct claim){run.lcn, run.lcn + run.length, stream->node};
	}
}

static int compare(const void *a, const void *b)
{
	const struct claim *x = a, *y = b;

	if (x->first != y->first)
		return x->first < y->first ? -1 : 1;
	return (x->node > y->node) - (x->node < y->node);
}

/* The two are the first that were found. */
static void say(const struct catalogue *catalogue, const uint32_t pair[2], uint64_t count,
    const char *name, struct findings *findings)
{
	struct buf one = {0}, other = {0};

	catalogue_node_path(catalogue, pair[0], &one);
	catalogue_node_path(catalogue, pair[1], &other);
	findings_add(findings, WEIGHT_CAUTION, "clusters-claimed-twice", name,
	    "Open them, and look for them in a backup: nothing tells which one is right.",
	    "Some files claim places on the drive that another file claims too, so one of the two "
	    "has the wrong content: %s and %s%s%s%s.",
	    buf_text(&one), buf_text(&other), count > 1 ? ", and " : "",
	    count > 1 ? text_count(count - 1).text : "", count > 1 ? " more" : "");
	buf_free(&one);
	buf_free(&other);
}

void shared_report(const struct catalogue *catalogue, const char *name, struct findings *findings)
{
	struct claims claims = {0};
	uint32_t pair[2] = {NONE, NONE};
	uint64_t count = 0;
	struct claim last = {0, 0, NONE};

	for (size_t i = 0; i < catalogue->n_streams && claims.count <= SHARED_RUNS_MAX; i++)
		add_stream(&claims, catalogue, &catalogue->streams[i]);
	if (claims.count > SHARED_RUNS_MAX || claims.failed)
		claims.count = 0;
	if (claims.count > 1)
		qsort(claims.items, claims.count, sizeof(*claims.items), compare);
	for (size_t i = 0; i < claims.count; i++) {
		const struct claim *claim = &claims.items[i];

		if (claim->first < last.end) {
			count++;
			if (count == 1) {
				pair[0] = last.node;
				pair[1] = claim->node;
			}
		}
		if (claim->end > last.end)
			last = *claim;
	}
	free(claims.items);
	if (count > 0)
		say(catalogue, pair, count, name, findings);
}
