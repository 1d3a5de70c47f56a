/* Reading ahead: see sweep.h. */
#include "extract/sweep.h"

#include "disk/ahead.h"
#include "disk/source.h"
#include "extract/again.h"
#include "extract/items.h"
#include "ntfs/extents.h"

#include <pthread.h>
#include <stdlib.h>

#define WINDOW ((size_t)16 << 20) /* bytes */
#define WINDOW_SEGMENTS 4096u
/* Bytes that a drive with moving parts reads in the time of a seek: 9 ms at 150 MB/s. */
#define GAP_SPINNING UINT64_C(1350000)
#define GAP_OTHER UINT64_C(65536)

struct window {
	struct segment segments[WINDOW_SEGMENTS];
	size_t n_segments;
	struct ahead *ahead;
	struct source *source;
	bool direct; /* the user of the window reads by itself: the drive is not to be moved */
};

struct sweep {
	const struct plan *plan;
	const uint32_t *list;
	size_t n_list;
	bool again;  /* all of it will be read once more */
	size_t next; /* where the thread is: in the list, and in that file */
	uint64_t from;
	pthread_t thread;
	pthread_mutex_t lock; /* guards everything below */
	pthread_cond_t changed;
	struct window windows[2];
	size_t made, given, returned; /* windows, ever */
	bool stop, at_end;
};

/* --- making windows ------------------------------------------------------------------------ */

static const struct survey_drive *drive_of(const struct sweep *sweep, const struct item *item)
{
	const struct survey *survey = sweep->plan->survey;

	return &survey->drives[survey->volumes[item->volume].drive];
}

static bool wish(void *context, uint64_t offset, uint64_t length)
{
	return length <= WINDOW && ahead_wish(context, offset, (size_t)length);
}

/*
 * Wishes for as much of the file from sweep->from on as there is room for. Returns where that ends;
 * sweep->from itself when there is no room.
 */
static uint64_t wish_for(struct sweep *sweep, struct window *window, const struct item *item)
{
	const struct catalogue *catalogue = item_catalogue(sweep->plan, item);
	const struct stream *stream = item_stream(sweep->plan, item);
	struct ahead_mark mark = ahead_mark(window->ahead);
	uint64_t length = item_stored_size(sweep->plan, item) - sweep->from;

	/* Only whoever reads the ranges of a huge sparse file knows where they lie. */
	if (form_is_ranges((enum item_form)item->form))
		return sweep->from;
	for (;;) {
		if (extents_visit(
			catalogue, stream, sweep->from, sweep->from + length, wish, window->ahead))
			return sweep->from + length;
		ahead_return(window->ahead, mark);
		if (length <= EXTENTS_STEP)
			return sweep->from;
		length = length / 4 / EXTENTS_STEP * EXTENTS_STEP;
		if (length == 0)
			length = EXTENTS_STEP;
	}
}

static void add_segment(struct sweep *sweep, struct window *window, uint64_t to)
{
	uint32_t index = sweep->list[sweep->next];

	window->segments[window->n_segments++] = (struct segment){index, sweep->from, to};
	sweep->from = to;
	if (to == item_stored_size(sweep->plan, &sweep->plan->items[index])) {
		sweep->next++;
		sweep->from = 0;
	}
}

/* Pieces that are too scattered for a window are left to whoever uses them. */
static void add_direct(struct sweep *sweep, struct window *window, uint64_t size)
{
	uint64_t left = size - sweep->from;

	window->direct = true;
	add_segment(sweep, window, left < EXTENTS_STEP ? size : sweep->from + EXTENTS_STEP);
}

/* What the list holds next, as far as it lies on one drive and there is room. */
static void fill(struct sweep *sweep, struct window *window)
{
	window->n_segments = 0;
	window->direct = false;
	window->source = NULL;
	while (sweep->next < sweep->n_list && window->n_segments < WINDOW_SEGMENTS) {
		const struct item *item = &sweep->plan->items[sweep->list[sweep->next]];
		uint64_t size = item_stored_size(sweep->plan, item), to;
		struct source *source = drive_of(sweep, item)->source;

		if (window->n_segments > 0 && source != window->source)
			return;
		if (window->source == NULL)
			ahead_clear(window->ahead, source_sector_size(source));
		window->source = source;
		to = wish_for(sweep, window, item);
		if (to == sweep->from && size > sweep->from) {
			if (window->n_segments == 0)
				add_direct(sweep, window, size);
			return;
		}
		add_segment(sweep, window, to);
	}
}

static uint64_t gap_of(const struct sweep *sweep, const struct window *window)
{
	const struct item *item = &sweep->plan->items[window->segments[0].item];

	return drive_of(sweep, item)->about.spinning ? GAP_SPINNING : GAP_OTHER;
}

/* --- what a faulty drive is not asked for again -------------------------------------------- */

static bool is_whole(void *context, uint64_t offset, uint64_t length)
{
	return !ahead_has_holes(context, offset, length);
}

struct keeping {
	const struct ahead *ahead;
	struct salvage *salvage;
};

static bool keep(void *context, uint64_t offset, uint64_t length)
{
	const struct keeping *keeping = context;

	ahead_keep(keeping->ahead, offset, length, keeping->salvage);
	return true;
}

/* Will its bytes be asked for once more, in any case? */
static bool is_needed_again(const struct sweep *sweep, const struct segment *segment)
{
	const struct item *item = &sweep->plan->items[segment->item];

	return sweep->again || segment->from != 0 ||
	    segment->to != item_stored_size(sweep->plan, item) ||
	    item_is_read_again(sweep->plan, item);
}

/*
 * Keeps what was read of files that are read more than once (again.h), and of those that have to be
 * read to their end before they can be used: with holes, or with only a piece in the window, since
 * the next one may have holes.
 */
static void keep_needed(const struct sweep *sweep, const struct window *window)
{
	struct keeping keeping = {window->ahead, source_salvage(window->source)};

	if (keeping.salvage == NULL || !source_is_faulty(window->source))
		return;
	for (size_t i = 0; i < window->n_segments; i++) {
		const struct segment *segment = &window->segments[i];
		const struct item *item = &sweep->plan->items[segment->item];
		const struct catalogue *catalogue = item_catalogue(sweep->plan, item);
		const struct stream *stream = item_stream(sweep->plan, item);

		/* Those are read by whoever uses them, and kept by the source itself. */
		if (form_is_ranges((enum item_form)item->form))
			continue;
		if (is_needed_again(sweep, segment) ||
		    !extents_visit(catalogue, stream, segment->from, segment->to, is_whole,
			window->ahead))
			extents_visit(
			    catalogue, stream, segment->from, segment->to, keep, &keeping);
	}
}

/* Waits until a window is free, and the drive is. False: stop. */
static bool wait_for_window(struct sweep *sweep)
{
	bool go_on;

	pthread_mutex_lock(&sweep->lock);
	while (!sweep->stop &&
	       (sweep->made - sweep->returned >= 2 ||
		   (sweep->made > sweep->returned && sweep->windows[(sweep->made - 1) % 2].direct)))
		pthread_cond_wait(&sweep->changed, &sweep->lock);
	go_on = !sweep->stop;
	pthread_mutex_unlock(&sweep->lock);
	return go_on;
}

static void *read_all(void *argument)
{
	struct sweep *sweep = argument;

	while (sweep->next < sweep->n_list && wait_for_window(sweep)) {
		struct window *window = &sweep->windows[sweep->made % 2];

		fill(sweep, window);
		ahead_read(window->ahead, window->source, gap_of(sweep, window));
		keep_needed(sweep, window);
		pthread_mutex_lock(&sweep->lock);
		sweep->made++;
		pthread_cond_broadcast(&sweep->changed);
		pthread_mutex_unlock(&sweep->lock);
	}
	pthread_mutex_lock(&sweep->lock);
	sweep->at_end = true;
	pthread_cond_broadcast(&sweep->changed);
	pthread_mutex_unlock(&sweep->lock);
	return NULL;
}

/* --- using them ---------------------------------------------------------------------------- */

static void free_sweep(struct sweep *sweep)
{
	for (size_t i = 0; i < 2; i++)
		ahead_free(sweep->windows[i].ahead);
	pthread_cond_destroy(&sweep->changed);
	pthread_mutex_destroy(&sweep->lock);
	free(sweep);
}

struct sweep *sweep_open(const struct plan *plan, const uint32_t *list, size_t n_list, bool again,
    struct error *error)
{
	struct sweep *sweep = calloc(1, sizeof(*sweep));

	if (sweep == NULL) {
		error_no_memory(error);
		return NULL;
	}
	sweep->plan = plan;
	sweep->list = list;
	sweep->n_list = n_list;
	sweep->again = again;
	pthread_mutex_init(&sweep->lock, NULL);
	pthread_cond_init(&sweep->changed, NULL);
	for (size_t i = 0; i < 2; i++)
		sweep->windows[i].ahead = ahead_new(WINDOW);
	if (sweep->windows[0].ahead == NULL || sweep->windows[1].ahead == NULL ||
	    pthread_create(&sweep->thread, NULL, read_all, sweep) != 0) {
		error_no_memory(error);
		free_sweep(sweep);
		return NULL;
	}
	return sweep;
}

/* Takes back the window that was given last. */
static void take_back(struct sweep *sweep)
{
	struct window *window = &sweep->windows[sweep->returned % 2];

	if (sweep->returned == sweep->given)
		return;
	source_withdraw(window->source, window->ahead);
	pthread_mutex_lock(&sweep->lock);
	sweep->returned++;
	pthread_cond_broadcast(&sweep->changed);
	pthread_mutex_unlock(&sweep->lock);
}

size_t sweep_next(struct sweep *sweep, const struct segment **segments)
{
	struct window *window = NULL;

	take_back(sweep);
	pthread_mutex_lock(&sweep->lock);
	while (sweep->made == sweep->given && !sweep->at_end)
		pthread_cond_wait(&sweep->changed, &sweep->lock);
	if (sweep->made > sweep->given)
		window = &sweep->windows[sweep->given++ % 2];
	pthread_mutex_unlock(&sweep->lock);
	if (window == NULL)
		return 0;
	/* Without it the bytes are read from the drive, later: nothing is lost but time. */
	source_offer(window->source, window->ahead);
	*segments = window->segments;
	return window->n_segments;
}

void sweep_close(struct sweep *sweep)
{
	if (sweep == NULL)
		return;
	pthread_mutex_lock(&sweep->lock);
	sweep->stop = true;
	pthread_cond_broadcast(&sweep->changed);
	pthread_mutex_unlock(&sweep->lock);
	pthread_join(sweep->thread, NULL);
	take_back(sweep);
	free_sweep(sweep);
}
