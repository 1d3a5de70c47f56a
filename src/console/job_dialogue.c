/* Taking everything to another drive: see job_dialogue.h. */
#include "console/job_dialogue.h"

#include "base/text.h"
#include "console/begun.h"
#include "console/destinations.h"
#include "console/forecast.h"
#include "console/run_job.h"
#include "console/target.h"

#include <stdlib.h>
#include <string.h>

#define PERSONS_MAX 200
#define PATHS_SHOWN FORECAST_LARGEST
#define FINDINGS_SHOWN 20
/* More than a command line should carry. */
#define TAKES_MAX 400

/* What was chosen so far; all texts live in the look or the arena. */
struct wish {
	struct arena arena;
	struct destinations found;
	struct destination_choice to;
	struct begun_jobs begun;       /* on that volume */
	const struct begun_job *again; /* of these, what is gone on with; NULL: a new one */
	struct destination_choice on;  /* and where, if not there */
	const struct look_person *persons[PERSONS_MAX];
	size_t n_persons; /* of the old systems; not: of the choice */
	struct order order;
	struct forecast forecast;
	bool forecast_known;
};

/* Asks until the answer is empty or `understand` has taken it. False: leave everything. */
static bool ask(struct dialogue *dialogue, const char *prompt, struct wish *wish,
    bool (*understand)(struct wish *wish, const char *line), const char *hint, bool may_be_empty)
{
	char line[200];

	for (;;) {
		if (screen_ask(&dialogue->screen, prompt, line, sizeof(line)) != ANSWER_LINE)
			return false;
		if (line[0] == '\0')
			return may_be_empty;
		if (understand(wish, line))
			return true;
		screen_say(&dialogue->screen, "'%s' is not understood. %s", line, hint);
	}
}

/* Takes a number from 1 to `most` off *text. 0: there is none. */
static size_t take_number(const char **text, size_t most)
{
	size_t number = 0;

	*text += strspn(*text, " ,;");
	while (**text >= '0' && **text <= '9' && number <= most)
		number = number * 10 + (size_t)(*(*text)++ - '0');
	return number <= most ? number : 0;
}

/* --- where to --- */

static void print_destination(
    const struct page *page, size_t number, const struct destination_choice *choice)
{
	const struct look_volume *volume = choice->volume;
	bool known = volume->free != LOOK_FREE_UNKNOWN;

	page_line(page, 2, 6, "%zu   %s: %s, %s, %s%s, on drive %s (%s%s%s)", number,
	    *volume->label != '\0' ? volume->label : "(no name)", volume->filesystem,
	    text_size(volume->size).text,
	    known ? text_size(volume->free).text : "free room not known", known ? " free" : "",
	    look_short_name(choice->drive->path), text_size(choice->drive->size).text,
	    *choice->drive->model != '\0' ? ", " : "", choice->drive->model);
	if (strcmp(volume->filesystem, "FAT") == 0)
		page_line(page, 6, 6,
		    "FAT holds no file over 4 GB: larger ones are cut into pieces. exFAT or NTFS "
		    "is "
		    "better.");
	if (strcmp(volume->filesystem, "NTFS") == 0 && volume->dirty)
		page_line(page, 6, 6,
		    "It was not taken out of use properly: if writing is refused, let a Windows "
		    "check it "
		    "and switch off properly.");
}

static void print_refused(const struct page *page, const struct look *look)
{
	for (size_t i = 0; i < look->n_drives; i++) {
		const struct look_drive *drive = &look->drives[i];
		const char *why = destination_refusal(drive);

		if (why != NULL && !drive->stick)
			page_line(page, 2, 6, "Not %s%s%s: %s", look_short_name(drive->path),
			    *drive->model != '\0' ? ", " : "", drive->model, why);
	}
}

static bool understand_destination(struct wish *wish, const char *line)
{
	size_t number = take_number(&line, wish->found.count);

	if (number == 0 || *line != '\0')
		return false;
	wish->to = wish->found.items[number - 1];
	return true;
}

static bool choose_destination(struct dialogue *dialogue, struct wish *wish)
{
	struct draft draft;

	destinations_find(&dialogue->look, &wish->found);
	if (!draft_begin(&draft, dialogue))
		return false;
	page_line(&draft.page, 0, 0, "Where shall it go?");
	for (size_t i = 0; i < wish->found.count; i++)
		print_destination(&draft.page, i + 1, &wish->found.items[i]);
	if (wish->found.count == 0)
		page_line(&draft.page, 2, 6,
		    "There is no drive for it yet. Plug in a second drive with at least %s free, "
		    "best "
		    "with exFAT or NTFS, press l to look again, and then j.",
		    text_size(forecast_room(0, look_bytes(&dialogue->look))).text);
	print_refused(&draft.page, &dialogue->look);
	if (!dialogue_show(dialogue, &draft) || wish->found.count == 0)
		return false;
	return ask(dialogue, "number> ", wish, understand_destination,
	    "Type the number of a volume in the list, or only Enter to leave it.", false);
}

/* --- jobs that were begun there --- */

/* False: it is not known, or nobody wants to know. */
static bool look_for_begun(struct dialogue *dialogue, struct wish *wish)
{
	const struct begun_wish with = {NULL, &dialogue->look, wish->to.drive};
	struct error error;

	if (begun_find(wish->to.volume, &with, &wish->begun, &error))
		return true;
	/* What is wrong is said again, with advice, when it is opened for writing. */
	dialogue_complain(dialogue,
	    "Whether an unfinished job is there could not be seen; a new one can be begun", &error);
	return false;
}

/* A journal of the file system's own hides what was written last until it has been replayed. */
static bool settle(struct dialogue *dialogue, const struct wish *wish)
{
	struct error error;

	screen_say(&dialogue->screen,
	    "%s was not taken out of use properly, perhaps by a power cut. What was written last "
	    "shows only when the volume has put itself in order, which writes to it and takes a "
	    "moment.",
	    wish->to.volume->device);
	if (!dialogue_confirm(dialogue))
		return false;
	if (target_open(wish->to.volume, TARGET_FOLDER, &error) &&
	    target_close(wish->to.volume, TARGET_FOLDER, &error))
		return true;
	dialogue_complain(dialogue, "That did not go well", &error);
	return false;
}

static void print_begun(const struct page *page, const struct wish *wish)
{
	const struct begun_jobs *begun = &wish->begun;

	page_line(page, 0, 0, "Unfinished on that volume:");
	for (size_t i = 0; i < begun->count; i++) {
		const struct begun_job *job = &begun->items[i];

		if (*job->problem != '\0')
			page_line(page, 2, 6, "Not '%s': %s.", job->name, job->problem);
		else
			page_line(page, 2, 6, "%zu   '%s', begun %s, %s had arrived%s: %s%s", i + 1,
			    job->name, job->when,
			    job->stored > 0 ? text_size(job->stored).text : "nothing for certain",
			    job->has_left ? ", a part of it on another drive" : "",
			    job->what,
			    job->may_be_here ? "" : ". The drives that it was begun with are not here");
	}
	if (begun->more)
		page_line(page, 2, 6, "and more, begun earlier");
	page_line(page, 2, 2,
	    "Its number: that job goes on where it stopped. What has arrived is kept and not read "
	    "again. n: a new job is begun beside it.");
}

static bool understand_begun(struct wish *wish, const char *line)
{
	size_t number;

	wish->again = NULL;
	if (strcmp(line, "n") == 0)
		return true;
	number = take_number(&line, wish->begun.count);
	if (number == 0 || *line != '\0' || *wish->begun.items[number - 1].problem != '\0')
		return false;
	wish->again = &wish->begun.items[number - 1];
	return true;
}

static bool has_one_to_go_on_with(const struct begun_jobs *begun)
{
	for (size_t i = 0; i < begun->count; i++)
		if (*begun->items[i].problem == '\0')
			return true;
	return false;
}

/* False: leave everything. */
static bool choose_begun(struct dialogue *dialogue, struct wish *wish)
{
	struct draft draft;

	if (!look_for_begun(dialogue, wish))
		return true;
	if (wish->begun.stale) {
		if (!settle(dialogue, wish))
			return false;
		if (!look_for_begun(dialogue, wish))
			return true;
	}
	if (!has_one_to_go_on_with(&wish->begun))
		return true;
	if (!draft_begin(&draft, dialogue))
		return false;
	print_begun(&draft.page, wish);
	return dialogue_show(dialogue, &draft) &&
	       ask(dialogue, "number, or n> ", wish, understand_begun,
		   "Type the number of a job in the list, n for a new one, or only Enter to leave it.",
		   false);
}

/* A volume on another drive than the one where the job is. */
static bool is_elsewhere(const struct wish *wish, const struct destination_choice *choice)
{
	return choice->drive != wish->to.drive;
}

static bool understand_where(struct wish *wish, const char *line)
{
	size_t number = take_number(&line, wish->found.count);

	if (number == 0 || *line != '\0' || !is_elsewhere(wish, &wish->found.items[number - 1]))
		return false;
	wish->on = wish->found.items[number - 1];
	return true;
}

/* A job whose destination is full goes on at another one. False: leave everything. */
static bool choose_where(struct dialogue *dialogue, struct wish *wish)
{
	struct draft draft;
	size_t count = 0;

	wish->on = (struct destination_choice){NULL, NULL};
	for (size_t i = 0; i < wish->found.count; i++)
		count += is_elsewhere(wish, &wish->found.items[i]);
	if (wish->again == NULL || count == 0)
		return true;
	if (!draft_begin(&draft, dialogue))
		return false;
	page_line(&draft.page, 0, 0,
	    "Where shall the rest go? Only Enter: there, too. A number, if there is no room left: on "
	    "that one. What is finished stays where it is, and both drives are needed to prove the "
	    "job.");
	for (size_t i = 0; i < wish->found.count; i++)
		if (is_elsewhere(wish, &wish->found.items[i]))
			print_destination(&draft.page, i + 1, &wish->found.items[i]);
	return dialogue_show(dialogue, &draft) &&
	       ask(dialogue, "there> ", wish, understand_where,
		   "Type a number out of the list, or only Enter to go on where the job is.", true);
}

/* --- whose files --- */

static void list_persons(const struct page *page, const struct look *look, struct wish *wish)
{
	page_line(page, 0, 0, "Whose files?");
	for (size_t s = 0; s < look->n_systems; s++) {
		const struct look_system *system = &look->systems[s];

		for (size_t i = 0; i < system->n_persons && wish->n_persons < PERSONS_MAX; i++) {
			const struct look_person *person = &system->persons[i];
			const char *name = *person->full_name != '\0' ? person->full_name
					   : *person->account != '\0' ? person->account
								      : person->folder;

			wish->persons[wish->n_persons++] = person;
			page_line(page, 2, 6, "%zu   %s, %s%s%s", wish->n_persons, name,
			    text_size(person->bytes).text, look->n_systems > 1 ? ", of " : "",
			    look->n_systems > 1 ? system->pc : "");
		}
	}
	page_line(page, 2, 2,
	    "Only Enter: everybody's, what they share, and what lies outside their folders. "
	    "Numbers, "
	    "such as 1 3: only theirs.");
}

/* "1 3", "1,3" */
static bool understand_persons(struct wish *wish, const char *line)
{
	size_t count = 0;

	wish->order.persons.items =
	    arena_array(&wish->arena, strlen(line) + 1, sizeof(*wish->order.persons.items));
	wish->order.persons.count = 0;
	while (wish->order.persons.items != NULL && *line != '\0') {
		size_t number = take_number(&line, wish->n_persons);

		if (number == 0 || (*line != '\0' && strchr(" ,;", *line) == NULL))
			return false;
		wish->order.persons.items[count++] = wish->persons[number - 1]->key;
		line += strspn(line, " ,;");
	}
	wish->order.persons.count = count;
	return count > 0;
}

static bool choose_persons(struct dialogue *dialogue, struct wish *wish)
{
	struct draft draft;
	bool whole;

	if (!draft_begin(&draft, dialogue))
		return false;
	list_persons(&draft.page, &dialogue->look, wish);
	whole = dialogue_show(dialogue, &draft);
	/* With one person there is nothing to choose: what lies outside the profile is theirs too.
	 */
	if (wish->n_persons < 2)
		return true;
	return whole &&
	       ask(dialogue, "everybody> ", wish, understand_persons,
		   "Type numbers out of the list, such as 1 3, or only Enter for everybody.", true);
}

/* --- in which form --- */

static bool understand_form(struct wish *wish, const char *line)
{
	if (strcmp(line, "z") == 0 || strcmp(line, "zip") == 0)
		wish->order.format = "zip";
	else if (strcmp(line, "t") == 0 || strcmp(line, "tar") == 0)
		wish->order.format = "tar";
	else if (strcmp(line, "f") == 0 || strcmp(line, "folder") == 0)
		wish->order.format = "folder";
	else
		return false;
	return true;
}

static bool choose_form(struct dialogue *dialogue, struct wish *wish)
{
	screen_say(&dialogue->screen, "In which form? Only Enter: zip files, which every PC opens. "
				      "t: tar files, for people who "
				      "know them. f: plain files in folders.");
	return ask(dialogue, "zip> ", wish, understand_form,
	    "Type t or f, or only Enter for zip files.", true);
}

/* --- what needs a decision --- */

static void print_decision(const struct page *page, const struct forecast_decision *decision)
{
	page_line(page, 0, 2, "To be decided: %s %s, %s. %s",
	    text_count(decision->paths.count).text, decision->paths.count == 1 ? "file" : "files",
	    text_size(decision->bytes).text, decision->sentence);
	for (size_t i = 0; i < decision->paths.count && i < PATHS_SHOWN; i++)
		page_line(page, 4, 6, "%s", decision->paths.items[i]);
	if (decision->paths.count > PATHS_SHOWN)
		page_line(page, 4, 6, "and %zu more", decision->paths.count - PATHS_SHOWN);
}

static void take_them(struct wish *wish, const struct forecast_decision *decision)
{
	for (size_t i = 0; i < decision->paths.count; i++)
		wish->order.takes.items[wish->order.takes.count++] = decision->paths.items[i];
	wish->forecast.files += decision->paths.count;
	wish->forecast.bytes += decision->bytes;
}

/* False: leave everything. */
static bool decide(struct dialogue *dialogue, struct wish *wish)
{
	wish->order.takes.items =
	    arena_array(&wish->arena, TAKES_MAX, sizeof(*wish->order.takes.items));
	for (size_t i = 0; i < wish->forecast.n_decisions; i++) {
		const struct forecast_decision *decision = &wish->forecast.decisions[i];
		struct draft draft;
		char line[16];

		if (!draft_begin(&draft, dialogue))
			return false;
		print_decision(&draft.page, decision);
		if (!dialogue_show(dialogue, &draft))
			return false;
		if (wish->order.takes.items == NULL ||
		    decision->paths.count > TAKES_MAX - wish->order.takes.count) {
			screen_say(&dialogue->screen,
			    "There are too many to take them from here; they "
			    "stay on the old drive.");
			continue;
		}
		if (screen_ask(&dialogue->screen, "t takes them, only Enter leaves them> ", line,
			sizeof(line)) != ANSWER_LINE)
			return false;
		if (strcmp(line, "t") == 0)
			take_them(wish, decision);
	}
	return true;
}

/* --- is there room --- */

static bool add_up(struct dialogue *dialogue, struct wish *wish)
{
	struct error error;

	for (size_t i = 0; i < dialogue->look.n_drives; i++)
		if (!dialogue->look.drives[i].stick && look_is_failing(&dialogue->look.drives[i])) {
			screen_say(&dialogue->screen,
			    "A drive is failing: it is not read only to add up what there is.");
			wish->forecast.bytes = look_bytes(&dialogue->look);
			return true;
		}
	screen_say(&dialogue->screen, "Adding up what would be taken. Ctrl-C stops it ...");
	wish->forecast_known =
	    forecast_make(&wish->forecast, &dialogue->look, wish->to.drive, &wish->order, &error);
	if (!wish->forecast_known)
		dialogue_complain(dialogue, "It could not be added up", &error);
	return wish->forecast_known;
}

static bool has_room(struct dialogue *dialogue, const struct wish *wish)
{
	uint64_t room = forecast_room(wish->forecast.files, wish->forecast.bytes);
	uint64_t free = wish->to.volume->free;

	if (free == LOOK_FREE_UNKNOWN) {
		screen_say(&dialogue->screen,
		    "How much is free on that volume is not known; the job needs up to %s.",
		    text_size(room).text);
		return true;
	}
	if (free >= room)
		return true;
	screen_say(&dialogue->screen,
	    "There is not enough room: the job needs up to %s, and %s are free. Choose a larger "
	    "drive, or "
	    "fewer persons.",
	    text_size(room).text, text_size(free).text);
	return false;
}

/* --- the job --- */

static bool confirm(struct dialogue *dialogue, const struct wish *wish)
{
	const struct look_volume *volume = wish->to.volume;

	screen_say(&dialogue->screen,
	    "%s%s (%s) will be written to the volume %s (%s) on the drive %s (%s). What is there "
	    "already "
	    "stays. Nothing is written to the old drives. Afterwards it is read back and compared.",
	    wish->forecast_known ? "" : "About ", text_size(wish->forecast.bytes).text,
	    wish->order.persons.count > 0 ? "the chosen persons' files" : "everybody's files",
	    *volume->label != '\0' ? volume->label : "without a name", look_short_name(volume->device),
	    look_short_name(wish->to.drive->path),
	    *wish->to.drive->model != '\0' ? wish->to.drive->model : "no name");
	if (dialogue->power.on_battery)
		screen_say(
		    &dialogue->screen, "This PC runs on its battery: plug in the mains first.");
	return dialogue_confirm(dialogue);
}

/* Losses first: what the extraction itself found is nowhere else on the screen. */
static void show_findings(struct dialogue *dialogue, const struct findings *findings)
{
	struct draft draft;

	if (findings->count == 0 || !draft_begin(&draft, dialogue))
		return;
	fputs("\nWhat did not arrive, and what to look at\n", draft.page.out);
	for (size_t i = 0; i < findings->count && i < FINDINGS_SHOWN; i++)
		start_finding(&draft.page, 2, &findings->items[i]);
	if (findings->count > FINDINGS_SHOWN)
		page_line(&draft.page, 2, 4,
		    "and %zu more: see findings.json and the log in the job",
		    findings->count - FINDINGS_SHOWN);
	dialogue_show(dialogue, &draft);
}

static bool confirm_again(struct dialogue *dialogue, const struct wish *wish)
{
	screen_say(&dialogue->screen,
	    "The job '%s' goes on as it was begun: %s. It needs the same old drives, to which nothing "
	    "is written. Afterwards the whole job is read back and compared.",
	    wish->again->name, wish->again->what);
	if (wish->on.volume != NULL)
		screen_say(&dialogue->screen, "From %s it goes on to %s.", wish->to.volume->device,
		    wish->on.volume->device);
	if (dialogue->power.on_battery)
		screen_say(
		    &dialogue->screen, "This PC runs on its battery: plug in the mains first.");
	return dialogue_confirm(dialogue);
}

/* False: the job that should have gone on was refused. */
static bool do_job(struct dialogue *dialogue, struct wish *wish)
{
	const struct destination_choice *to = wish->order.from != NULL ? &wish->on : &wish->to;
	struct job_end end = {0};
	struct error error;
	bool refused;

	screen_say(&dialogue->screen, "The job begins. Leave all drives plugged in. Ctrl-C stops "
				      "it; it can be gone on with later.");
	if (run_job(&dialogue->look, to->drive, to->volume, &wish->order, &end, &error)) {
		screen_show(&dialogue->screen, "\nWhat came of the job\n");
		screen_say(&dialogue->screen, "%s", end.sentence);
		show_findings(dialogue, &end.findings);
		dialogue->job_done = end.extracted;
	} else {
		dialogue_complain(dialogue, "The job could not begin", &error);
	}
	refused = end.refused;
	job_end_free(&end);
	return !refused;
}

static bool ask_for_new(struct dialogue *dialogue, struct wish *wish)
{
	return choose_persons(dialogue, wish) && choose_form(dialogue, wish) &&
	       add_up(dialogue, wish) && decide(dialogue, wish) && has_room(dialogue, wish) &&
	       confirm(dialogue, wish);
}

/* True: the job is to be begun anew, since the unfinished one cannot go on. */
static bool go_on(struct dialogue *dialogue, struct wish *wish)
{
	char line[16];
	bool refused;

	wish->order.go_on = wish->again->name;
	if (wish->on.volume != NULL) {
		wish->order.from = wish->to.volume;
		wish->order.from_drive = wish->to.drive;
	}
	refused = !do_job(dialogue, wish);
	wish->order.go_on = NULL;
	wish->order.from = NULL;
	if (!refused)
		return false;
	return screen_ask(&dialogue->screen, "n begins a new job, only Enter leaves it> ", line,
		   sizeof(line)) == ANSWER_LINE &&
	       strcmp(line, "n") == 0;
}

static void ask_and_do(struct dialogue *dialogue, struct wish *wish)
{
	if (choose_destination(dialogue, wish) && choose_begun(dialogue, wish) &&
	    choose_where(dialogue, wish)) {
		if (wish->again != NULL && confirm_again(dialogue, wish)) {
			if (!go_on(dialogue, wish))
				return;
			wish->again = NULL;
		}
		if (wish->again == NULL && ask_for_new(dialogue, wish)) {
			do_job(dialogue, wish);
			return;
		}
	}
	screen_say(&dialogue->screen, "Nothing was written.");
}

void job_dialogue(struct dialogue *dialogue)
{
	struct wish *wish = calloc(1, sizeof(*wish));

	if (wish == NULL)
		return;
	ask_and_do(dialogue, wish);
	forecast_free(&wish->forecast);
	arena_free(&wish->arena);
	free(wish);
}
