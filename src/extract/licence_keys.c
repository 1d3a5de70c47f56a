/* The paper with licence keys: see licence_keys.h. */
#include "extract/licence_keys.h"

#include "base/utf.h"
#include "system/licence.h"

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

static void add_system(
    const struct survey *survey, const struct old_system *system, struct buf *text)
{
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
}

bool licence_keys_write(
    const struct survey *survey, const struct job *job, struct papers *papers, struct error *error)
{
	struct buf text = {0};
	bool good;

	buf_add_text(&text, caution);
	for (size_t i = 0; i < survey->n_systems; i++)
		add_system(survey, &survey->systems[i], &text);
	if (survey->n_systems == 0)
		buf_add_text(&text, "\nThere is no old system on these drives.\n");
	good = papers_add(papers, job, LICENCE_KEYS_FILE, &text, error);
	buf_free(&text);
	return good;
}
