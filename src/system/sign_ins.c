/*
 * Which address signs in where: to the old PC, its apps, office programs, mail.
 *
 * Only addresses are read, from values that hold nothing else; passwords and tokens lie in other
 * values, which are never looked at.
 *
 * Sources: where the old system and its mail programs keep account names (InternetUserName in SAM,
 * IdentityCRL, LogonUI, IdentityStore, Profiles of mail): common practice, no source.
 */
#include "system/ties.h"

#include "base/utf.h"
#include "system/inner.h"

#include <stdlib.h>
#include <string.h>

#define KEY_SIGN_IN KEY_WINDOWS "\\Authentication\\LogonUI"
#define KEYS_LIMIT 500u /* subkeys of one key */
#define PROFILE_DEPTH 4u

void keep_sign_in(struct learn *learn, size_t person, unsigned kind, const char *address)
{
	struct ties *ties = ties_of(learn);

	if (!ties || !address || !is_address(address))
		return;
	for (size_t i = 0; i < ties->n_sign_ins; i++)
		if (ties->sign_ins[i].person == person && ties->sign_ins[i].kind == kind &&
		    utf_equal_fold(ties->sign_ins[i].address, address))
			return;
	if (ties->n_sign_ins < TIES_LIMIT)
		ties->sign_ins[ties->n_sign_ins++] = (struct sign_in){
		    person, (enum sign_in_kind)kind, learn_text(learn, "%s", address)};
}

/* A text, also one that is kept as plain bytes of UTF-16. */
static char *text_or_wide(const struct hive *hive, hive_cell key, const char *path,
    const char *name, struct arena *arena)
{
	char *text = hive_text(hive, key, path, name, arena, NULL);
	const uint8_t *data;
	size_t length, units = 0;

	if (text || !hive_bytes(hive, key, path, name, arena, &data, &length) ||
	    length > 2 * TEXT_LIMIT)
		return text;
	while (units < length / 2 && (data[2 * units] || data[2 * units + 1]))
		units++;
	return utf_arena_from_utf16(arena, data, units, NULL);
}

static void keep_value(struct learn *learn, size_t person, enum sign_in_kind kind,
    const struct hive *hive, hive_cell key, const char *name, struct arena *arena)
{
	keep_sign_in(learn, person, kind, text_or_wide(hive, key, "", name, arena));
}

/* --- a person's hive --- */

/* Keys that are called like an address. */
static void keep_key_names(struct learn *learn, size_t person, const struct hive *hive,
    const char *path, struct arena *arena)
{
	hive_cell key = hive_find(hive, hive_root(hive), path), *subkeys;
	size_t count = key == HIVE_NO_CELL ? 0 : hive_subkeys(hive, key, arena, &subkeys);

	for (size_t i = 0; i < count && i < KEYS_LIMIT; i++)
		keep_sign_in(
		    learn, person, SIGN_IN_APPS, hive_key_name(hive, subkeys[i], arena));
}

/* Profiles of mail: an account is a key some levels below. */
static void walk_mail(struct learn *learn, size_t person, const struct hive *hive, hive_cell key,
    unsigned depth, struct arena *arena)
{
	static const char *const names[] = {"Email", "Account Name", "SMTP Email Address"};
	hive_cell *subkeys;
	size_t count;

	if (key == HIVE_NO_CELL)
		return;
	for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++)
		keep_value(learn, person, SIGN_IN_MAIL, hive, key, names[i], arena);
	count = depth == 0 ? 0 : hive_subkeys(hive, key, arena, &subkeys);
	for (size_t i = 0; i < count && i < KEYS_LIMIT; i++)
		walk_mail(learn, person, hive, subkeys[i], depth - 1, arena);
}

static void keep_identities(struct learn *learn, size_t person, const struct hive *hive,
    hive_cell version, struct arena *arena)
{
	hive_cell key = hive_find(hive, version, "Common\\Identity\\Identities"), *identities;
	size_t count = key == HIVE_NO_CELL ? 0 : hive_subkeys(hive, key, arena, &identities);

	for (size_t i = 0; i < count && i < KEYS_LIMIT; i++)
		keep_value(learn, person, SIGN_IN_OFFICE, hive, identities[i], "EmailAddress", arena);
}

/* Office programs: a key for each version. */
static void read_office(
    struct learn *learn, size_t person, const struct hive *hive, struct arena *arena)
{
	hive_cell key = hive_find(hive, hive_root(hive), "Software\\Microsoft\\Office"), *versions;
	size_t count = key == HIVE_NO_CELL ? 0 : hive_subkeys(hive, key, arena, &versions);

	for (size_t i = 0; i < count && i < KEYS_LIMIT; i++) {
		walk_mail(learn, person, hive, hive_find(hive, versions[i], "Outlook\\Profiles"),
		    PROFILE_DEPTH, arena);
		keep_identities(learn, person, hive, versions[i], arena);
	}
}

void learn_person_sign_ins(struct learn *learn, size_t person, const struct hive *hive)
{
	static const char *const mail[] = {
	    "Software\\" KEY_NT "\\Windows Messaging Subsystem\\Profiles",
	    "Software\\Microsoft\\Internet Account Manager\\Accounts"};
	struct arena arena = {0};

	keep_key_names(learn, person, hive,
	    "Software\\Microsoft\\IdentityCRL\\UserExtendedProperties", &arena);
	keep_key_names(
	    learn, person, hive, "Software\\Microsoft\\IdentityCRL\\StoredIdentities", &arena);
	read_office(learn, person, hive, &arena);
	for (size_t i = 0; i < sizeof(mail) / sizeof(mail[0]); i++)
		walk_mail(learn, person, hive, hive_find(hive, hive_root(hive), mail[i]),
		    PROFILE_DEPTH, &arena);
	arena_free(&arena);
}

/* --- the machine's hives --- */

/* An account of this PC that an address stands for. */
static void from_account_list(struct learn *learn, size_t index, struct arena *arena)
{
	const struct person *person = &learn->system->persons[index];
	const char *rid = strrchr(person->sid, '-');
	char *path;

	if (!learn->accounts || !rid || *person->domain)
		return;
	path = arena_printf(
	    arena, "SAM\\Domains\\Account\\Users\\%08lX", strtoul(rid + 1, NULL, 10));
	if (path)
		keep_sign_in(learn, index, SIGN_IN_PC,
		    text_or_wide(learn->accounts, hive_root(learn->accounts), path,
			"InternetUserName", arena));
}

/* "MicrosoftAccount\mara@fernhill.example": behind the last backslash. */
static void keep_logged_on(struct learn *learn, hive_cell key, const char *sid_name,
    const char *user_name, struct arena *arena)
{
	char *sid = hive_text(learn->software, key, "", sid_name, arena, NULL);
	char *user = hive_text(learn->software, key, "", user_name, arena, NULL);
	const char *name = user ? strrchr(user, '\\') : NULL;

	for (size_t i = 0; sid && user && i < learn->system->n_persons; i++)
		if (*sid && strcmp(learn->system->persons[i].sid, sid) == 0)
			keep_sign_in(learn, i, SIGN_IN_PC, name ? name + 1 : user);
}

static void from_sign_in_screen(struct learn *learn, struct arena *arena)
{
	hive_cell key = hive_find(learn->software, hive_root(learn->software), KEY_SIGN_IN);
	hive_cell *sessions, list;
	size_t count;

	if (key == HIVE_NO_CELL)
		return;
	keep_logged_on(learn, key, "LastLoggedOnUserSID", "LastLoggedOnUser", arena);
	list = hive_find(learn->software, key, "SessionData");
	count = list == HIVE_NO_CELL ? 0 : hive_subkeys(learn->software, list, arena, &sessions);
	for (size_t i = 0; i < count && i < KEYS_LIMIT; i++)
		keep_logged_on(learn, sessions[i], "LoggedOnUserSID", "LoggedOnUser", arena);
}

/* What the old system keeps of accounts of an organisation, by SID. */
static void from_identity_store(struct learn *learn, size_t index, struct arena *arena)
{
	const char *sid = learn->system->persons[index].sid;
	char *path = *sid ? arena_printf(arena,
				"Microsoft\\IdentityStore\\Cache\\%s\\IdentityCache\\%s", sid, sid)
			  : NULL;

	if (path)
		keep_sign_in(learn, index, SIGN_IN_PC,
		    text_or_wide(
			learn->software, hive_root(learn->software), path, "UserName", arena));
}

void learn_sign_ins(struct learn *learn)
{
	struct arena arena = {0};

	for (size_t i = 0; i < learn->system->n_persons; i++) {
		if (learn->system->persons[i].is_service)
			continue;
		from_account_list(learn, i, &arena);
		if (learn->software)
			from_identity_store(learn, i, &arena);
	}
	if (learn->software)
		from_sign_in_screen(learn, &arena);
	arena_free(&arena);
}
