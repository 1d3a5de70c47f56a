/* Devices and connections as text for people: see devices_text.h. */
#include "report/devices_text.h"

#include "base/text.h"
#include "system/devices.h"

#include <string.h>

#define WIDTH 79u
#define INDENT 20u                               /* columns before the text of a kind */
#define LINES 21u                                /* of all kinds together */
#define KIND_COLUMNS (2 * (WIDTH - INDENT) - 10) /* of one kind, before what is only counted */
#define DETAIL_COLUMNS 48u

/* What is said of a thing behind its name: its detail, with what stands before it. */
static const struct {
	enum thing_kind kind;
	const char *detail, *before;
} said[] = {
    {THING_PRINTER, "address", " at "},
    {THING_PRINTER, "shared_as", ", shared as "},
    {THING_MAPPED_DRIVE, "remote_path", " is "},
    {THING_MAPPED_DRIVE, "user_name", ", as "},
    {THING_NETWORK_PLACE, "target", " is "},
    {THING_SHARE, "path", " is "},
    {THING_NETWORK, "network", ", "},
    {THING_NETWORK, "address", " to "},
    {THING_TASK, "when", ", "},
    {THING_DEFAULT_PROGRAM, "types", " opens "},
    {THING_POWER, "screen_off", ", screen off after "},
    {THING_POWER, "sleep_after", ", asleep after "},
    {THING_POWER, "lid", ", lid: "},
};

static void add_thing(struct buf *text, const struct old_system *system, const struct thing *thing)
{
	const char *key = thing_detail(thing, "key"), *end = strrchr(thing->name, '\\');
	bool is_picture = thing->kind == THING_WALLPAPER || thing->kind == THING_ACCOUNT_PICTURE;

	buf_add_text(text, is_picture && end && end[1] ? end + 1 : thing->name);
	for (size_t i = 0; i < sizeof(said) / sizeof(said[0]); i++) {
		const char *value =
		    said[i].kind == thing->kind ? thing_detail(thing, said[i].detail) : NULL;

		/* Long lists are for devices.json. */
		if (value && text_columns(value) <= DETAIL_COLUMNS)
			buf_printf(text, "%s%s", said[i].before, value);
	}
	if (thing->kind == THING_NETWORK && key && strcmp(key, "kept") == 0)
		buf_add_text(text, " (key kept)");
	if (thing->person < system->n_persons)
		buf_printf(text, " (%s)", system->persons[thing->person].key);
}

static bool is_shown(const struct thing *thing, enum thing_kind kind)
{
	return thing->kind == kind && !thing->comes_with_windows;
}

static size_t count_kind(const struct old_system *system, enum thing_kind kind)
{
	size_t count = 0;

	for (size_t i = 0; i < system->n_things; i++)
		count += is_shown(&system->things[i], kind);
	return count;
}

/* One kind as one paragraph, the first always and more while they fit. Returns how many lines it
 * takes, about. */
static unsigned print_kind(const struct old_system *system, enum thing_kind kind, FILE *out)
{
	struct buf text = {0}, one = {0};
	size_t n_shown = 0, count = count_kind(system, kind);
	unsigned columns = 0;

	for (size_t i = 0; i < system->n_things && columns < KIND_COLUMNS; i++) {
		if (!is_shown(&system->things[i], kind))
			continue;
		buf_clear(&one);
		add_thing(&one, system, &system->things[i]);
		columns += text_columns(buf_text(&one)) + 2;
		if (n_shown == 0 || columns < KIND_COLUMNS)
			buf_printf(&text, "%s%s", n_shown++ ? "; " : "", buf_text(&one));
	}
	if (n_shown < count)
		buf_printf(&text, "; and %zu more in devices.json", count - n_shown);
	fprintf(out, "  %-17s ", thing_kind_words(kind));
	text_wrap(out, buf_text(&text), INDENT, WIDTH);
	columns = text_columns(buf_text(&text));
	buf_free(&text);
	buf_free(&one);
	return columns / (WIDTH - INDENT) + 1;
}

/* The kinds for which there was no room. */
static void print_rest(const struct old_system *system, unsigned first, FILE *out)
{
	struct buf text = {0};
	size_t total = 0;

	for (unsigned kind = first; kind < THING_COUNT; kind++) {
		size_t count = count_kind(system, kind);

		if (count > 0)
			buf_printf(&text, "%s%s", total ? ", " : "", thing_kind_words(kind));
		total += count;
	}
	if (total > 0) {
		buf_printf(&text, ": %zu more in devices.json", total);
		fputs("  and ", out);
		text_wrap(out, buf_text(&text), 6, WIDTH);
	}
	buf_free(&text);
}

void devices_print(const struct old_system *system, FILE *out)
{
	unsigned lines = 0, kind;
	size_t total = 0;

	for (kind = 0; kind < THING_COUNT; kind++)
		total += count_kind(system, kind);
	if (total == 0)
		return;
	fputs("\nDevices and connections that the new machine must be told again\n", out);
	for (kind = 0; kind < THING_COUNT && lines < LINES; kind++)
		if (count_kind(system, kind) > 0)
			lines += print_kind(system, kind, out);
	print_rest(system, kind, out);
	fputs("  What to do about each is in a job's devices.json.\n", out);
}
