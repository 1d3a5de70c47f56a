/*
 * Does the PC belong to an organisation, or is it managed by one: work, school?
 *
 * Then its owner must be asked before anything is taken, and it may be locked or wiped from afar.
 *
 * Sources: Microsoft, "DMClient CSP" (UPN of an enrolment). Where the state of a domain's policies,
 * of the join to a directory in the cloud, and of enrolments is kept: common practice, no source.
 */
#include "system/ties.h"

#include "base/utf.h"
#include "system/inner.h"

#include <string.h>

#define KEYS_LIMIT 200u
#define ENROLLED 1u /* EnrollmentState: complete */

static const struct {
	const char *name, *words;
} managements[] = {
    [MANAGED_DOMAIN] = {"domain", "a member of an organisation's domain"},
    [MANAGED_DIRECTORY] = {"directory", "joined to an organisation's directory in the cloud"},
    [MANAGED_ENROLLED] = {"enrolled", "enrolled with an organisation that manages it"},
    [MANAGED_POLICY] = {"policy", "told by an organisation's policy to enrol"},
    [MANAGED_ACCOUNT] = {"account", "known to an organisation by an account added to it"},
};

const char *management_name(enum management how)
{
	return managements[how].name;
}

const char *management_words(enum management how)
{
	return managements[how].words;
}

bool ties_is_managed(const struct old_system *system)
{
	for (size_t i = 0; system->ties && i < system->ties->n_managed; i++)
		if (system->ties->managed[i].how != MANAGED_ACCOUNT)
			return true;
	return false;
}

void managed_to_text(const struct managed_by *managed, struct buf *text)
{
	buf_add_text(text, management_words(managed->how));
	if (*managed->name)
		buf_printf(text, " (%s)", managed->name);
	if (*managed->address)
		buf_printf(text, ", by %s", managed->address);
}

/* One row for each way, person and address; the texts may be NULL. */
static void keep(struct learn *learn, enum management how, size_t person, const char *name,
    const char *address)
{
	struct ties *ties = learn->ties;
	struct managed_by *row;

	if (!name || strlen(name) > TEXT_LIMIT)
		name = "";
	if (!address || !is_address(address))
		address = "";
	for (size_t i = 0; i < ties->n_managed; i++) {
		row = &ties->managed[i];
		if (row->how != how || row->person != person || !utf_equal_fold(row->address, address))
			continue;
		if (!*row->name && *name)
			row->name = learn_text(learn, "%s", name);
		if (!*name || utf_equal_fold(row->name, name))
			return;
	}
	if (ties->n_managed == TIES_LIMIT)
		return;
	row = &ties->managed[ties->n_managed++];
	*row = (struct managed_by){how, person, learn_text(learn, "%s", name),
	    learn_text(learn, "%s", address)};
	if (*address && how == MANAGED_ACCOUNT)
		keep_sign_in(learn, person, SIGN_IN_WORK, address);
}

/* --- a domain --- */

static char *config_text(
    const struct learn *learn, const char *path, const char *name, struct arena *arena)
{
	char *text = NULL;

	if (learn->config && learn->control != HIVE_NO_CELL)
		text = hive_text(learn->config, learn->control, path, name, arena, NULL);
	return text && *text ? text : NULL;
}

/* "CN=FERNHILL-PC,OU=Rooms,DC=school,DC=example": a computer of a domain. */
static bool is_computer_of_domain(const struct learn *learn, struct arena *arena)
{
	char *name = learn->software
			 ? hive_text(learn->software, hive_root(learn->software),
			       KEY_WINDOWS "\\Group Policy\\State\\Machine", "Distinguished-Name",
			       arena, NULL)
			 : NULL;

	for (const char *at = name ? strchr(name, ',') : NULL; at; at = strchr(at + 1, ','))
		if (utf_starts_fold(at + 1, "DC="))
			return true;
	return false;
}

static void learn_domain(struct learn *learn, struct arena *arena)
{
	static const char tcpip[] = "Services\\Tcpip\\Parameters";
	char *domain = config_text(learn, tcpip, "Domain", arena);
	const struct old_system *system = learn->system;

	if (!domain)
		domain = config_text(learn, tcpip, "NV Domain", arena);
	/* A suffix of names alone can be anybody's; a site is told only to members. */
	if (is_computer_of_domain(learn, arena) ||
	    (domain &&
		config_text(learn, "Services\\Netlogon\\Parameters", "DynamicSiteName", arena)))
		keep(learn, MANAGED_DOMAIN, SIZE_MAX, domain, NULL);
	for (size_t i = 0; i < system->n_persons; i++) {
		const struct person *person = &system->persons[i];

		if (!person->is_service && strncmp(person->sid, "S-1-5-21-", 9) == 0 &&
		    *person->domain && strcmp(person->domain, "unknown domain") != 0 &&
		    !utf_equal_fold(person->domain, "MicrosoftAccount"))
			keep(learn, MANAGED_DOMAIN, SIZE_MAX, domain ? domain : person->domain, NULL);
	}
}

/* --- a directory in the cloud --- */

static bool has_kind(const struct learn *learn, enum management how)
{
	for (size_t i = 0; i < learn->ties->n_managed; i++)
		if (learn->ties->managed[i].how == how)
			return true;
	return false;
}

/* What a join is to: its name stands beside, by the directory's number. */
static void keep_join(struct learn *learn, const struct hive *hive, hive_cell parent,
    hive_cell join, enum management how, size_t person, struct arena *arena)
{
	char *address = hive_text(hive, join, "", "UserEmail", arena, NULL);
	char *directory = hive_text(hive, join, "", "TenantId", arena, NULL);
	char *path = directory ? arena_printf(arena, "TenantInfo\\%s", directory) : NULL;
	char *name = path ? hive_text(hive, parent, path, "DisplayName", arena, NULL) : NULL;

	if (address || directory)
		keep(learn, how, person, name, address);
}

static void keep_joins(struct learn *learn, const struct hive *hive, hive_cell parent,
    enum management how, size_t person, struct arena *arena)
{
	hive_cell key, *joins;
	size_t count;

	if (parent == HIVE_NO_CELL)
		return;
	key = hive_find(hive, parent, "JoinInfo");
	count = key == HIVE_NO_CELL ? 0 : hive_subkeys(hive, key, arena, &joins);
	for (size_t i = 0; i < count && i < KEYS_LIMIT; i++)
		keep_join(learn, hive, parent, joins[i], how, person, arena);
}

void learn_person_managed(struct learn *learn, size_t person, const struct hive *hive)
{
	struct arena arena = {0};

	keep_joins(learn, hive,
	    hive_find(hive, hive_root(hive), "Software\\" KEY_NT "\\WorkplaceJoin"),
	    MANAGED_ACCOUNT, person, &arena);
	arena_free(&arena);
}

/* --- enrolments --- */

/* Every PC has such keys for its own purposes; an organisation's has somebody who enrolled it. */
static void learn_enrolments(struct learn *learn, struct arena *arena)
{
	const struct hive *hive = learn->software;
	hive_cell key = hive_find(hive, hive_root(hive), "Microsoft\\Enrollments"), *rows;
	size_t count = key == HIVE_NO_CELL ? 0 : hive_subkeys(hive, key, arena, &rows);

	for (size_t i = 0; i < count && i < KEYS_LIMIT; i++) {
		char *address = hive_text(hive, rows[i], "", "UPN", arena, NULL);
		uint64_t state = ENROLLED;

		hive_number(hive, rows[i], "", "EnrollmentState", &state);
		if (address && is_address(address) && state == ENROLLED)
			keep(learn, MANAGED_ENROLLED, SIZE_MAX, NULL, address);
	}
}

static void learn_policy(struct learn *learn)
{
	uint64_t enrol = 0;

	if (hive_number(learn->software, hive_root(learn->software),
		"Policies\\" KEY_WINDOWS "\\MDM", "AutoEnrollMDM", &enrol) &&
	    enrol == 1)
		keep(learn, MANAGED_POLICY, SIZE_MAX, NULL, NULL);
}

/* --- findings --- */

static void report(struct learn *learn)
{
	const struct old_system *system = learn->system;
	struct buf text = {0};

	for (size_t i = 0; i < learn->ties->n_managed; i++) {
		const struct managed_by *row = &learn->ties->managed[i];

		if (row->how == MANAGED_ACCOUNT) {
			findings_add(learn->findings, WEIGHT_NOTE, "work-account",
			    system->persons[row->person].key,
			    "Files and mail of that account may be the organisation's: ask it.",
			    "%s added a work or school account to this PC%s%s.",
			    person_words(system, row->person), *row->address ? ": " : "", row->address);
			continue;
		}
		buf_printf(&text, "%s", text.length ? "; " : "");
		managed_to_text(row, &text);
	}
	if (text.length)
		findings_add(learn->findings, WEIGHT_CAUTION, "managed-pc", system->key,
		    "Ask that organisation (an employer, a school) before anything is taken: the PC and "
		    "files on it may be its property, and it may be able to lock the PC or wipe it.",
		    "This PC belongs to an organisation or is managed by one: it is %s.",
		    buf_text(&text));
	buf_free(&text);
}

void learn_managed(struct learn *learn)
{
	struct arena arena = {0};

	learn_domain(learn, &arena);
	if (learn->config && learn->control != HIVE_NO_CELL)
		keep_joins(learn, learn->config,
		    hive_find(learn->config, learn->control, "Control\\CloudDomainJoin"),
		    MANAGED_DIRECTORY, SIZE_MAX, &arena);
	for (size_t i = 0; i < learn->system->n_persons; i++)
		/* Accounts of such a directory sign in only on a PC that was joined to it. */
		if (strncmp(learn->system->persons[i].sid, "S-1-12-1-", 9) == 0 &&
		    !has_kind(learn, MANAGED_DIRECTORY))
			keep(learn, MANAGED_DIRECTORY, SIZE_MAX, NULL, NULL);
	if (learn->software) {
		learn_enrolments(learn, &arena);
		learn_policy(learn);
	}
	report(learn);
	arena_free(&arena);
}
