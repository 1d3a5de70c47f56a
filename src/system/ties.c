/* How the ties of one old system are learned, and what they are called: see ties.h. */
#include "system/ties.h"

#include "base/utf.h"
#include "system/inner.h"

#include <stdlib.h>
#include <string.h>

#define ADDRESS_LIMIT 254u /* bytes: RFC 5321, 4.5.3.1.3, without the angle brackets */

const char *sync_source_name(enum sync_source source)
{
	static const char *const names[] = {[SYNC_REGISTERED] = "registered",
	    [SYNC_ACCOUNT] = "account", [SYNC_FOLDER_TREE] = "folder-tree", [SYNC_FILES] = "cloud-files"};

	return names[source];
}

static const struct {
	const char *name, *words;
} sign_in_kinds[] = {
    [SIGN_IN_PC] = {"pc", "signing in to the old PC"},
    [SIGN_IN_APPS] = {"apps", "apps and store of the old system"},
    [SIGN_IN_OFFICE] = {"office", "office programs"},
    [SIGN_IN_SYNC] = {"sync", "a folder kept in the cloud"},
    [SIGN_IN_BROWSER] = {"browser", "a browser, for its bookmarks and passwords"},
    [SIGN_IN_MAIL] = {"mail", "a mail program"},
    [SIGN_IN_WORK] = {"work", "a work or school account"},
};

const char *sign_in_name(enum sign_in_kind kind)
{
	return sign_in_kinds[kind].name;
}

const char *sign_in_words(enum sign_in_kind kind)
{
	return sign_in_kinds[kind].words;
}

static bool is_same_address(const struct sign_in *one, const struct sign_in *other)
{
	return one->person == other->person && utf_equal_fold(one->address, other->address);
}

bool sign_ins_to_text(const struct ties *ties, size_t index, struct buf *text)
{
	const struct sign_in *row = &ties->sign_ins[index];

	for (size_t i = 0; i < index; i++)
		if (is_same_address(&ties->sign_ins[i], row))
			return false;
	buf_add_text(text, row->address);
	for (size_t i = index; i < ties->n_sign_ins; i++)
		if (is_same_address(&ties->sign_ins[i], row))
			buf_printf(text, "%s %s", i == index ? ":" : ";",
			    sign_in_words(ties->sign_ins[i].kind));
	return true;
}

/* By person, then by what they sign in to. */
static int by_person(const void *a, const void *b)
{
	const struct sign_in *one = a, *other = b;

	if (one->person != other->person)
		return one->person < other->person ? -1 : 1;
	if (one->kind != other->kind)
		return one->kind < other->kind ? -1 : 1;
	return strcmp(one->address, other->address);
}

static const struct {
	const char *name, *words;
} bound_kinds[] = {
    [BOUND_SIGN_IN] = {"sign-in", "a PIN, fingerprint or face for signing in, or passkeys"},
    [BOUND_CHIP] = {"chip", "keys that only this PC's security chip can use"},
    [BOUND_CERTIFICATES] = {"certificates", "certificates of a person"},
    [BOUND_KEYS] = {"keys", "keys that open other computers, or read secret mail"},
    [BOUND_AUTHENTICATOR] = {"authenticator", "a program that makes one-time codes"},
    [BOUND_SESSION] = {"session", "a program that keeps a sign-in and its contents to itself"},
};

const char *bound_name(enum bound_kind kind)
{
	return bound_kinds[kind].name;
}

const char *bound_words(enum bound_kind kind)
{
	return bound_kinds[kind].words;
}

bool is_address(const char *text)
{
	const char *at = strchr(text, '@');
	size_t length = strlen(text);

	if (!at || at == text || !at[1] || strchr(at + 1, '@') || length > ADDRESS_LIMIT)
		return false;
	for (size_t i = 0; i < length; i++)
		if ((uint8_t)text[i] <= ' ' || text[i] == 0x7F || strchr("\"\\/<>(),;:|", text[i]))
			return false;
	return true;
}

const char *person_words(const struct old_system *system, size_t person)
{
	const struct person *of = person < system->n_persons ? &system->persons[person] : NULL;

	return !of ? "somebody" : *of->account ? of->account : of->folder;
}

struct ties *ties_of(struct learn *learn)
{
	if (!learn->ties) {
		learn->ties = arena_alloc(&learn->survey->arena, sizeof(*learn->ties));
		learn->no_memory = learn->no_memory || !learn->ties;
		learn->system->ties = learn->ties;
	}
	return learn->ties;
}

void learn_person_ties(struct learn *learn, size_t person, const struct hive *hive)
{
	if (!ties_of(learn))
		return;
	learn_registered(learn);
	learn_sync_accounts(learn, person, hive);
	learn_shell_folders(learn, person, hive);
	learn_person_sign_ins(learn, person, hive);
	learn_person_managed(learn, person, hive);
}

void learn_ties(struct learn *learn)
{
	if (!ties_of(learn))
		return;
	learn_managed(learn);
	learn_sync_roots(learn);
	learn_sign_ins(learn);
	learn_cloud_drives(learn);
	learn_device_keys(learn);
	report_sync_roots(learn);
	if (learn->ties->n_sign_ins > 1)
		qsort(learn->ties->sign_ins, learn->ties->n_sign_ins,
		    sizeof(*learn->ties->sign_ins), by_person);
}
