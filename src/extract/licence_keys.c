/* The paper with licence keys: see licence_keys.h. */
#include "extract/licence_keys.h"

#include "base/utf.h"
#include "system/licence.h"
#include "system/program_licences.h"

#include <string.h>

static const char caution[] =
    "Licence keys of the old system\n"
    "==============================\n"
    "\n"
    "Whoever reads this file can use these keys. Keep it where only the owner can read\n"
    "it, and delete it when it is not needed any more.\n"
    "\n"
    "A key that stands in the old system is often a placeholder: PCs whose key is in\n"
    "the firmware, that were brought up to date for nothing, or that belong to an\n"
    "organisation mostly hold a key that very many PCs have in common. It installs the\n"
    "same edition, and activates nothing. The key on the label or the bill counts.\n";

/* What a key is worth, by the kind of the licence. */
static const char *worth(enum licence_kind kind)
{
	switch (kind) {
	case LICENCE_FIRMWARE:
	case LICENCE_PC:
		return "Of no use on another PC.";
	case LICENCE_ORGANISATION:
		return "The organisation's own, or a placeholder; of no use to a person.";
	case LICENCE_RETAIL:
		return "The owner's own if it was bought apart, otherwise a placeholder.";
	case LICENCE_TRIAL:
		return "For a trial that ends by itself.";
	default:
		return "Its own or a placeholder: the hive does not tell.";
	}
}

static void add_clean(struct buf *text, const char *inner)
{
	utf_clean(text, inner, strlen(inner));
}

/* --- serial numbers of programs --- */

struct numbers {
	const struct plan *plan;
	const struct old_system *system;
	struct buf *text;
	size_t count;
};

static bool takes_from(const struct plan *plan, const struct old_system *system, size_t person)
{
	size_t index = (size_t)(system - plan->survey->systems);

	for (size_t i = 0; i < plan->n_items; i++) {
		const struct item *item = &plan->items[i];
		const struct group *group = item->group == NONE ? NULL : &plan->groups[item->group];

		if (group && item->state != STATE_LEFT && group->system == index &&
		    group->person == person)
			return true;
	}
	return false;
}

/* The program that the place was tied to when the drive was surveyed; "" for none. */
static const char *name_of(const struct old_system *system, size_t person, const char *where)
{
	for (size_t i = 0; i < system->n_licences; i++) {
		const struct program_licence *licence = &system->licences[i];

		if (licence->is_value && licence->person == person &&
		    licence->program < system->n_programs && strcmp(licence->where, where) == 0)
			return system->programs[licence->program].name;
	}
	return "";
}

static void add_number(void *context, size_t person, const char *where, const char *value)
{
	struct numbers *numbers = context;
	const struct old_system *system = numbers->system;
	const char *name = name_of(system, person, where);

	if (person < system->n_persons && !takes_from(numbers->plan, system, person))
		return;
	if (numbers->count++ == 0)
		buf_add_text(numbers->text, "\n  What programs keep in the registry and looks like "
					    "a serial number or key:\n");
	buf_add_text(numbers->text, "  ");
	add_clean(numbers->text, value);
	buf_add_text(numbers->text, *name ? "  (" : "  (of an unknown program");
	add_clean(numbers->text, name);
	if (person < system->n_persons) {
		buf_add_text(numbers->text, ", of ");
		add_clean(numbers->text, system->persons[person].key);
	}
	buf_add_text(numbers->text, ")\n      ");
	add_clean(numbers->text, where);
	buf_add_text(numbers->text, "\n");
}

static void add_system(const struct plan *plan, const struct old_system *system, struct buf *text)
{
	const struct survey *survey = plan->survey;
	struct numbers numbers = {plan, system, text, 0};
	struct licence_key keys[LICENCE_KEYS];
	size_t count = licence_keys_read(survey, system, keys);

	buf_add_text(text, "\n");
	add_clean(text, *system->product ? system->product : "Old system");
	if (*system->edition) {
		buf_add_text(text, " (");
		add_clean(text, system->edition);
		buf_add_text(text, ")");
	}
	buf_add_text(text, " of ");
	add_clean(text, system->key);
	buf_printf(text, "\n  %s\n", licence_kind_sentence(system->licence.kind));
	for (size_t i = 0; i < count; i++)
		buf_printf(text, "  %s  (%s)\n", keys[i].key, keys[i].from);
	buf_printf(text, "  %s\n",
	    count > 0 ? worth(system->licence.kind) : "The old system holds no key.");
	program_licences_read(survey, system, add_number, &numbers);
}

bool licence_keys_write(
    const struct plan *plan, const struct job *job, struct papers *papers, struct error *error)
{
	const struct survey *survey = plan->survey;
	struct buf text = {0};
	bool good;

	buf_add_text(&text, caution);
	for (size_t i = 0; i < survey->n_systems; i++)
		add_system(plan, &survey->systems[i], &text);
	if (survey->n_systems == 0)
		buf_add_text(&text, "\nThere is no old system on these drives.\n");
	good = papers_add(papers, job, LICENCE_KEYS_FILE, &text, error);
	buf_free(&text);
	return good;
}
