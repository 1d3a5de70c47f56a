/* Rounds over drives that do not read well: see rounds.h. */
#include "extract/rounds.h"

#include "disk/salvage.h"
#include "disk/source.h"
#include "extract/again.h"
#include "extract/interrupt.h"
#include "extract/items.h"
#include "ntfs/extents.h"

#include <stdlib.h>

/* --- stores -------------------------------------------------------------------------------- */

bool rounds_start(const struct survey *survey, const struct job *job,
    const struct rounds_options *options, struct findings *findings, struct error *error)
{
	if (options->stores != NULL && !stores_settle(options->stores, survey, job, error))
		return false;
	for (size_t i = 0; i < survey->n_drives; i++) {
		const struct survey_drive *drive = &survey->drives[i];

		if (drive->source == NULL)
			continue;
		if (options->careful || drive->faults.verdict == FAULTS_FAILING ||
		    source_has_holes(drive->source))
			source_set_faulty(drive->source);
		if (source_is_weary(drive->source))
			findings_add(findings, WEIGHT_LOSS, "patience-ended-early",
			    drive->about.path,
			    "To try longer, extract once more with a longer --patience, or without it.",
			    "The time that was given to what does not read at once (--patience) was "
			    "used up before it was known what is on this drive: files may be missing "
			    "whose entries in the file table did not read.");
		source_set_manner(drive->source, SOURCE_FIRST_TRY);
	}
	return true;
}

static struct salvage *salvage_of(const struct survey *survey, size_t drive)
{
	struct source *source = survey->drives[drive].source;

	return source == NULL ? NULL : source_salvage(source);
}

void rounds_set_reserve(const struct survey *survey, uint64_t bytes)
{
	for (size_t i = 0; i < survey->n_drives; i++)
		if (salvage_of(survey, i) != NULL)
			salvage_set_reserve(salvage_of(survey, i), bytes);
}

bool rounds_sync(const struct survey *survey, struct error *error)
{
	for (size_t i = 0; i < survey->n_drives; i++) {
		struct salvage *salvage = salvage_of(survey, i);

		if (salvage != NULL && !salvage_sync(salvage, error))
			return false;
	}
	return true;
}

void rounds_holes(const struct survey *survey, size_t drive, struct holes *holes)
{
	struct source *source = survey->drives[drive].source;
	struct holes found = {0};
	uint64_t size;

	if (source == NULL)
		return;
	size = source_size(source);
	source_holes(source, &found);
	if (source_salvage(source) != NULL)
		salvage_notes(source_salvage(source), SALVAGE_GIVEN_UP, &found);
	/* The last sector of an image can reach over its end. */
	for (size_t i = 0; i < found.count; i++)
		if (found.items[i].offset < size)
			holes_add(holes, found.items[i].offset,
			    found.items[i].length < size - found.items[i].offset ?
				found.items[i].length :
				size - found.items[i].offset);
	holes->failed = holes->failed || found.failed;
	holes_free(&found);
}

void rounds_tell(const struct survey *survey, struct findings *findings)
{
	for (size_t i = 0; i < survey->n_drives; i++)
		if (salvage_of(survey, i) != NULL && salvage_failed(salvage_of(survey, i)))
			findings_add(findings, WEIGHT_CAUTION, "not-kept",
			    survey->drives[i].about.path,
			    "A drive that fails should be asked for as little as can be: see that the "
			    "destination has more room, should you extract once more.",
			    "Not all that was read of this drive could be kept at the destination "
			    "until it was needed, so some of it was read again.");
}

/* For a run that goes on: files that are in their parts by then do not ask again. */
static void note_given_up(struct source *source)
{
	struct holes holes = {0};

	source_holes(source, &holes);
	for (size_t i = 0; source_salvage(source) != NULL && i < holes.count; i++)
		salvage_add_note(source_salvage(source), SALVAGE_GIVEN_UP, holes.items[i].offset,
		    holes.items[i].length);
	holes_free(&holes);
}

void rounds_remove(const struct survey *survey, const struct job *job)
{
	char *folder = job_path(job, STORES_FOLDER);

	for (size_t i = 0; i < survey->n_drives; i++)
		if (salvage_of(survey, i) != NULL)
			salvage_remove(salvage_of(survey, i));
	/* As a rule there is none. */
	if (folder != NULL)
		stores_remove(folder);
	free(folder);
}

/* --- files --------------------------------------------------------------------------------- */

static struct source *source_of(const struct plan *plan, const struct item *item)
{
	return plan->survey->drives[plan->survey->volumes[item->volume].drive].source;
}

static bool visit_all(const struct plan *plan, const struct item *item,
    bool (*visit)(void *context, uint64_t offset, uint64_t length), void *context)
{
	const struct stream *stream = item_stream(plan, item);

	return stream == NULL ||
	    extents_visit(item_catalogue(plan, item), stream, 0, stream->size, visit, context);
}

static bool is_clear(void *context, uint64_t offset, uint64_t length)
{
	return !source_is_put_off(context, offset, length);
}

bool rounds_concern(const struct plan *plan, const struct item *item)
{
	return !visit_all(plan, item, is_clear, source_of(plan, item));
}

static bool drop(void *context, uint64_t offset, uint64_t length)
{
	source_forget(context, offset, length);
	return true;
}

void rounds_forget(const struct plan *plan, const struct item *item)
{
	struct source *source = source_of(plan, item);
	struct salvage *salvage = source_salvage(source);

	if (salvage != NULL && salvage_bytes(salvage) > 0 && !item_is_read_again(plan, item))
		visit_all(plan, item, drop, source);
}

/* --- rounds -------------------------------------------------------------------------------- */

/* Adds a range in whole sectors. */
struct wish {
	struct holes *wanted;
	uint64_t sector;
};

static bool want(void *context, uint64_t offset, uint64_t length)
{
	const struct wish *wish = context;
	uint64_t from = offset - offset % wish->sector, end = offset + length;

	end += (wish->sector - end % wish->sector) % wish->sector;
	holes_add(wish->wanted, from, end - from);
	return !wish->wanted->failed;
}

static bool want_all(const struct plan *plan, size_t drive, const uint32_t *list, size_t n_list,
    struct holes *wanted)
{
	struct wish wish = {wanted, source_sector_size(plan->survey->drives[drive].source)};

	for (size_t i = 0; i < n_list; i++) {
		const struct item *item = &plan->items[list[i]];

		if (plan->survey->volumes[item->volume].drive == drive &&
		    !visit_all(plan, item, want, &wish))
			return false;
	}
	return true;
}

/* Bytes of `wanted` that are put off. */
static uint64_t count_put_off(struct source *source, const struct holes *wanted)
{
	struct holes put_off = {0}, both = {0};
	uint64_t count;

	source_put_off(source, &put_off);
	holes_common(wanted, &put_off, &both);
	count = holes_total(&both);
	holes_free(&put_off);
	holes_free(&both);
	return count;
}

static void run_drive(struct source *source, const struct holes *wanted,
    struct progress *progress, uint64_t done, struct rounds_result *result)
{
	uint64_t left = count_put_off(source, wanted);

	for (unsigned round = 0; round < SOURCE_ROUNDS && left > 0 && !interrupt_seen(); round++) {
		progress_at(progress, done, "what did not read at first");
		left = source_round(source, wanted, round, interrupt_seen);
	}
	result->left += left;
	result->weary = result->weary || (left > 0 && source_is_weary(source));
}

bool rounds_run(const struct plan *plan, const uint32_t *list, size_t n_list,
    struct progress *progress, uint64_t done, struct rounds_result *result, struct error *error)
{
	const struct survey *survey = plan->survey;

	*result = (struct rounds_result){0};
	for (size_t i = 0; i < survey->n_drives; i++) {
		struct holes wanted = {0};
		bool good;

		if (survey->drives[i].source == NULL)
			continue;
		good = want_all(plan, i, list, n_list, &wanted);
		if (good && wanted.count > 0)
			run_drive(survey->drives[i].source, &wanted, progress, done, result);
		/*
		 * A skip also reaches over files that are in their parts already, and that are
		 * looked into once more (extract/bookmarks.h).
		 */
		if (good)
			source_release_others(survey->drives[i].source, &wanted);
		holes_free(&wanted);
		if (!good)
			return error_no_memory(error);
		source_set_manner(survey->drives[i].source, SOURCE_THOROUGH);
		if (!interrupt_seen())
			note_given_up(survey->drives[i].source);
	}
	return !interrupt_seen() || error_set(error, STATUS_OTHER, "stopped as asked");
}
