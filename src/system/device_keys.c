/*
 * What stays behind when files move: keys that are bound to the PC, and sessions of programs.
 *
 * Known by where it lies and how it is built; nothing of it is opened. Programs that make one-time
 * codes are known by the word for them in their folder's name; programs that keep a sign-in and
 * their contents to themselves (many that people chat with are so) by the stores of a web view, or a
 * database of messages.
 *
 * Sources: where the old system keeps keys (Ngc, PCPKSP, SystemCertificates), and programs their
 * stores: common practice, no source; "id_..." and ".pub": the manual of ssh-keygen.
 */
#include "system/ties.h"

#include "base/utf.h"
#include "system/inner.h"

#include <string.h>

/* --- keeping one --- */

static void keep(struct learn *learn, enum bound_kind kind, size_t person, struct location at,
    uint64_t files)
{
	struct ties *ties = learn->ties;

	if (files > 0 && ties->n_bound < TIES_LIMIT)
		ties->bound[ties->n_bound++] =
		    (struct bound){kind, person, old_path_of(learn, at), files};
}

/* A folder below another one, with all that is in it. */
static void keep_folder(struct learn *learn, enum bound_kind kind, size_t person,
    struct location above, const char *path)
{
	const struct catalogue *catalogue = survey_catalogue(learn->survey, above.volume);
	struct location at = {above.volume, NONE};

	if (catalogue && above.node != NONE)
		at.node = catalogue_lookup(catalogue, above.node, path);
	if (at.node != NONE)
		keep(learn, kind, person, at, survey_sum(learn->survey, at).files);
}

/* --- the machine --- */

static void learn_machine_keys(struct learn *learn)
{
	const struct old_system *system = learn->system;
	struct location windows = {system->volume, system->windows};
	struct location root = {system->volume, system->container};

	keep_folder(learn, BOUND_SIGN_IN, SIZE_MAX, windows,
	    "ServiceProfiles\\LocalService\\AppData\\Local\\Microsoft\\Ngc");
	keep_folder(learn, BOUND_CHIP, SIZE_MAX, root, "ProgramData\\Microsoft\\Crypto\\PCPKSP");
}

/* --- a person's keys --- */

static bool ends_in(const char *name, const char *ending)
{
	size_t length = strlen(name), n = strlen(ending);

	return length > n && utf_equal_fold(name + length - n, ending);
}

/* In a folder of ssh: everything but what is public and what only says where others are. */
static bool is_private_key(const char *name)
{
	return !ends_in(name, ".pub") && !utf_starts_fold(name, "known_hosts") &&
	       !utf_starts_fold(name, "authorized_keys") && !utf_equal_fold(name, "config");
}

static void learn_ssh(struct learn *learn, size_t person)
{
	const struct location profile = learn->system->persons[person].profile;
	const struct catalogue *catalogue = survey_catalogue(learn->survey, profile.volume);
	struct location at = {profile.volume, NONE};
	const uint32_t *children;
	uint64_t files = 0;
	size_t count = 0;

	if (catalogue && profile.node != NONE)
		at.node = catalogue_lookup(catalogue, profile.node, ".ssh");
	if (at.node != NONE)
		count = catalogue_children(catalogue, at.node, &children);
	for (size_t i = 0; i < count; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const struct node *node = catalogue_node(catalogue, entry->node);

		if (node && !(node->flags & NODE_FOLDER) &&
		    is_private_key(catalogue_name(catalogue, entry->name)))
			files++;
	}
	keep(learn, BOUND_KEYS, person, at, files);
}

static void learn_person_keys(struct learn *learn, size_t index)
{
	const struct person *person = &learn->system->persons[index];
	struct location roaming = settings_folder(
	    learn->survey, person, "settings-roaming", "AppData\\Roaming");
	struct location local =
	    settings_folder(learn->survey, person, "settings-local", "AppData\\Local");

	keep_folder(learn, BOUND_CHIP, index, local, "Microsoft\\Crypto\\PCPKSP");
	keep_folder(learn, BOUND_CERTIFICATES, index, roaming,
	    "Microsoft\\SystemCertificates\\My\\Certificates");
	learn_ssh(learn, index);
	keep_folder(learn, BOUND_KEYS, index, person->profile, ".gnupg\\private-keys-v1.d");
	keep_folder(learn, BOUND_KEYS, index, roaming, "gnupg\\private-keys-v1.d");
}

/* --- programs --- */

static bool holds_word(const char *name, const char *word)
{
	for (const char *at = name; *at; at++)
		if (utf_starts_fold(at, word))
			return true;
	return false;
}

static bool is_message_store(const char *name)
{
	return (holds_word(name, "message") || holds_word(name, "chat") ||
		   utf_starts_fold(name, "msg")) &&
	       (ends_in(name, ".db") || ends_in(name, ".sqlite") || ends_in(name, ".sqlite3"));
}

/* What is in the folder, by its names. */
struct signs {
	bool web_store, history, messages;
};

static struct signs signs_of(const struct catalogue *catalogue, uint32_t folder)
{
	struct signs signs = {false, false, false};
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, folder, &children);

	for (size_t i = 0; i < count; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const struct node *node = catalogue_node(catalogue, entry->node);
		const char *name = catalogue_name(catalogue, entry->name);

		if (!node)
			continue;
		if (node->flags & NODE_FOLDER)
			signs.web_store = signs.web_store || utf_equal_fold(name, "IndexedDB") ||
					  utf_equal_fold(name, "Local Storage");
		else if (utf_equal_fold(name, "History"))
			signs.history = true;
		else
			signs.messages = signs.messages || is_message_store(name);
	}
	return signs;
}

static bool is_inside_kept(const struct learn *learn, enum bound_kind kind, const char *path)
{
	const struct ties *ties = learn->ties;

	for (size_t i = 0; i < ties->n_bound; i++) {
		size_t length = strlen(ties->bound[i].path);

		if (ties->bound[i].kind == kind && utf_starts_fold(path, ties->bound[i].path) &&
		    path[length] == '\\')
			return true;
	}
	return false;
}

/* Browsers have a history, too, and are told of elsewhere. */
static void look(
    struct learn *learn, size_t person, const struct catalogue *catalogue, struct location folder)
{
	const struct node *node = catalogue_node(catalogue, folder.node);
	struct signs signs = signs_of(catalogue, folder.node);
	enum bound_kind kind = BOUND_SESSION;
	const char *name;

	if (!node || node->n_entries == 0)
		return;
	name = catalogue_name(catalogue, catalogue->entries[node->first_entry].name);
	if (holds_word(name, "authenticator"))
		kind = BOUND_AUTHENTICATOR;
	else if (!signs.messages && (!signs.web_store || signs.history))
		return;
	if (!is_inside_kept(learn, kind, old_path_of(learn, folder)))
		keep(learn, kind, person, folder, survey_sum(learn->survey, folder).files);
}

void learn_device_keys(struct learn *learn)
{
	learn_machine_keys(learn);
	for (size_t i = 0; i < learn->system->n_persons; i++) {
		if (learn->system->persons[i].is_service)
			continue;
		learn_person_keys(learn, i);
		settings_walk(learn, i, look);
	}
}
