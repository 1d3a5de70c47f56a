/* The start screen as a dialogue: see dialogue.h. */
#include "console/dialogue.h"

#include "console/job_dialogue.h"
#include "console/program.h"
#include "console/unattended.h"
#include "disk/sysfs.h"

#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define STICK "run/coldlift/stick"
#define KEYBOARDS "usr/share/keymaps/list"

/*
 * A word whose letters lie on the same key of most keyboards: the layout can be wrong. It is long
 * enough that nobody types it by mistake.
 */
#define CONFIRMATION "begin"

/* --- pages --- */

bool draft_begin(struct draft *draft, const struct dialogue *dialogue)
{
	*draft = (struct draft){.page.width = screen_width(&dialogue->screen)};
	draft->page.out = open_memstream(&draft->text, &draft->length);
	return draft->page.out != NULL;
}

static bool show(struct dialogue *dialogue, struct draft *draft,
    bool (*how)(struct screen *screen, const char *text))
{
	bool whole = fclose(draft->page.out) == 0 && how(&dialogue->screen, draft->text);

	free(draft->text);
	return whole;
}

bool dialogue_show(struct dialogue *dialogue, struct draft *draft)
{
	return show(dialogue, draft, screen_show);
}

bool dialogue_show_together(struct dialogue *dialogue, struct draft *draft)
{
	return show(dialogue, draft, screen_show_together);
}

void dialogue_complain(struct dialogue *dialogue, const char *what, const struct error *error)
{
	screen_say(&dialogue->screen, "%s: %s.", what, error->text);
}

bool dialogue_confirm(struct dialogue *dialogue)
{
	char line[32];

	screen_forget_typed(&dialogue->screen);
	if (screen_ask(&dialogue->screen,
		"Type the word " CONFIRMATION " and Enter to go on, only Enter to leave it: ", line,
		sizeof(line)) != ANSWER_LINE)
		return false;
	return strcmp(line, CONFIRMATION) == 0;
}

/* --- looking --- */

static void read_stick(struct dialogue *dialogue)
{
	ssize_t got =
	    sysfs_bytes(dialogue->root, STICK, dialogue->stick, sizeof(dialogue->stick) - 1);

	dialogue->stick[got > 0 ? got : 0] = '\0';
}

/* The drives anew; what was known of old systems is gone with the old list. */
static void look_again(struct dialogue *dialogue)
{
	struct error error;

	screen_say(&dialogue->screen, "Reading the drives. Ctrl-C stops it ...");
	dialogue->job_done = false;
	read_stick(dialogue);
	dialogue->power = power_look(dialogue->root);
	if (!look_at_drives(&dialogue->look, &error))
		dialogue_complain(dialogue, "The drives could not be listed", &error);
}

/*
 * A drive that was plugged in and has only file systems for files to go to holds no old system.
 * Reading it would only bring up that its files are not taken.
 */
static bool is_only_a_destination(const struct look_drive *drive)
{
	bool any = false;

	for (size_t i = 0; i < drive->n_volumes; i++) {
		const char *filesystem = drive->volumes[i].filesystem;

		if (drive->volumes[i].is_system)
			continue;
		if (strcmp(filesystem, "FAT") != 0 && strcmp(filesystem, "exFAT") != 0)
			return false;
		any = true;
	}
	return any && drive->removable && drive->readable && !drive->stick;
}

bool dialogue_survey(struct dialogue *dialogue)
{
	const struct look *look = &dialogue->look;
	const char **ruled_out = calloc(look->n_drives + 1, sizeof(*ruled_out));
	struct error error;
	size_t n_ruled_out = 0;
	bool good;

	for (size_t i = 0; ruled_out != NULL && i < look->n_drives; i++)
		if (is_only_a_destination(&look->drives[i]))
			ruled_out[n_ruled_out++] = look->drives[i].path;
	screen_say(&dialogue->screen,
	    "Reading the file tables to find out whose PC it was. Ctrl-C stops it ...");
	good = look_at_systems(&dialogue->look, ruled_out, n_ruled_out, &error);
	free(ruled_out);
	if (!good)
		dialogue_complain(dialogue, "The file tables were not read", &error);
	return good;
}

static const struct look_drive *failing_drive(const struct look *look)
{
	for (size_t i = 0; i < look->n_drives; i++)
		if (!look->drives[i].stick && look_is_failing(&look->drives[i]))
			return &look->drives[i];
	return NULL;
}

static bool has_something_to_read(const struct look *look)
{
	for (size_t i = 0; i < look->n_drives; i++)
		if (!look->drives[i].stick && look->drives[i].readable &&
		    look->drives[i].n_volumes > 0)
			return true;
	return false;
}

/* --- what is shown --- */

static bool show_drives(struct dialogue *dialogue)
{
	struct draft draft;

	if (!draft_begin(&draft, dialogue))
		return false;
	start_drives(&draft.page, &dialogue->look, dialogue->stick);
	return dialogue_show(dialogue, &draft);
}

static void show_menu(struct dialogue *dialogue)
{
	struct draft draft;

	if (!draft_begin(&draft, dialogue))
		return;
	start_next_step(&draft.page, &dialogue->look, &dialogue->power, dialogue->job_done);
	start_menu(&draft.page);
	dialogue_show_together(dialogue, &draft);
}

static void show_systems(struct dialogue *dialogue)
{
	struct draft draft;

	if (!draft_begin(&draft, dialogue))
		return;
	start_systems(&draft.page, &dialogue->look);
	dialogue_show(dialogue, &draft);
	show_menu(dialogue);
}

static void show_title(struct dialogue *dialogue)
{
	struct draft draft;

	dialogue->power = power_look(dialogue->root);
	if (!draft_begin(&draft, dialogue))
		return;
	start_title(&draft.page);
	start_power(&draft.page, &dialogue->power);
	fputc('\n', draft.page.out);
	dialogue_show(dialogue, &draft);
}

/* A drive that fails is not read any longer than it has to be. */
static void survey_healthy(struct dialogue *dialogue)
{
	if (failing_drive(&dialogue->look) == NULL && has_something_to_read(&dialogue->look))
		dialogue_survey(dialogue);
}

/* The job of a volume that brings one along; nobody may be there. False: there is none. */
static bool run_unattended(struct dialogue *dialogue)
{
	struct unattended result;

	survey_healthy(dialogue);
	unattended_run(&dialogue->look, dialogue->screen.in, dialogue->screen.out, &result);
	if (result.end == UNATTENDED_NONE)
		return false;
	if (result.end == UNATTENDED_OFF)
		sleep(dialogue->off_seconds);
	screen_fresh(&dialogue->screen);
	dialogue->job_done = result.has_job;
	screen_say(&dialogue->screen, "%s", result.sentence);
	return true;
}

/* From the drives to the menu. */
static void overview(struct dialogue *dialogue)
{
	show_title(dialogue);
	look_again(dialogue);
	/* Before the first page that waits for somebody to turn it. */
	if (unattended_is_possible(&dialogue->look) && run_unattended(dialogue)) {
		show_menu(dialogue);
		return;
	}
	show_drives(dialogue);
	if (!dialogue->look.surveyed)
		survey_healthy(dialogue);
	show_systems(dialogue);
}

static void show_again(struct dialogue *dialogue)
{
	show_title(dialogue);
	show_drives(dialogue);
	show_systems(dialogue);
}

/* --- what the letters do --- */

static void read_tables(struct dialogue *dialogue)
{
	const struct look_drive *drive = failing_drive(&dialogue->look);

	if (!has_something_to_read(&dialogue->look)) {
		screen_say(&dialogue->screen, "There is no volume that could be read.");
		return;
	}
	if (drive != NULL) {
		screen_say(&dialogue->screen,
		    "The drive %s is failing. Reading its file tables takes some minutes and can "
		    "make it "
		    "worse.",
		    drive->path);
		if (!dialogue_confirm(dialogue))
			return;
	}
	dialogue_survey(dialogue);
}

static void show_page(
    struct dialogue *dialogue, void (*print)(const struct page *page, const struct look *look))
{
	struct draft draft;

	if (!draft_begin(&draft, dialogue))
		return;
	print(&draft.page, &dialogue->look);
	dialogue_show(dialogue, &draft);
}

static void print_help(const struct page *page, const struct look *look)
{
	(void)look;
	start_help(page);
}

/* Lets a program from the stick work; false when it said no. */
static bool let(struct dialogue *dialogue, const char *program, const char *argument)
{
	const char *const arguments[] = {program, argument, NULL};
	struct program_end end;
	struct error error;

	fflush(dialogue->screen.out);
	if (!program_run(arguments, &end, &error)) {
		screen_say(&dialogue->screen, "%s.", error.text);
		return false;
	}
	return end.status == 0;
}

static void choose_keyboard(struct dialogue *dialogue)
{
	char list[4096], line[64];
	ssize_t got = sysfs_bytes(dialogue->root, KEYBOARDS, list, sizeof(list) - 1);
	struct draft draft;

	list[got > 0 ? got : 0] = '\0';
	if (!draft_begin(&draft, dialogue))
		return;
	start_columns(&draft.page, list);
	dialogue_show(dialogue, &draft);
	screen_say(&dialogue->screen, "Which keyboard? Type its short name; only Enter leaves it.");
	if (screen_ask(&dialogue->screen, "keyboard> ", line, sizeof(line)) != ANSWER_LINE ||
	    line[0] == '\0')
		return;
	if (let(dialogue, "keyboard", line))
		screen_say(&dialogue->screen, "The keyboard is now %s.", line);
}

static void change_letters(struct dialogue *dialogue)
{
	bool large = !dialogue->large_letters;

	if (let(dialogue, "font", large ? "large" : "normal"))
		dialogue->large_letters = large;
	else
		screen_say(&dialogue->screen, "The letters of this screen cannot be larger.");
}

static void open_shell(struct dialogue *dialogue)
{
	screen_say(&dialogue->screen, "A shell for technicians. \"exit\" leads back. The drives "
				      "are read-only; leave them so.");
	let(dialogue, "sh", "-l");
	screen_fresh(&dialogue->screen);
}

static void go_down(struct dialogue *dialogue, const char *program, const char *sentence)
{
	screen_say(&dialogue->screen, "%s", sentence);
	if (let(dialogue, program, NULL))
		sleep(dialogue->off_seconds);
}

static void take_everything(struct dialogue *dialogue)
{
	if (!dialogue->look.surveyed)
		read_tables(dialogue);
	if (!dialogue->look.surveyed)
		return;
	if (dialogue->look.n_systems == 0 && dialogue->look.other_bytes == 0)
		screen_say(
		    &dialogue->screen, "There is nothing on these drives that could be taken.");
	else
		job_dialogue(dialogue);
}

/* --- the menu --- */

static bool answer(struct dialogue *dialogue, const char *line)
{
	if (line[0] != '\0' && line[1] != '\0')
		return false;
	switch (line[0]) {
	case '\0':
		show_again(dialogue);
		return true;
	case 'j':
		take_everything(dialogue);
		break;
	case 'l':
		overview(dialogue);
		return true;
	case 'o':
		read_tables(dialogue);
		show_systems(dialogue);
		return true;
	case 'f':
		show_page(dialogue, start_findings);
		break;
	case 'h':
		show_page(dialogue, print_help);
		break;
	case 'k':
		choose_keyboard(dialogue);
		break;
	case 'g':
		change_letters(dialogue);
		break;
	case 's':
		open_shell(dialogue);
		break;
	case 'p':
		go_down(dialogue, "poweroff", "The PC switches off.");
		break;
	case 'r':
		go_down(dialogue, "reboot",
		    "The PC starts again. Pull out the stick if it shall not "
		    "start from it.");
		break;
	default:
		return false;
	}
	show_menu(dialogue);
	return true;
}

static void hold_keys(sigset_t *before)
{
	sigset_t held;

	sigemptyset(&held);
	sigaddset(&held, SIGINT);
	sigaddset(&held, SIGQUIT);
	sigprocmask(SIG_BLOCK, &held, before);
	/* A stopped start screen would never be woken again. */
	signal(SIGTSTP, SIG_IGN);
	signal(SIGPIPE, SIG_IGN);
}

void dialogue_run(FILE *in, FILE *out, const char *root)
{
	struct dialogue dialogue = {.root = root, .off_seconds = *root == '\0' ? 60 : 0};
	enum answer got = ANSWER_INTERRUPTED;
	sigset_t before;
	char line[80];

	hold_keys(&before);
	screen_start(&dialogue.screen, in, out);
	look_init(&dialogue.look);
	overview(&dialogue);
	while (got != ANSWER_END) {
		got = screen_ask(&dialogue.screen, "coldlift> ", line, sizeof(line));
		if (got == ANSWER_LINE && !answer(&dialogue, line))
			screen_say(&dialogue.screen,
			    "There is no '%s' here. Only Enter shows everything again.", line);
	}
	look_free(&dialogue.look);
	sigprocmask(SIG_SETMASK, &before, NULL);
}
