/* What came of a job: see job_result.h. */
#include "console/job_result.h"

#include "base/text.h"
#include "console/json_in.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static const char keep[] = "Keep the old drives as they are until their owner has opened files of "
			   "each kind on the new PC.";

#define MOST_FINDINGS 1000

/* What `extract --json` says in the end. */
struct figures {
	uint64_t files, bytes;
	uint64_t losses, cautions;
	uint64_t undecided;
};

static void add_states(struct figures *figures, const json_t *states)
{
	static const char *const arrived[] = {"taken", "same", "partial", "incomplete"};

	for (size_t i = 0; i < sizeof(arrived) / sizeof(arrived[0]); i++) {
		const json_t *state = json_object_get(states, arrived[i]);

		figures->files += json_in_number(state, "files", 0);
		figures->bytes += json_in_number(state, "bytes", 0);
	}
}

static struct figures read_figures(const struct buf *text, struct findings *findings)
{
	struct figures figures = {0};
	struct error error;
	json_t *document =
	    text->failed || text->length == 0
		? NULL
		: json_in_load(buf_text(text), text->length, "an end of extract", &error);
	size_t index;
	json_t *item;

	if (document == NULL)
		return figures;
	add_states(&figures, json_object_get(document, "states"));
	json_array_foreach(json_object_get(document, "findings"), index, item)
	{
		enum weight weight = json_in_weight(item);

		figures.losses += weight == WEIGHT_LOSS;
		figures.cautions += weight == WEIGHT_CAUTION;
		/* Those that a person should read; more than so many nobody does. */
		if (weight != WEIGHT_NOTE && findings->count < MOST_FINDINGS)
			json_in_finding(item, findings);
	}
	findings_sort(findings);
	json_array_foreach(json_object_get(document, "decisions"), index, item) figures.undecided +=
	    json_in_number(item, "files", 0);
	json_decref(document);
	return figures;
}

/* --- sentences --- */

static void say_arrived(struct job_end *end, const struct figures *figures, const char *where)
{
	struct buf text = {0};

	buf_printf(&text,
	    "The job '%s' is complete on %s: %s files, %s. It was read back from there, "
	    "and every byte is as it was recorded.",
	    end->name, where, text_count(figures->files).text, text_size(figures->bytes).text);
	if (figures->losses > 0)
		buf_printf(&text,
		    " But not everything could be had: %s %s listed in findings.json.",
		    text_count(figures->losses).text,
		    figures->losses == 1 ? "loss is" : "losses are");
	else if (end->status == STATUS_LOSSES)
		buf_add_text(&text, " But not everything could be had: see findings.json.");
	if (figures->cautions > 0)
		buf_printf(&text, " %s more %s to be looked at there.",
		    text_count(figures->cautions).text,
		    figures->cautions == 1 ? "thing is" : "things are");
	if (figures->undecided > 0)
		buf_printf(&text, " %s files were left because somebody has to decide about them.",
		    text_count(figures->undecided).text);
	buf_printf(&text, " %s", keep);
	snprintf(end->sentence, sizeof(end->sentence), "%s", buf_text(&text));
	buf_free(&text);
}

/* It went on from another destination, and what stands there was not looked at. */
static bool is_elsewhere(const struct relay_end *verify)
{
	return !verify->interrupted && strstr(verify->complaint, "give the folder there") != NULL;
}

static void say_elsewhere(struct job_end *end, const char *where)
{
	snprintf(end->sentence, sizeof(end->sentence),
	    "The job '%s' is complete, and what of it is on %s is as it was recorded. A part of it is "
	    "on the drive where it was before, and that was not looked at: prove both together, with "
	    "'coldlift verify' and both folders, before you rely on it. %s",
	    end->name, where, keep);
}

static void say_not_proven(struct job_end *end, const struct relay_end *verify, const char *where)
{
	if (verify->interrupted)
		snprintf(end->sentence, sizeof(end->sentence),
		    "The job '%s' is on %s, but proving it was stopped. Prove it with 'coldlift "
		    "verify' "
		    "before you rely on it, and keep the old drives.",
		    end->name, where);
	else
		snprintf(end->sentence, sizeof(end->sentence),
		    "The job '%s' was written to %s, but it could not be proven: %s. Do not rely "
		    "on "
		    "it. Keep the old drives, and begin again with another destination.",
		    end->name, where,
		    *verify->complaint != '\0' ? verify->complaint : "it ended in the middle");
}

/*
 * What `extract` complains of, without what it goes on with: advice for a command line, and what is
 * said here anyway.
 */
struct reason {
	char text[sizeof(((struct relay_end *)0)->complaint)];
};

static struct reason reason_of(const struct relay_end *extract)
{
	static const char *const further[] = {"; nothing was changed on the old drives",
	    "; the job '", "; connect that one", "; name it, too", "; put it back",
	    "; begin a new job", " and can only go on", "; choose a larger drive",
	    ", so plug it in again", ", so check that drive",
	    "; plug it in again"};
	struct reason reason;

	snprintf(reason.text, sizeof(reason.text), "%s",
	    extract->interrupted          ? "it was stopped"
	    : *extract->complaint != '\0' ? extract->complaint
					  : "it ended in the middle");
	for (size_t i = 0; i < sizeof(further) / sizeof(further[0]); i++) {
		char *at = strstr(reason.text, further[i]);

		if (at != NULL)
			*at = '\0';
	}
	return reason;
}

/* Its drives are others, or what it was lies there no more: nothing helps but a new job. */
static bool is_refused(const struct job_facts *facts)
{
	const struct relay_end *extract = facts->extract;

	return facts->gone_on && !extract->interrupted &&
	       (extract->status == STATUS_USAGE ||
		   strstr(extract->complaint, "begin a new job") != NULL);
}

static void say_refused(struct job_end *end, const struct job_facts *facts)
{
	snprintf(end->sentence, sizeof(end->sentence),
	    "The job '%s' on %s cannot go on: %s. It was left as it is, and nothing was changed on "
	    "the old drives.",
	    end->name, facts->where, reason_of(facts->extract).text);
}

static bool is_full(const struct relay_end *extract)
{
	return extract->status == STATUS_DESTINATION &&
	       (strstr(extract->complaint, "is full") != NULL ||
		   strstr(extract->complaint, "is too small") != NULL);
}

/* What has to be done for it. */
static const char *how_to_go_on(const struct job_facts *facts)
{
	if (facts->extract->interrupted)
		return "When you are ready, press j";
	if (is_full(facts->extract))
		return "Make room: move something else away from that drive on another PC; or "
		       "plug in one more drive for the rest. Then press l, and then j,";
	if (strstr(facts->extract->complaint, "is gone: it was unplugged") != NULL)
		return "Plug the old drive in again. Then press l, and then j,";
	if (facts->extract->status == STATUS_DESTINATION)
		return "Plug the destination in again. Then press l, and then j,";
	return "Press l, and then j,";
}

static void say_unfinished(struct job_end *end, const struct job_facts *facts)
{
	struct reason reason = reason_of(facts->extract);
	const char *why = reason.text;

	if (!facts->place_is_known)
		snprintf(end->sentence, sizeof(end->sentence),
		    "The job '%s' is not finished, and %s does not answer any more: %s. Nothing was "
		    "changed on the old drives, and what had arrived is not lost. Plug the "
		    "destination in again, press l to look again, and then j: choose it again, and "
		    "the job goes on where it stopped.",
		    end->name, facts->where, why);
	else if (facts->place->journal_is_there)
		snprintf(end->sentence, sizeof(end->sentence),
		    "The job '%s' on %s is not finished: %s. Nothing was changed on the old drives. "
		    "The folder is marked by the file 'journal' in it and proves nothing yet; leave "
		    "it as it is. %s and choose this destination again: the job goes on where it "
		    "stopped.",
		    end->name, facts->where, why, how_to_go_on(facts));
	else if (facts->place->folder_is_there)
		snprintf(end->sentence, sizeof(end->sentence),
		    "The job '%s' on %s did not end as it should: %s. Nothing was changed on the old "
		    "drives. Prove it with 'coldlift verify' before you rely on it, or begin again.",
		    end->name, facts->where, why);
	else
		snprintf(end->sentence, sizeof(end->sentence),
		    "No job was made: %s. Nothing was changed on the old drives.", why);
}

/* A program that died has no exit status of ours. */
static enum status status_of(const struct relay_end *ended)
{
	return ended->status >= STATUS_COMPLETE && ended->status < STATUS_OTHER &&
		       !ended->left_behind
		   ? (enum status)ended->status
		   : STATUS_OTHER;
}

void job_result_judge(const struct job_facts *facts, struct job_end *end)
{
	struct figures figures = read_figures(&facts->extract->json, &end->findings);

	end->status = status_of(facts->extract);
	end->interrupted =
	    facts->extract->interrupted || (facts->verify != NULL && facts->verify->interrupted);
	end->extracted = end->status <= STATUS_LOSSES &&
			 !(facts->place_is_known && facts->place->journal_is_there);
	snprintf(end->name, sizeof(end->name), "%s", facts->place->name);
	if (end->extracted && facts->verify != NULL) {
		enum status proven = status_of(facts->verify);

		end->proven = proven <= STATUS_LOSSES;
		if (proven > end->status)
			end->status = proven;
		if (end->proven)
			say_arrived(end, &figures, facts->where);
		else if (is_elsewhere(facts->verify))
			say_elsewhere(end, facts->where);
		else
			say_not_proven(end, facts->verify, facts->where);
		return;
	}
	if (end->status <= STATUS_LOSSES)
		end->status = STATUS_OTHER;
	end->refused = is_refused(facts);
	if (end->refused)
		say_refused(end, facts);
	else
		say_unfinished(end, facts);
	if (facts->place_is_known && !facts->place->folder_is_there)
		end->name[0] = '\0';
}
