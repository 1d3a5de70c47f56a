/* What did not arrive as it should: see losses.h. */
#include "extract/losses.h"

#include "base/text.h"
#include "extract/items.h"

#include <stdlib.h>
#include <string.h>

#define EXAMPLES 3

/* One kind of loss: what to call it and what to do. */
struct kind_of_loss {
	uint8_t state, reason; /* enum state; enum reason, REASON_COUNT: any */
	enum weight weight;
	const char *code;
	const char *what;   /* begins the sentence; files are counted and named behind it */
	const char *advice;
};

static const struct kind_of_loss kinds[] = {
    {STATE_PARTIAL, REASON_COUNT, WEIGHT_LOSS, "files-partly-read",
	"Arrived with holes, which could not be read and are filled with zeros",
	"The record lists every hole. Look at these files before the old drive is given away; what "
	"they lack can only come from a backup or a recovery laboratory."},
    {STATE_UNREADABLE, REASON_SYSTEM_COMPRESSED, WEIGHT_LOSS, "files-system-compressed",
	"Not taken, because the old system compressed them in a way that cannot be decoded",
	"Keep the old drive: nothing is wrong with these files."},
    {STATE_UNREADABLE, REASON_DEDUPLICATED, WEIGHT_LOSS, "files-deduplicated",
	"Not taken, because they lie in the old system's deduplication store, which cannot be "
	"decoded yet",
	"Keep the old drive: nothing is wrong with these files."},
    {STATE_UNREADABLE, REASON_COUNT, WEIGHT_LOSS, "files-unreadable", "Could not be read at all",
	"Keep the old drive. A drive that clicks, smells or drops out belongs to a recovery "
	"laboratory, not to more reading."},
    {STATE_LOCKED, REASON_COUNT, WEIGHT_LOSS, "files-encrypted",
	"Kept unopened, because the old file system encrypted them",
	"Each is kept with its key stream. What opens them are the keys of the person who "
	"encrypted them, in that person's sealed part, together with the password. To be sure, "
	"open the files on the old system, or export the key there, while that still works."},
    {STATE_ABSENT, REASON_COUNT, WEIGHT_CAUTION, "files-cloud-only",
	"Not on the drive, only in the cloud",
	"Sign in to the cloud service and check that the files are there before the old drive is "
	"given away."},
    {STATE_INCOMPLETE, REASON_COUNT, WEIGHT_CAUTION, "files-cloud-part",
	"Only partly on the drive; the rest is in the cloud, and zeros stand in its place",
	"Take these files from the cloud service; do not rely on the copies in the archive."},
};
#define N_KINDS (sizeof(kinds) / sizeof(kinds[0]))

/* Files that arrived as they were, and were bad already. */
static const char *const note_codes[NOTE_COUNT] = {
    NULL, "arrived-all-zeros", "arrived-mismatched", "arrived-truncated", "arrived-damaged"};
static const char *const note_sentences[NOTE_COUNT] = {NULL,
    "Nothing but zeros, already on the old drive",
    "Content that does not begin as it should in a file of that kind; broken, or with the wrong "
    "name ending",
    "Without the end that a file of that kind has, so probably cut off already on the old drive",
    "Described by a damaged part of the old file table: what could be found was read, but some of "
    "it may be missing or belong to another file"};

struct loss {
	size_t kind;   /* index in kinds, or N_KINDS + a note */
	size_t system, person;
	uint32_t group; /* the first one, for the owner's name */
	uint64_t count, bytes;
	uint32_t examples[EXAMPLES];
};

struct losses {
	struct loss *items;
	size_t count, capacity;
};

const char *group_owner_name(const struct plan *plan, const struct group *group)
{
	const struct survey *survey = plan->survey;
	const struct person *person;

	if (group->system >= survey->n_systems)
		return "files outside every profile";
	if (group->person >= survey->systems[group->system].n_persons)
		return "shared files";
	person = &survey->systems[group->system].persons[group->person];
	return person->full_name[0] != '\0' ? person->full_name :
	    person->account[0] != '\0'	    ? person->account :
					      person->folder;
}

static size_t kind_of(const struct outcome *outcome)
{
	for (size_t i = 0; i < N_KINDS; i++)
		if (kinds[i].state == outcome->state &&
		    (kinds[i].reason == REASON_COUNT || kinds[i].reason == outcome->reason))
			return i;
	return outcome->note != NOTE_NONE ? N_KINDS + outcome->note : SIZE_MAX;
}

static bool add(struct losses *losses, const struct plan *plan, uint32_t item, size_t kind)
{
	const struct group *group = &plan->groups[plan->items[item].group];
	struct loss *loss = NULL;

	for (size_t i = 0; i < losses->count && loss == NULL; i++)
		if (losses->items[i].kind == kind && losses->items[i].system == group->system &&
		    losses->items[i].person == group->person)
			loss = &losses->items[i];
	if (loss == NULL) {
		if (!array_reserve(&losses->items, &losses->capacity, losses->count + 1,
			sizeof(*losses->items)))
			return false;
		loss = &losses->items[losses->count++];
		*loss = (struct loss){.kind = kind, .system = group->system,
		    .person = group->person, .group = plan->items[item].group};
	}
	if (loss->count < EXAMPLES)
		loss->examples[loss->count] = item;
	loss->count++;
	loss->bytes += item_size(plan, &plan->items[item]);
	return true;
}

static void list_examples(const struct plan *plan, const struct loss *loss, struct buf *text)
{
	for (size_t i = 0; i < EXAMPLES && i < loss->count; i++) {
		const struct item *item = &plan->items[loss->examples[i]];
		const char *stream = item_stream_name(plan, item);

		buf_printf(text, "%s%s", i == 0 ? "" : ", ",
		    plan->survey->volumes[item->volume].letter != 0 ?
			plan->survey->volumes[item->volume].name : "");
		plan_old_path(plan, item, text);
		if (stream[0] != '\0')
			buf_printf(text, ":%s", stream);
	}
}

static bool report(const struct plan *plan, const struct loss *loss, struct findings *findings)
{
	bool is_note = loss->kind >= N_KINDS;
	size_t note = is_note ? loss->kind - N_KINDS : 0;
	struct buf examples = {0};
	bool good;

	list_examples(plan, loss, &examples);
	good = !examples.failed;
	findings_add(findings, is_note ? WEIGHT_CAUTION : kinds[loss->kind].weight,
	    is_note ? note_codes[note] : kinds[loss->kind].code,
	    group_owner_name(plan, &plan->groups[loss->group]),
	    is_note ? "The copies are what the old drive has; look for better ones in backups or "
		      "elsewhere." :
		      kinds[loss->kind].advice,
	    "%s: %s file%s (%s)%s %.500s.", is_note ? note_sentences[note] : kinds[loss->kind].what,
	    text_count(loss->count).text, loss->count == 1 ? "" : "s", text_size(loss->bytes).text,
	    loss->count > EXAMPLES ? ", such as" : ":", buf_text(&examples));
	buf_free(&examples);
	return good;
}

/* The survey has told already that a person's files are in the cloud. */
static bool is_told(const struct plan *plan, const struct loss *loss,
    const struct findings *findings)
{
	const struct survey *survey = plan->survey;

	if (loss->kind >= N_KINDS || kinds[loss->kind].state != STATE_ABSENT ||
	    loss->system >= survey->n_systems ||
	    loss->person >= survey->systems[loss->system].n_persons)
		return false;
	for (size_t i = 0; i < findings->count; i++)
		if (strcmp(findings->items[i].code, "cloud-files") == 0 &&
		    strcmp(findings->items[i].subject,
			survey->systems[loss->system].persons[loss->person].key) == 0)
			return true;
	return false;
}

bool losses_report(const struct outcomes *outcomes, struct findings *findings)
{
	const struct plan *plan = outcomes->plan;
	struct losses losses = {0};
	bool good = true;

	for (size_t i = 0; good && i < outcomes->n_items; i++) {
		size_t kind = kind_of(&outcomes->items[i]);

		/* A second name has the note of the first. */
		if (kind == SIZE_MAX || plan->items[i].group == NONE ||
		    (kind >= N_KINDS && outcomes->items[i].state != STATE_TAKEN))
			continue;
		good = add(&losses, plan, (uint32_t)i, kind);
	}
	for (size_t i = 0; good && i < losses.count; i++)
		if (!is_told(plan, &losses.items[i], findings))
			good = report(plan, &losses.items[i], findings);
	free(losses.items);
	return good;
}
