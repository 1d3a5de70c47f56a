/* An extraction from beginning to end: see extract.h. */
#include "extract/extract.h"

#include "base/json.h"
#include "base/text.h"
#include "extract/account.h"
#include "extract/bookmarks.h"
#include "extract/clock.h"
#include "extract/destination.h"
#include "extract/forms.h"
#include "extract/licence_keys.h"
#include "extract/losses.h"
#include "extract/need.h"
#include "extract/onward.h"
#include "extract/papers.h"
#include "extract/proof.h"
#include "extract/record.h"
#include "extract/restore.h"
#include "extract/take.h"
#include "extract/watch.h"
#include "extract/where.h"
#include "extract/wipe_list.h"
#include "plan/belongings.h"
#include "system/devices.h"
#include "system/found_files.h"
#include "system/recycle_bin.h"
#include "system/ties.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The explaining files, all of them listed in the tag manifest. */
enum { TAG_RECORD, TAG_WHERE, TAG_PROGRAMS, TAG_ACCOUNT, TAG_FINDINGS, N_TAGS };
static const char *const tag_names[N_TAGS] = {[TAG_RECORD] = "record.jsonl",
    [TAG_WHERE] = "where.json", [TAG_PROGRAMS] = "programs.json", [TAG_ACCOUNT] = "account.json",
    [TAG_FINDINGS] = "findings.json"};

static bool write_json(const struct job *job, const char *name, struct buf *buf,
    struct digest *digest, struct error *error)
{
	char *path = job_path(job, name);
	bool good = path != NULL ? durable_save(path, buf, digest, error) : error_no_memory(error);

	buf_free(buf);
	free(path);
	return good;
}

static bool write_programs(const struct job *job, const struct survey *survey,
    struct digest *digest, struct error *error)
{
	struct buf buf = {0};
	struct json json;

	json_start(&json, &buf, true);
	programs_to_json(survey, &json);
	return write_json(job, "programs.json", &buf, digest, error);
}

/* What of the people's belongings was taken, by kind. */
static bool write_belongings(const struct job *job, const struct plan *plan,
    struct papers *papers, struct error *error)
{
	struct belongings belongings;
	struct buf buf = {0};
	struct json json;
	bool good = belongings_find(&belongings, plan);

	json_start(&json, &buf, true);
	belongings_to_json(&belongings, plan, &json);
	belongings_free(&belongings);
	good = good ? papers_add(papers, job, "belongings.json", &buf, error) :
		      error_no_memory(error);
	buf_free(&buf);
	return good;
}

/* What the survey knows of one matter, as JSON. */
static bool write_survey_paper(const struct job *job, const struct survey *survey, const char *name,
    void (*to_json)(const struct survey *survey, struct json *json),
    struct papers *papers, struct error *error)
{
	struct buf buf = {0};
	struct json json;
	bool good;

	json_start(&json, &buf, true);
	to_json(survey, &json);
	good = papers_add(papers, job, name, &buf, error);
	buf_free(&buf);
	return good;
}

static bool write_findings(const struct job *job, struct findings *findings, struct digest *digest,
    struct error *error)
{
	struct buf buf = {0};
	struct json json;

	findings_sort(findings);
	json_start(&json, &buf, true);
	findings_to_json(findings, &json);
	return write_json(job, "findings.json", &buf, digest, error);
}

/* What is the same in every job, and the proof over it and over the other papers. */
static bool write_lists(struct extraction *extraction, const struct plan *plan,
    struct findings *findings, const struct papers *papers, struct error *error)
{
	const struct job *job = &extraction->job;
	struct tag_file *tags = calloc(N_TAGS + papers->count, sizeof(*tags));
	bool good;

	if (tags == NULL)
		return error_no_memory(error);
	for (size_t i = 0; i < N_TAGS; i++)
		tags[i].name = tag_names[i];
	for (size_t i = 0; i < papers->count; i++)
		tags[N_TAGS + i] = papers->items[i];
	good = record_write(job, &extraction->outcomes, &extraction->parts,
		   &tags[TAG_RECORD].digest, error) &&
	    where_write(job, &extraction->outcomes, &extraction->parts, &extraction->sums,
		&tags[TAG_WHERE].digest, error) &&
	    write_programs(job, plan->survey, &tags[TAG_PROGRAMS].digest, error) &&
	    account_write(job, &extraction->outcomes, &extraction->sums, findings,
		&tags[TAG_ACCOUNT].digest, error) &&
	    write_findings(job, findings, &tags[TAG_FINDINGS].digest, error) &&
	    proof_write(job, &extraction->outcomes, &extraction->parts, tags,
		N_TAGS + papers->count, error);
	free(tags);
	return good;
}

/* Everything but the parts. */
static bool write_papers(struct extraction *extraction, const struct plan *plan, bool with_keys,
    struct findings *findings, struct error *error)
{
	struct papers papers = {0};
	bool good;

	if (!losses_report(&extraction->outcomes, findings) ||
	    !forms_report(&extraction->outcomes, findings) ||
	    !sums_make(&extraction->sums, &extraction->outcomes))
		return error_no_memory(error);
	good = bookmarks_write(plan, &extraction->job, &papers, findings, error) &&
	    write_belongings(&extraction->job, plan, &papers, error) &&
	    write_survey_paper(&extraction->job, plan->survey, "accounts.json", accounts_to_json,
		&papers, error) &&
	    write_survey_paper(
		&extraction->job, plan->survey, "devices.json", devices_to_json, &papers, error) &&
	    write_survey_paper(&extraction->job, plan->survey, "recycle-bin.json",
		recycle_bins_to_json, &papers, error) &&
	    write_survey_paper(&extraction->job, plan->survey, "found-files.json",
		found_files_to_json, &papers, error) &&
	    wipe_list_write(plan, &extraction->sums, findings, &extraction->job, &papers, error) &&
	    places_write(&extraction->places, &extraction->parts, &papers, error) &&
	    (!with_keys || licence_keys_write(plan, &extraction->job, &papers, error)) &&
	    write_lists(extraction, plan, findings, &papers, error);
	papers_free(&papers);
	return good;
}

/* FAT: what its limit means for this job, and what would be better. */
static void tell_file_limit(const struct plan *plan, const struct extract_options *options,
    uint64_t limit, struct findings *findings)
{
	static const char advice[] =
	    "A drive formatted as exFAT or NTFS has no such limit. Formatting erases everything on "
	    "a drive, so do it only with one that holds nothing you need, and never with an old "
	    "drive.";
	uint64_t count = need_pieces(plan, limit);

	if (count == 0)
		findings_add(findings, WEIGHT_NOTE, "destination-file-limit", options->to, advice,
		    "The destination's file system (FAT32) cannot hold files of 4 GiB or more. No "
		    "file of this job is that large; archives end before that and go on in the "
		    "next one.");
	else
		findings_add(findings, WEIGHT_NOTE, "destination-file-limit", options->to, advice,
		    "The destination's file system (FAT32) cannot hold files of 4 GiB or more. "
		    "%s %s cut into pieces, which have to be joined again before the file can be "
		    "opened; archives end before the limit and go on in the next one.",
		    text_count(count).text, count == 1 ? "file is" : "files are");
}

/* Looks at one destination; *limit becomes the largest part that it can keep. */
static bool look_at(const char *folder, const struct plan *plan,
    const struct extract_options *options, struct destination *destination, uint64_t *limit,
    struct findings *findings, struct error *error)
{
	if (!destination_check(destination, folder, error) ||
	    !destination_is_apart(folder, plan->survey, error))
		return false;
	if (destination->file_limit != 0 && (*limit == 0 || *limit > destination->file_limit)) {
		*limit = destination->file_limit;
		tell_file_limit(plan, options, *limit, findings);
	}
	if (destination->in_memory)
		findings_add(findings, WEIGHT_CAUTION, "destination-in-memory", folder,
		    "Copy the job to a drive before that.",
		    "The destination lies in this computer's memory: the job is gone when it is "
		    "switched off.");
	return true;
}

/*
 * `stored` and *needed: bytes of the job that are there already, and that are still needed. Where
 * options->then is where the job will go on, both together must have room, and both must be able to
 * keep each part.
 */
static bool check_destination(const struct plan *plan, const struct extract_options *options,
    uint64_t stored, uint64_t *limit, uint64_t *needed, struct findings *findings,
    struct error *error)
{
	struct destination destination, next;
	struct need need;

	*limit = options->part_limit;
	if (!look_at(options->to, plan, options, &destination, limit, findings, error))
		return false;
	if (options->then != NULL) {
		if (!look_at(options->then, plan, options, &next, limit, findings, error))
			return false;
		if (!destination_join(&destination, &next, options->then, error))
			return false;
	}
	if (!need_of(plan, options->format, *limit, &destination, &need))
		return error_no_memory(error);
	need.bytes -= stored < need.bytes ? stored : need.bytes;
	*needed = need.bytes;
	return destination_has_room(&destination, &need, error);
}

/*
 * What was not to be had at the first try: told from the outcomes, which outlast an interruption,
 * so that a job that was cut off says the same as another.
 */
static void tell_rounds(const struct outcomes *outcomes, const struct rounds_result *result,
    struct findings *findings)
{
	uint64_t unread = 0;
	bool waited = false;

	for (size_t i = 0; i < outcomes->n_items; i++) {
		const struct outcome *outcome = &outcomes->items[i];

		waited = waited || (outcome->flags & OUTCOME_WAITED) != 0;
		if (outcome->ranges != NONE && outcome->same_as == NONE)
			unread += holes_total(&outcomes->ranges[outcome->ranges].holes);
	}
	if (waited)
		findings_add(findings, WEIGHT_CAUTION, "read-in-rounds", "",
		    "Every hour of reading may be the last of a drive that does this. Check this job, "
		    "keep the drive switched off, and see what is listed as partial or unreadable.",
		    "Some files did not read at the first try. What the drive gave at once was taken "
		    "first; then coldlift came back to the rest, in smaller and smaller pieces. %s%s",
		    unread == 0 ? "All of it read then." : text_size(unread).text,
		    unread == 0 ? "" : " of files that are in the job did not read even then.");
	if (result->weary)
		findings_add(findings, WEIGHT_LOSS, "patience-ended", "",
		    "To try longer, extract once more with a longer --patience, or without it.",
		    "The time that was given to what does not read at once (--patience) was used up; "
		    "%s were not tried any further.",
		    text_size(result->left).text);
}

static bool take(struct extraction *extraction, const struct plan *plan,
    const struct extract_options *options, uint64_t needed,
    struct findings *findings, struct error *error)
{
	struct checkpoints checkpoints;
	struct progress progress;
	struct rounds_result rounds = {0};
	struct take_choices choices = {.once = options->same == SAME_ONCE ||
		(options->same == SAME_USUAL && options->format == FORMAT_TAR),
	    .careful = options->careful,
	    .waits = options->stores == NULL || options->stores->options.patience == 0};
	struct rounds_options how = {options->stores, options->careful};
	struct watch_options watching = {FAULTS_PROGRAM, WATCH_SECONDS, options->quiet};
	struct watch *watch;
	bool good;

	if (!rounds_start(plan->survey, &extraction->job, &how, findings, error))
		return false;
	watch = watch_start(plan->survey, &watching);
	/* Where the job can go on elsewhere, what a failing drive gave comes before room for more. */
	rounds_set_reserve(plan->survey, options->then != NULL ? 0 : needed);
	checkpoints_start(&checkpoints, &extraction->job.journal, &extraction->parts,
	    &extraction->outcomes, options->checkpoint);
	progress_start(&progress, "Taking", take_bytes(plan), options->quiet);
	good = take_all(plan, &checkpoints, &choices, &progress, &rounds, error);
	progress_end(&progress);
	checkpoints_free(&checkpoints);
	watch_end(watch, findings);
	if (good)
		tell_rounds(&extraction->outcomes, &rounds, findings);
	rounds_tell(plan->survey, findings);
	return good;
}

/* Everything once the job's folder is there. `needed`: bytes at the destination. */
static bool work(struct extraction *extraction, const struct plan *plan,
    const struct extract_options *options, uint64_t needed,
    struct findings *findings, struct error *error)
{
	/* A fixed clock is nobody's. */
	places_tell(&extraction->places, findings);
	if (!extraction->job.fixed_clock)
		clock_check(extraction->job.started, plan->survey, findings);
	if (!take(extraction, plan, options, needed, findings, error) ||
	    !write_papers(extraction, plan, options->licence_keys, findings, error))
		return false;
	rounds_remove(plan->survey, &extraction->job);
	extraction->complete = job_complete(&extraction->job, error);
	if (extraction->complete) {
		/* Once more, where something was in the way before. */
		places_tidy(&extraction->places, &extraction->parts);
		places_copy_papers(&extraction->places, &extraction->job, findings);
	}
	return extraction->complete;
}

static bool write_head(struct extraction *extraction, const struct plan *plan,
    const struct extract_options *options, uint64_t limit, struct error *error)
{
	const struct survey *survey = plan->survey;
	struct identity *sources = calloc(survey->n_drives + 1, sizeof(*sources));
	struct head head = {.name = extraction->job.name,
	    .started = extraction->job.started,
	    .fixed_clock = extraction->job.fixed_clock,
	    .format = options->format,
	    .same = options->same,
	    .licence_keys = options->licence_keys,
	    .careful = options->careful,
	    .part_limit = options->part_limit,
	    .limit = limit,
	    .choices = options->choices != NULL ? *options->choices : (struct plan_options){0},
	    .sources = sources,
	    .n_sources = survey->n_drives,
	    .n_items = plan->n_items,
	    .plan = identity_of_plan(plan)};
	bool good;

	if (sources == NULL)
		return error_no_memory(error);
	for (size_t i = 0; i < survey->n_drives; i++)
		sources[i] = identity_of(survey, i);
	good = head_write(&extraction->job.journal, &head, error);
	free(sources);
	return good;
}

bool extract_run(struct extraction *extraction, const struct plan *plan,
    const struct extract_options *options, struct findings *findings, struct error *error)
{
	uint64_t limit = 0, needed = 0;

	*extraction = (struct extraction){.job.journal.fd = -1};
	if (!check_destination(plan, options, 0, &limit, &needed, findings, error))
		return false;
	if (!outcomes_start(&extraction->outcomes, plan))
		return error_no_memory(error);
	if (!job_create(&extraction->job, options->to, options->name, plan->survey, error) ||
	    !write_head(extraction, plan, options, limit, error))
		return false;
	if (!parts_start(&extraction->parts, &extraction->job, plan, options->format, limit))
		return error_no_memory(error);
	return work(extraction, plan, options, needed, findings, error);
}

/*
 * The destination where the job goes on: with --then, what is in finished parts stays at the one
 * before. The limit that its head froze must be one that this file system can keep.
 */
static bool check_resumed(const struct plan *plan, const struct extract_options *options,
    const struct head_read *read, uint64_t *need, struct findings *findings, struct error *error)
{
	uint64_t frozen = read->head.limit, stored = read->stored, limit;
	struct extract_options at = *options;

	if (options->then != NULL) {
		at.to = options->then;
		at.then = NULL;
		stored -= read->unfinished < stored ? read->unfinished : stored;
	}
	if (!check_destination(plan, &at, stored, &limit, need, findings, error)) {
		size_t used = strlen(error->text);

		if (options->then == NULL && error->status == STATUS_DESTINATION)
			snprintf(error->text + used, sizeof(error->text) - used,
			    "; or make room there, or go on with --then DIR at another drive");
		return false;
	}
	return limit == 0 || (frozen != 0 && frozen <= limit) ||
	    error_set(error, STATUS_DESTINATION,
		"the destination '%s' cannot hold files of 4 GiB or more (FAT32), and the job was "
		"begun for one that can; choose a drive that is formatted as exFAT, NTFS or ext4",
		at.to);
}

bool extract_resume(struct extraction *extraction, const struct plan *plan,
    struct unfinished_job *job, const struct extract_options *options,
    struct findings *findings, struct error *error)
{
	const struct head_read *read = &job->read;
	const struct head *head = &read->head;
	struct extract_options own = *options;
	struct digest digest = identity_of_plan(plan);
	uint64_t needed = 0;

	*extraction = (struct extraction){.job.journal.fd = -1};
	own.format = head->format;
	own.same = head->same;
	own.part_limit = head->part_limit;
	own.licence_keys = head->licence_keys;
	own.careful = head->careful;
	if (plan->n_items != head->n_items || !digest_equal(&digest, &head->plan) ||
	    (options->stores != NULL && !stores_agree(plan->survey)))
		return error_set(error, STATUS_USAGE,
		    "what is on the drives is not what the job was begun with: something has "
		    "written to them, or they are copies from another time; begin a new job "
		    "without --resume");
	if (!check_resumed(plan, &own, read, &needed, findings, error))
		return false;
	if (own.then != NULL && !onward_move(job, own.then, plan, own.quiet, error))
		return false;
	own.then = NULL; /* it is there */
	if (!outcomes_start(&extraction->outcomes, plan) || !places_find(&extraction->places, job))
		return error_no_memory(error);
	if (!job_resume(&extraction->job, job->folder, head->name, head->started,
		head->fixed_clock, read->noted, error))
		return false;
	if (!parts_start(
		&extraction->parts, &extraction->job, plan, head->format, head->limit))
		return error_no_memory(error);
	if (!restore_job(read, &extraction->parts, &extraction->outcomes, error))
		return false;
	places_tidy(&extraction->places, &extraction->parts);
	return work(extraction, plan, &own, needed, findings, error);
}

void extraction_free(struct extraction *extraction)
{
	parts_free(&extraction->parts);
	outcomes_free(&extraction->outcomes);
	sums_free(&extraction->sums);
	places_free(&extraction->places);
	job_free(&extraction->job);
}

enum status extraction_status(const struct extraction *extraction, const struct findings *findings)
{
	static const enum state losses[] = {STATE_PARTIAL, STATE_UNREADABLE, STATE_LOCKED};

	for (size_t i = 0; i < sizeof(losses) / sizeof(losses[0]); i++)
		if (extraction->sums.states[losses[i]].count > 0)
			return STATUS_LOSSES;
	return findings_count(findings, WEIGHT_LOSS) > 0 ? STATUS_LOSSES : STATUS_COMPLETE;
}
