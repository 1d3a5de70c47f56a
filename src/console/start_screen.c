/* What the start screen says: see start_screen.h. */
#include "console/start_screen.h"

#include "base/text.h"
#include "console/next_step.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#define FINDINGS_AT_DRIVE 3 /* under a drive */
#define FINDINGS_SHOWN 6    /* under the old systems */
#define PERSONS_SHOWN 30
#define VOLUMES_SHOWN 24
#define LABEL_COLUMN 52 /* of a volume; what stands before it is set in columns */
#define SLOW_LINK 480   /* megabits per second: USB 2 */

void page_line(const struct page *page, unsigned indent, unsigned hang, const char *format, ...)
{
	va_list arguments;

	va_start(arguments, format);
	text_paragraph(page->out, indent, hang, page->width, format, arguments);
	va_end(arguments);
}

static void blank(const struct page *page)
{
	fputc('\n', page->out);
}

/* Prints escaped text and fills up to `width` columns, with at least one space. */
static void column(const struct page *page, const char *text, unsigned width)
{
	unsigned used = text_columns(text);

	text_print(page->out, text);
	do
		fputc(' ', page->out);
	while (++used < width);
}

/* --- title --- */

void start_title(const struct page *page)
{
	blank(page);
	page_line(page, 0, 0, "coldlift %s", COLDLIFT_VERSION);
	page_line(
	    page, 0, 0, "Nothing on the drives of this PC has been changed, and nothing will be.");
}

void start_power(const struct page *page, const struct power *power)
{
	if (!power->on_battery)
		return;
	if (power->percent == POWER_UNKNOWN)
		page_line(page, 0, 0, "This PC runs on its battery. Plug in the mains.");
	else
		page_line(page, 0, 0,
		    "This PC runs on its battery, which is %d %% full. Plug in the "
		    "mains.",
		    power->percent);
}

/* --- findings --- */

void start_finding(const struct page *page, unsigned indent, const struct finding *finding)
{
	static const char *const words[] = {
	    [WEIGHT_NOTE] = "Note", [WEIGHT_CAUTION] = "Caution", [WEIGHT_LOSS] = "Loss"};
	struct buf text = {0};

	finding_to_text(finding, &text);
	page_line(page, indent, indent + 2, "%s: %s", words[finding->weight], buf_text(&text));
	buf_free(&text);
}

static void gather(struct findings *all, const struct findings *some)
{
	for (size_t i = 0; i < some->count; i++) {
		const struct finding *finding = &some->items[i];

		findings_add(all, finding->weight, finding->code, finding->subject, finding->advice,
		    "%s", finding->sentence);
	}
}

static void gather_all(struct findings *all, const struct look *look)
{
	findings_init(all);
	gather(all, &look->general);
	for (size_t i = 0; i < look->n_drives; i++)
		gather(all, &look->drives[i].findings);
	gather(all, &look->findings);
	findings_sort(all);
}

void start_findings(const struct page *page, const struct look *look)
{
	struct findings all;

	gather_all(&all, look);
	blank(page);
	page_line(page, 0, 0, "Everything that was found");
	for (size_t i = 0; i < all.count; i++)
		start_finding(page, 2, &all.items[i]);
	if (all.count == 0)
		page_line(page, 2, 2, "Nothing that you need to know%s.",
		    look->surveyed ? "" : "; the file tables were not read yet (o)");
	blank(page);
	findings_free(&all);
}

/* --- drives --- */

static void print_volume(const struct page *page, const struct look_volume *volume)
{
	const char *name = look_short_name(volume->device);
	char number[24], free_text[48] = "";

	snprintf(number, sizeof(number), "volume %u", volume->number);
	if (*name == '\0')
		name = volume->number != 0 ? number : "whole";
	fputs("     ", page->out);
	column(page, name, 10);
	column(page, volume->letter, 4);
	column(page, *volume->filesystem != '\0' ? volume->filesystem : "-", 10);
	column(page, text_size(volume->size).text, 9);
	if (volume->free != LOOK_FREE_UNKNOWN)
		snprintf(free_text, sizeof(free_text), "%s free", text_size(volume->free).text);
	column(page, free_text, 14);
	/* Where letters are large the label has a line of its own. */
	if (page->width < LABEL_COLUMN + 20 && *volume->label != '\0')
		fputs("\n       ", page->out);
	page_line(page, 0, page->width < LABEL_COLUMN + 20 ? 7 : LABEL_COLUMN, "%s", volume->label);
}

static void print_volumes(const struct page *page, const struct look_drive *drive)
{
	size_t n_system = 0, n_shown = 0, n_others = 0;

	for (size_t i = 0; i < drive->n_volumes; i++) {
		if (drive->volumes[i].is_system)
			n_system++;
		else if (n_shown == VOLUMES_SHOWN)
			n_others++;
		else {
			print_volume(page, &drive->volumes[i]);
			n_shown++;
		}
	}
	if (n_others > 0)
		page_line(page, 5, 7, "and %zu more volumes", n_others);
	if (n_system > 0)
		page_line(page, 5, 7, "%s%zu small %s that the old system starts from",
		    n_shown > 0 ? "and " : "", n_system, n_system == 1 ? "volume" : "volumes");
	if (drive->n_volumes == 0 && drive->readable)
		page_line(page, 5, 7, "no volumes");
	for (size_t i = 0; i < drive->n_volumes; i++)
		if (look_is_encrypted(&drive->volumes[i]))
			page_line(page, 5, 7,
			    "%s is encrypted: only its owner's password or recovery key opens it. "
			    "It is "
			    "not broken. coldlift cannot open it yet.",
			    look_short_name(drive->volumes[i].device));
}

static void print_health(const struct page *page, const struct look_drive *drive)
{
	struct buf health = {0};

	if (*drive->problem != '\0')
		page_line(page, 5, 7, "Not looked into: %s.", drive->problem);
	look_health(drive, &health);
	if (health.length > 0)
		page_line(page, 5, 7, "%s", buf_text(&health));
	buf_free(&health);
	if (strcmp(drive->bus, "USB") == 0 && drive->link_megabits != 0 &&
	    drive->link_megabits <= SLOW_LINK)
		page_line(page, 5, 7,
		    "It hangs on slow USB (%u megabits a second): a large drive takes hours. "
		    "Another "
		    "port, often a blue one, may be faster.",
		    drive->link_megabits);
	if (*drive->set != '\0')
		page_line(page, 5, 7, "It belongs to %s.", drive->set);
}

/* The gravest of its findings; the rest is on the page of findings. */
static void print_drive_findings(const struct page *page, const struct look_drive *drive)
{
	size_t shown = 0, grave = findings_count(&drive->findings, WEIGHT_LOSS) +
				  findings_count(&drive->findings, WEIGHT_CAUTION);

	for (size_t i = 0; i < drive->findings.count && shown < FINDINGS_AT_DRIVE; i++) {
		if (drive->findings.items[i].weight == WEIGHT_NOTE)
			continue;
		start_finding(page, 5, &drive->findings.items[i]);
		shown++;
	}
	if (grave > shown)
		page_line(page, 5, 7, "and %zu more: press f", grave - shown);
}

static void print_drive(const struct page *page, const struct look_drive *drive)
{
	struct buf heading = {0};

	buf_printf(&heading, "%s  %s", look_short_name(drive->path), text_size(drive->size).text);
	look_describe(drive, &heading);
	page_line(page, 0, 5, "%s", buf_text(&heading));
	buf_free(&heading);
	print_health(page, drive);
	print_volumes(page, drive);
	print_drive_findings(page, drive);
}

static void print_stick(const struct page *page, const struct look *look, const char *stick)
{
	char name[64];

	for (size_t i = 0; i < look->n_drives; i++)
		if (look->drives[i].stick)
			page_line(page, 0, 5, "This stick is %s (%s); it can be pulled out now.",
			    look_short_name(look->drives[i].path),
			    *look->drives[i].model != '\0' ? look->drives[i].model : "no name");
	for (; *stick != '\0'; stick += strspn(stick, "\n")) {
		size_t length = strcspn(stick, "\n");
		bool shown = false;

		snprintf(name, sizeof(name), "%.*s", (int)(length < 63 ? length : 63), stick);
		stick += length;
		for (size_t i = 0; i < look->n_drives; i++)
			shown = shown || (look->drives[i].stick &&
					     strcmp(look_short_name(look->drives[i].path), name) == 0);
		if (!shown)
			page_line(page, 0, 5, "This stick is %s; it can be pulled out now.", name);
	}
}

void start_drives(const struct page *page, const struct look *look, const char *stick)
{
	size_t n_shown = 0;

	blank(page);
	page_line(page, 0, 0, "Drives of this PC");
	for (size_t i = 0; i < look->n_drives; i++) {
		const struct look_drive *drive = &look->drives[i];

		if (drive->stick)
			continue;
		print_drive(page, drive);
		n_shown++;
	}
	if (n_shown == 0)
		page_line(page, 2, 2,
		    "None shows up. That does not mean that the files are gone: the drive may hang "
		    "on "
		    "a controller in a RAID mode, be locked, have a loose cable, or be broken. "
		    "Press h to "
		    "read what to do, or plug in a drive and press l to look again.");
	for (size_t i = 0; i < look->general.count; i++)
		start_finding(page, 0, &look->general.items[i]);
	print_stick(page, look, stick);
}

/* --- old systems --- */

static void print_person(const struct page *page, const struct look_person *person)
{
	const char *name = *person->account != '\0' ? person->account : person->folder;
	struct buf text = {0};

	if (*person->full_name != '\0')
		buf_add_text(&text, person->full_name);
	else
		buf_add_text(&text, *name != '\0' ? name : person->key);
	if (*name != '\0' && strcmp(buf_text(&text), name) != 0)
		buf_printf(&text, " (%s)", name);
	buf_printf(&text, ": %s %s, %s", text_count(person->files).text,
	    person->files == 1 ? "file" : "files", text_size(person->bytes).text);
	page_line(page, 2, 4, "%s", buf_text(&text));
	buf_free(&text);
}

static void print_system(const struct page *page, const struct look_system *system)
{
	page_line(page, 0, 2, "%s%s%s%s%s",
	    *system->pc != '\0' ? system->pc : "A PC without a name",
	    *system->product != '\0' ? ", " : "", system->product,
	    *system->volume != '\0' ? ", on " : "", system->volume);
	for (size_t i = 0; i < system->n_persons && i < PERSONS_SHOWN; i++)
		print_person(page, &system->persons[i]);
	if (system->n_persons > PERSONS_SHOWN)
		page_line(page, 2, 4, "and %zu more persons", system->n_persons - PERSONS_SHOWN);
	if (system->n_persons == 0)
		page_line(page, 2, 4, "no persons");
	if (system->shared_bytes > 0)
		page_line(page, 2, 4, "shared by all: %s", text_size(system->shared_bytes).text);
}

static void print_wrong(const struct page *page, const struct look *look)
{
	struct findings all;
	size_t grave, shown = 0;

	gather_all(&all, look);
	grave = findings_count(&all, WEIGHT_LOSS) + findings_count(&all, WEIGHT_CAUTION);
	blank(page);
	/* Whoever owns the PC comes before what is wrong with it. */
	for (size_t i = 0; i < all.count; i++)
		if (strcmp(all.items[i].code, "managed-pc") == 0) {
			start_finding(page, 0, &all.items[i]);
			blank(page);
		}
	page_line(page, 0, 0, "What is wrong");
	for (; shown < all.count && shown < FINDINGS_SHOWN; shown++) {
		if (all.items[shown].weight == WEIGHT_NOTE)
			break;
		start_finding(page, 2, &all.items[shown]);
	}
	if (grave == 0)
		page_line(page, 2, 4, "Nothing that would keep files from being taken.");
	if (grave > shown)
		page_line(page, 2, 4, "and %zu more: press f", grave - shown);
	if (all.count > grave)
		page_line(page, 2, 4, "and %zu %s: press f", all.count - grave,
		    all.count - grave == 1 ? "note" : "notes");
	findings_free(&all);
}

void start_systems(const struct page *page, const struct look *look)
{
	if (!look->surveyed)
		return;
	blank(page);
	page_line(page, 0, 0, "Old systems found");
	for (size_t i = 0; i < look->n_systems; i++)
		print_system(page, &look->systems[i]);
	if (look->n_systems == 0)
		page_line(page, 2, 2,
		    "None: on none of these drives is a Windows with persons' folders "
		    "that could be read.");
	if (look->other_bytes > 0)
		page_line(page, 2, 4, "%s on volumes without an old system: %s in use",
		    look->n_systems > 0 ? "and" : "but", text_size(look->other_bytes).text);
	print_wrong(page, look);
}

/* --- next step and menu --- */

void start_next_step(
    const struct page *page, const struct look *look, const struct power *power, bool done)
{
	struct buf text = {0};

	next_step(look, power, done, &text);
	blank(page);
	page_line(page, 0, 0, "Next step");
	page_line(page, 2, 2, "%s", buf_text(&text));
	buf_free(&text);
}

void start_menu(const struct page *page)
{
	/*
	 * Only letters that lie on the same key of QWERTY, QWERTZ and AZERTY keyboards: the layout
	 * can be wrong. Two columns where the letters leave room.
	 */
	static const char *const entries[][2] = {
	    {"j  take everything to another drive", "k  keyboard layout"},
	    {"l  look again (something was plugged in)", "g  larger letters, and back"},
	    {"o  read the file tables: whose PC it was", "s  shell for technicians"},
	    {"f  everything that was found", "p  switch off"},
	    {"h  help: a drive is missing, a PC refuses", "r  restart"},
	};

	const size_t count = sizeof(entries) / sizeof(entries[0]);
	const bool wide = page->width >= 76;

	blank(page);
	page_line(page, 0, 0, "Press a letter, then Enter:");
	for (size_t i = 0; i < count; i++) {
		fputs("  ", page->out);
		if (wide)
			column(page, entries[i][0], 44);
		fprintf(page->out, "%s\n", entries[i][wide ? 1 : 0]);
	}
	for (size_t i = 0; !wide && i < count; i++)
		fprintf(page->out, "  %s\n", entries[i][1]);
}

#define COLUMN_WIDTH 38

/* Prints the line at *list as a column, and goes on to the next. */
static void print_cell(const struct page *page, const char **list, unsigned width)
{
	size_t length = strcspn(*list, "\n");
	char *line = strndup(*list, length);

	if (line != NULL && width > 0)
		column(page, line, width);
	else if (line != NULL)
		text_print(page->out, line);
	free(line);
	*list += length;
	*list += **list == '\n';
}

void start_columns(const struct page *page, const char *list)
{
	const char *right = list;
	size_t lines = 0, half;

	for (const char *at = list; *at != '\0'; at++)
		lines += *at == '\n' || at[1] == '\0';
	half = page->width >= 2 * COLUMN_WIDTH ? (lines + 1) / 2 : lines;
	for (size_t i = 0; i < half; i++) {
		right += strcspn(right, "\n");
		right += *right == '\n';
	}
	for (size_t i = 0; i < half; i++) {
		print_cell(page, &list, *right != '\0' ? COLUMN_WIDTH : 0);
		if (*right != '\0')
			print_cell(page, &right, 0);
		fputc('\n', page->out);
	}
}
