/* An extraction from beginning to end: see extract.h. */
#include "extract/extract.h"

#include "base/json.h"
#include "base/text.h"
#include "extract/account.h"
#include "extract/bookmarks.h"
#include "extract/clock.h"
#include "extract/destination.h"
#include "extract/licence_keys.h"
#include "extract/losses.h"
#include "extract/need.h"
#include "extract/papers.h"
#include "extract/proof.h"
#include "extract/record.h"
#include "extract/take.h"
#include "extract/where.h"
#include "plan/belongings.h"

#include <stdlib.h>

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
	    where_write(job, plan, &extraction->parts, &extraction->sums, &tags[TAG_WHERE].digest,
		error) &&
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
	    !sums_make(&extraction->sums, &extraction->outcomes))
		return error_no_memory(error);
	good = bookmarks_write(plan, &extraction->job, &papers, findings, error) &&
	    write_belongings(&extraction->job, plan, &papers, error) &&
	    (!with_keys || licence_keys_write(plan->survey, &extraction->job, &papers, error)) &&
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

static bool check_destination(const struct plan *plan, const struct extract_options *options,
    uint64_t *limit, struct findings *findings, struct error *error)
{
	struct destination destination;
	struct need need;

	if (!destination_check(&destination, options->to, error) ||
	    !destination_is_apart(options->to, plan->survey, error))
		return false;
	*limit = options->part_limit;
	if (destination.file_limit != 0 && (*limit == 0 || *limit > destination.file_limit)) {
		*limit = destination.file_limit;
		tell_file_limit(plan, options, *limit, findings);
	}
	if (!need_of(plan, options->format, *limit, &destination, &need))
		return error_no_memory(error);
	if (destination.in_memory)
		findings_add(findings, WEIGHT_CAUTION, "destination-in-memory", options->to,
		    "Copy the job to a drive before that.",
		    "The destination lies in this computer's memory: the job is gone when it is "
		    "switched off.");
	return destination_has_room(&destination, &need, error);
}

static bool take(struct extraction *extraction, const struct plan *plan,
    const struct extract_options *options, struct error *error)
{
	struct progress progress;
	bool once = options->same == SAME_ONCE ||
	    (options->same == SAME_USUAL && options->format == FORMAT_TAR);
	bool good;

	progress_start(&progress, "Taking", take_bytes(plan), options->quiet);
	good = take_all(plan, &extraction->parts, &extraction->outcomes, once, &progress, error);
	progress_end(&progress);
	return good;
}

bool extract_run(struct extraction *extraction, const struct plan *plan,
    const struct extract_options *options, struct findings *findings, struct error *error)
{
	uint64_t limit = 0;

	*extraction = (struct extraction){0};
	if (!check_destination(plan, options, &limit, findings, error))
		return false;
	if (!outcomes_start(&extraction->outcomes, plan))
		return error_no_memory(error);
	if (!job_create(&extraction->job, options->to, options->name, plan->survey, error))
		return false;
	/* A fixed clock is nobody's. */
	if (!extraction->job.fixed_clock)
		clock_check(extraction->job.started, plan->survey, findings);
	if (!parts_start(&extraction->parts, &extraction->job, plan, options->format, limit))
		return error_no_memory(error);
	extraction->complete = take(extraction, plan, options, error) &&
	    write_papers(extraction, plan, options->licence_keys, findings, error) &&
	    job_complete(&extraction->job, error);
	return extraction->complete;
}

void extraction_free(struct extraction *extraction)
{
	parts_free(&extraction->parts);
	outcomes_free(&extraction->outcomes);
	sums_free(&extraction->sums);
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
