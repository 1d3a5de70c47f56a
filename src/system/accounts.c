/*
 * Account names: what SAM knows of this PC's own accounts, and the last sign-ins of all others.
 *
 * Sources: [MS-DTYP] 2.4.2 (SID: machine or domain identifier and a relative one); winreg-kb
 * "Security Accounts Manager keys". The layout of an account's V value (17 entries of offset,
 * length and a third number, offsets counted from behind them): common practice, no published
 * source.
 */
#include "system/inner.h"

#include "base/bytes.h"
#include "base/utf.h"

#include <stdlib.h>
#include <string.h>

#define V_ENTRIES 17
#define V_ENTRY_SIZE 12
#define V_HEADER (V_ENTRIES * V_ENTRY_SIZE)
#define V_NAME 1
#define V_FULL_NAME 2
#define KEY_ACCOUNTS "SAM\\Domains\\Account"
#define KEY_SIGN_IN KEY_WINDOWS "\\Authentication\\LogonUI"

/* One text of a V value; NULL when it does not lie inside. An empty text is allowed. */
static char *v_text(const uint8_t *v, size_t length, unsigned entry, struct arena *arena)
{
	size_t offset, size;

	if (length < V_HEADER)
		return NULL;
	offset = get_u32(v + entry * V_ENTRY_SIZE);
	size = get_u32(v + entry * V_ENTRY_SIZE + 4);
	if (offset > length - V_HEADER || size > length - V_HEADER - offset || size % 2)
		return NULL;
	return utf_arena_from_utf16(arena, v + V_HEADER + offset, size / 2, NULL);
}

bool account_from_v(const uint8_t *v, size_t length, struct arena *arena, struct account *account)
{
	char *name = v_text(v, length, V_NAME, arena);
	char *full = v_text(v, length, V_FULL_NAME, arena);

	if (!name || !*name)
		return false;
	account->name = name;
	account->full_name = full ? full : "";
	return true;
}

/* The SID of this PC's own accounts without the last number: from the end of the domain's V value.
 */
static char *machine_sid(struct learn *learn, struct arena *arena)
{
	const uint8_t *data;
	size_t length;

	if (!learn->accounts ||
	    !hive_bytes(learn->accounts, hive_root(learn->accounts), KEY_ACCOUNTS, "V", arena,
		&data, &length) ||
	    length < 12)
		return NULL;
	data += length - 12;
	return arena_printf(
	    arena, "S-1-5-21-%u-%u-%u-", get_u32(data), get_u32(data + 4), get_u32(data + 8));
}

static void from_accounts(struct learn *learn, struct person *person, struct arena *arena)
{
	const char *rid = strrchr(person->sid, '-');
	struct account account;
	const uint8_t *data;
	size_t length;
	char *path;

	if (!rid)
		return;
	path = arena_printf(arena, KEY_ACCOUNTS "\\Users\\%08lX", strtoul(rid + 1, NULL, 10));
	if (path &&
	    hive_bytes(
		learn->accounts, hive_root(learn->accounts), path, "V", arena, &data, &length) &&
	    account_from_v(data, length, arena, &account)) {
		person->account = learn_text(learn, "%s", account.name);
		person->full_name = learn_text(learn, "%s", account.full_name);
	}
}

/* "DOMAIN\name" */
static void set_domain_name(struct learn *learn, struct person *person, const char *text)
{
	const char *name = strchr(text, '\\');

	if (!name || !name[1])
		return;
	if (!*person->account)
		person->account = learn_text(learn, "%s", name + 1);
	if (name - text == 1 && *text == '.')
		return;
	person->domain = learn_text(learn, "%.*s", (int)(name - text), text);
}

/* One key of the sign-in screen that may tell of this person. */
static void from_sign_in(struct learn *learn, struct person *person, struct arena *arena,
    const char *path, const char *sid_name, const char *user_name, const char *display_name)
{
	hive_cell root = hive_root(learn->software);
	char *sid = hive_text(learn->software, root, path, sid_name, arena, NULL);
	char *text;

	if (!sid || strcmp(sid, person->sid) != 0)
		return;
	text = hive_text(learn->software, root, path, user_name, arena, NULL);
	if (text)
		set_domain_name(learn, person, text);
	text = hive_text(learn->software, root, path, display_name, arena, NULL);
	if (text && !*person->full_name)
		person->full_name = learn_text(learn, "%s", text);
}

static void from_sign_ins(struct learn *learn, struct person *person, struct arena *arena)
{
	hive_cell key, *sessions;
	size_t n_sessions;

	if (!learn->software)
		return;
	from_sign_in(learn, person, arena, KEY_SIGN_IN, "LastLoggedOnUserSID",
	    "LastLoggedOnSAMUser", "LastLoggedOnDisplayName");
	key = hive_find(learn->software, hive_root(learn->software), KEY_SIGN_IN "\\SessionData");
	if (key == HIVE_NO_CELL)
		return;
	n_sessions = hive_subkeys(learn->software, key, arena, &sessions);
	for (size_t i = 0; i < n_sessions && i < 100; i++) {
		char *name = hive_key_name(learn->software, sessions[i], arena);
		char *path = arena_printf(arena, KEY_SIGN_IN "\\SessionData\\%s", name ? name : "");

		if (path)
			from_sign_in(learn, person, arena, path, "LoggedOnUserSID",
			    "LoggedOnSAMUser", "LoggedOnDisplayName");
	}
}

void learn_account(struct learn *learn, struct person *person)
{
	struct arena arena = {0}; /* what is looked at for one person does not stay */
	char *machine = machine_sid(learn, &arena);
	bool is_own = machine && strncmp(person->sid, machine, strlen(machine)) == 0;

	if (is_own)
		from_accounts(learn, person, &arena);
	else
		from_sign_ins(learn, person, &arena);
	if (!is_own && !*person->domain && machine && strncmp(person->sid, "S-1-5-21-", 9) == 0)
		person->domain = "unknown domain";
	if (!*person->domain && strncmp(person->sid, "S-1-12-1-", 9) == 0)
		person->domain = "AzureAD";
	/* This PC's own accounts when SAM cannot tell: the sign-in names the PC as their domain. */
	if (utf_equal_fold(person->domain, learn->system->computer))
		person->domain = "";
	arena_free(&arena);
}
