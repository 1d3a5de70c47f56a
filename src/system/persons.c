/*
 * The persons of an old system: from its profile list, and folders that the list does not know.
 *
 * Sources: winreg-kb "Profile list" (ProfileImagePath, State); [MS-DTYP] 2.4.2.4 (well-known SIDs).
 * The temporary bit of State (0x800) and the ".bak" twin of a key: common practice, no source.
 */
#include "system/inner.h"

#include "base/utf.h"
#include "ntfs/reparse.h"

#include <stdlib.h>
#include <string.h>

#define KEY_PROFILES KEY_NT "\\ProfileList"
#define STATE_TEMPORARY 0x800u
#define SID_LIMIT 200 /* bytes: 15 numbers of 10 digits, and ".bak" */
#define PERSON_LIMIT 5000u

bool sid_is_service(const char *sid)
{
	/* Persons are of a machine or domain (S-1-5-21) or of a directory in the cloud (S-1-12-1).
	 */
	return strncmp(sid, "S-1-5-", 6) == 0 && strncmp(sid, "S-1-5-21-", 9) != 0;
}

/* --- variables --- */

static void set(
    struct learn *learn, struct environment *environment, const char *name, const char *value)
{
	if (!environment_set(environment, &learn->survey->arena, name, value))
		learn->no_memory = true;
}

/* A value of the profile list, expanded; `otherwise` when it is not there. */
static const char *list_path(struct learn *learn, const char *name, const char *otherwise)
{
	struct arena *arena = &learn->survey->arena;
	char *value = NULL;

	if (learn->software)
		value = learn_hive_text(
		    learn, learn->software, hive_root(learn->software), KEY_PROFILES, name);
	if (value && *value)
		value = environment_expand(&learn->machine, value, arena, NULL);
	return value && *value ? value : otherwise;
}

/* In XP the list holds only the folder's name. */
static const char *in_profiles(struct learn *learn, const char *name)
{
	return learn_text(learn, "%s\\%s", learn->profiles_path, name);
}

static bool is_real_folder(struct learn *learn, const char *name)
{
	const struct old_system *system = learn->system;
	const struct catalogue *catalogue = survey_catalogue(learn->survey, system->volume);
	uint32_t entry = catalogue_child(catalogue, system->container, name);
	const struct node *node;

	if (entry == NONE)
		return false;
	node = catalogue_node(catalogue, catalogue->entries[entry].node);
	return node && node->flags & NODE_FOLDER &&
	       reparse_kind(node->reparse_tag) != REPARSE_KIND_LINK;
}

static void learn_machine_variables(struct learn *learn)
{
	const struct old_system *system = learn->system;
	struct environment *machine = &learn->machine;
	const char *drive = learn_text(learn, "%c:", system->letter);
	const char *windows = strrchr(system->windows_path, '\\');

	if (learn->config && learn->control != HIVE_NO_CELL &&
	    !environment_add_key(machine, learn->config, learn->control,
		"Control\\Session Manager\\Environment", &learn->survey->arena))
		learn->no_memory = true;
	windows = learn_text(learn, "%s%s", drive, windows ? windows : "\\Windows");
	set(learn, machine, "SystemDrive", drive);
	set(learn, machine, "SystemRoot", windows);
	set(learn, machine, "windir", windows);
	set(learn, machine, "ProgramFiles", learn_text(learn, "%s\\Program Files", drive));
	set(learn, machine, "ProgramFiles(x86)",
	    learn_text(learn, "%s\\Program Files (x86)", drive));
	set(learn, machine, "ProgramData", learn_text(learn, "%s\\ProgramData", drive));
	set(learn, machine, "COMPUTERNAME", system->computer);
}

/* Does a folder hold profiles, that is folders with a person's hive? */
static bool holds_profiles(const struct catalogue *catalogue, uint32_t folder)
{
	const uint32_t *children;
	size_t n_children = catalogue_children(catalogue, folder, &children);

	for (size_t i = 0; i < n_children; i++)
		if (catalogue_child(
			catalogue, catalogue->entries[children[i]].node, "NTUSER.DAT") != NONE)
			return true;
	return false;
}

/*
 * The name of the folder of profiles when no hive tells: Users since Vista; before, it was named in
 * the old system's language.
 */
static const char *find_profiles_folder(struct learn *learn)
{
	const struct old_system *system = learn->system;
	const struct catalogue *catalogue = survey_catalogue(learn->survey, system->volume);
	const uint32_t *children;
	size_t n_children = catalogue_children(catalogue, system->container, &children);

	if (is_real_folder(learn, "Documents and Settings"))
		return "Documents and Settings";
	for (size_t i = 0; i < n_children && !is_real_folder(learn, "Users"); i++) {
		const struct entry *entry = &catalogue->entries[children[i]];

		if (holds_profiles(catalogue, entry->node))
			return catalogue_name(catalogue, entry->name);
	}
	return "Users";
}

/* The folder of profiles, the public and the default profile. */
static void learn_profile_folders(struct learn *learn)
{
	struct old_system *system = learn->system;
	const char *value, *name = learn->is_nt5 ? "Documents and Settings" : "Users";

	if (!learn->software) {
		name = find_profiles_folder(learn);
		learn->is_nt5 = !utf_equal_fold(name, "Users");
	}
	learn->profiles_path = list_path(
	    learn, "ProfilesDirectory", learn_text(learn, "%c:\\%s", system->letter, name));
	if (learn->is_nt5) {
		value = list_path(learn, "AllUsersProfile", "All Users");
		learn->public_path = in_profiles(learn, value);
		value = list_path(learn, "DefaultUserProfile", "Default User");
		learn->default_path = in_profiles(learn, value);
	} else {
		learn->public_path = list_path(learn, "Public", in_profiles(learn, "Public"));
		learn->default_path = list_path(learn, "Default", in_profiles(learn, "Default"));
	}
	system->profiles = survey_resolve(learn->survey, system, learn->profiles_path);
	system->public_profile = survey_resolve(learn->survey, system, learn->public_path);
	system->default_profile = survey_resolve(learn->survey, system, learn->default_path);
	set(learn, &learn->machine, "PUBLIC", learn->public_path);
	set(learn, &learn->machine, "ALLUSERSPROFILE",
	    learn->is_nt5 ? learn->public_path : learn_text(learn, "%%ProgramData%%"));
}

/* --- who --- */

static const char *last_name(const char *path)
{
	const char *name = strrchr(path, '\\');

	return name ? name + 1 : path;
}

static struct person *add_person(struct learn *learn, const char *sid, const char *path)
{
	struct old_system *system = learn->system;
	struct person *person = &system->persons[system->n_persons++];
	size_t length = strlen(path);

	while (length > 3 && (path[length - 1] == '\\' || path[length - 1] == '/'))
		length--;
	*person = (struct person){.sid = sid};
	person->account = person->full_name = person->domain = person->key = "";
	person->path = learn_text(learn, "%.*s", (int)length, path);
	person->folder = last_name(person->path);
	person->profile = NO_LOCATION;
	return person;
}

/* The name of a key that is a SID, perhaps with more behind it; NULL for others. */
static char *sid_of_key(struct learn *learn, hive_cell key)
{
	struct arena arena = {0};
	char *name = hive_key_name(learn->software, key, &arena), *kept = NULL;

	if (name && strncmp(name, "S-1-", 4) == 0 && strlen(name) <= SID_LIMIT)
		kept = arena_strdup(&learn->survey->arena, name);
	arena_free(&arena);
	return kept;
}

/* A key of the profile list: a SID, or a SID with ".bak" behind it. */
static void person_from_key(struct learn *learn, hive_cell key)
{
	struct arena *arena = &learn->survey->arena;
	char *name = sid_of_key(learn, key);
	char *value = learn_hive_text(learn, learn->software, key, "", "ProfileImagePath");
	struct person *person;
	uint64_t state = 0;
	bool is_backup;

	if (!name || !value)
		return;
	is_backup = strlen(name) > 4 && utf_equal_fold(name + strlen(name) - 4, ".bak");
	if (is_backup)
		name[strlen(name) - 4] = '\0';
	value = environment_expand(&learn->machine, value, arena, NULL);
	if (!value) {
		learn->no_memory = true;
		return;
	}
	person = add_person(learn, name, value);
	person->is_backup_twin = is_backup;
	person->is_service = sid_is_service(name);
	hive_number(learn->software, key, "", "State", &state);
	person->is_temporary = !person->is_service && (state & STATE_TEMPORARY) != 0;
	person->profile = survey_resolve(learn->survey, learn->system, person->path);
}

/* "TEMP", "TEMP.FERNHILL-PC.000" */
static bool is_temporary_name(const char *folder)
{
	return utf_equal_fold(folder, "TEMP") || utf_starts_fold(folder, "TEMP.");
}

/*
 * A folder called TEMP is a temporary profile when the person has a set-aside one, too; somebody's
 * account may be called so.
 */
static bool is_temporary_beside(const struct old_system *system, const struct person *person)
{
	if (person->is_backup_twin || !is_temporary_name(person->folder))
		return false;
	for (size_t i = 0; i < system->n_persons; i++)
		if (system->persons[i].is_backup_twin &&
		    strcmp(system->persons[i].sid, person->sid) == 0)
			return true;
	return false;
}

static void persons_from_list(struct learn *learn, const hive_cell *keys, size_t n_keys)
{
	struct old_system *system = learn->system;

	for (size_t i = 0; i < n_keys; i++)
		person_from_key(learn, keys[i]);
	for (size_t i = 0; i < system->n_persons; i++)
		if (is_temporary_beside(system, &system->persons[i]))
			system->persons[i].is_temporary = true;
}

/*
 * An account whose profile could not be opened has two keys: "SID.bak" with the real profile, and
 * "SID" with a temporary one. Two keys for one folder are one person, and a temporary folder that
 * is gone is nobody's.
 */
static bool is_needless_twin(const struct old_system *system, size_t index)
{
	const struct person *person = &system->persons[index];

	for (size_t k = 0; k < system->n_persons; k++) {
		const struct person *twin = &system->persons[k];

		if (k == index || strcmp(twin->sid, person->sid) != 0)
			continue;
		if (person->is_backup_twin && !twin->is_backup_twin &&
		    utf_equal_fold(twin->path, person->path))
			return true;
		if (twin->is_backup_twin && person->is_temporary && person->profile.node == NONE)
			return true;
	}
	return false;
}

/* The person among `kept` who has the same profile folder, or NULL. */
static const struct person *same_folder(
    const struct person *kept, size_t n_kept, const struct person *person)
{
	for (size_t i = 0; i < n_kept && person->profile.node != NONE; i++)
		if (kept[i].profile.node == person->profile.node &&
		    kept[i].profile.volume == person->profile.volume)
			return &kept[i];
	return NULL;
}

static bool is_kept(struct learn *learn, size_t index, const struct person *kept, size_t n_kept)
{
	const struct person *person = &learn->system->persons[index];
	const struct person *other = same_folder(kept, n_kept, person);

	if (is_needless_twin(learn->system, index))
		return false;
	if (!other)
		return true;
	findings_add(learn->findings, WEIGHT_NOTE, "profile-two-accounts", person->folder, "",
	    "Two accounts (%s and %s) used the folder %s. It is taken once.", other->sid,
	    person->sid, person->path);
	return false;
}

/*
 * Temporary profiles come behind the others, so that the real one gets the plain name, and service
 * accounts last, so that a damaged list cannot give them a person's folder.
 */
static unsigned rank(const struct person *person)
{
	return person->is_service ? 2 : person->is_temporary ? 1 : 0;
}

static void sort_out_twins(struct learn *learn)
{
	struct old_system *system = learn->system;
	struct person *kept;
	size_t n_kept = 0;

	kept = arena_array(&learn->survey->arena, system->n_persons + 1, sizeof(*kept));
	if (!kept) {
		learn->no_memory = true;
		return;
	}
	for (unsigned pass = 0; pass < 3; pass++)
		for (size_t i = 0; i < system->n_persons; i++)
			if (rank(&system->persons[i]) == pass && is_kept(learn, i, kept, n_kept))
				kept[n_kept++] = system->persons[i];
	memcpy(system->persons, kept, n_kept * sizeof(*kept));
	system->n_persons = n_kept;
}

/* --- folders that no hive mentions --- */

static bool is_known(const struct old_system *system, struct location at)
{
	const struct location others[] = {system->public_profile, system->default_profile};

	for (size_t i = 0; i < sizeof(others) / sizeof(others[0]); i++)
		if (others[i].node == at.node && others[i].volume == at.volume)
			return true;
	for (size_t i = 0; i < system->n_persons; i++)
		if (system->persons[i].profile.node == at.node &&
		    system->persons[i].profile.volume == at.volume)
			return true;
	return false;
}

/* Folders of the old system's own beside the profiles, also where the hives do not name them. */
static bool is_own_folder(const char *name)
{
	static const char *const names[] = {"Public", "Default", "Default User", "All Users",
	    "Default.migrated", "NetworkService", "LocalService"};

	for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++)
		if (utf_equal_fold(name, names[i]))
			return true;
	return false;
}

static bool looks_like_profile(const struct catalogue *catalogue, uint32_t folder)
{
	static const char *const signs[] = {
	    "NTUSER.DAT", "AppData", "Desktop", "Documents", "My Documents", "Application Data"};

	for (size_t i = 0; i < sizeof(signs) / sizeof(signs[0]); i++)
		if (catalogue_child(catalogue, folder, signs[i]) != NONE)
			return true;
	return false;
}

static void person_from_folder(
    struct learn *learn, const struct catalogue *catalogue, const struct entry *entry)
{
	struct old_system *system = learn->system;
	const char *name = catalogue_name(catalogue, entry->name);
	struct location at = {system->profiles.volume, entry->node};
	const struct node *node = catalogue_node(catalogue, entry->node);
	struct person *person;

	if (!node || !(node->flags & NODE_FOLDER) || is_known(system, at) || is_own_folder(name) ||
	    reparse_kind(node->reparse_tag) == REPARSE_KIND_LINK ||
	    !looks_like_profile(catalogue, entry->node))
		return;
	person = add_person(learn, "", in_profiles(learn, name));
	person->profile = at;
	person->is_unlisted = true;
	person->is_temporary = is_temporary_name(name);
	if (learn->software && !person->is_temporary)
		findings_add(learn->findings, WEIGHT_CAUTION, "profile-unlisted", person->folder,
		    "Ask the owner whose it was.",
		    "The folder %s looks like a person's, but no account of the old system owns "
		    "it. It "
		    "may be left over from an account that was removed.",
		    person->path);
}

static void persons_from_folders(struct learn *learn, size_t limit)
{
	struct old_system *system = learn->system;
	const struct catalogue *catalogue =
	    survey_catalogue(learn->survey, system->profiles.volume);
	const uint32_t *children;
	size_t n_children;

	if (!catalogue || system->profiles.node == NONE)
		return;
	n_children = catalogue_children(catalogue, system->profiles.node, &children);
	for (size_t i = 0; i < n_children && system->n_persons < limit; i++)
		person_from_folder(learn, catalogue, &catalogue->entries[children[i]]);
}

/* --- each person --- */

static bool person_key_taken(const void *context, const char *key)
{
	const struct old_system *system = context;

	if (utf_equal_fold(key, "shared"))
		return true;
	for (size_t i = 0; i < system->n_persons; i++)
		if (utf_equal_fold(system->persons[i].key, key))
			return true;
	return false;
}

static void name_person(struct learn *learn, struct person *person)
{
	struct arena *arena = &learn->survey->arena;
	const char *name = *person->account ? person->account : person->folder;

	person->key =
	    key_unique(arena, key_make(arena, name, "person"), person_key_taken, learn->system);
}

static bool person_variables(struct learn *learn, const struct person *person,
    const struct hive *hive, struct environment *environment)
{
	struct arena *arena = &learn->survey->arena;

	if (!environment_copy(environment, &learn->machine)) {
		learn->no_memory = true;
		return false;
	}
	set(learn, environment, "USERNAME", *person->account ? person->account : person->folder);
	set(learn, environment, "HOMEDRIVE", learn_text(learn, "%.2s", person->path));
	set(learn, environment, "HOMEPATH",
	    person->path[0] && person->path[1] == ':' ? person->path + 2 : person->path);
	set(learn, environment, "APPDATA",
	    learn->is_nt5 ? "%USERPROFILE%\\Application Data" : "%USERPROFILE%\\AppData\\Roaming");
	set(learn, environment, "LOCALAPPDATA", "%USERPROFILE%\\AppData\\Local");
	if (hive &&
	    (!environment_add_key(environment, hive, hive_root(hive), "Environment", arena) ||
		!environment_add_key(
		    environment, hive, hive_root(hive), "Volatile Environment", arena)))
		learn->no_memory = true;
	/* What the old system sets itself cannot be changed by a person's key. */
	set(learn, environment, "USERPROFILE", person->path);
	set(learn, environment, "SystemDrive", environment_get(&learn->machine, "SystemDrive"));
	set(learn, environment, "SystemRoot", environment_get(&learn->machine, "SystemRoot"));
	return true;
}

/* The account's name for persons whom SAM does not know: the desktop notes who signed in. */
static void name_from_hive(struct learn *learn, struct person *person, const struct hive *hive)
{
	char *name;

	if (*person->account || person->is_unlisted)
		return;
	name = learn_hive_text(
	    learn, hive, hive_root(hive), "Software\\" KEY_WINDOWS "\\Explorer", "Logon User Name");
	if (name)
		person->account = name;
}

static void learn_person(struct learn *learn, struct person *person)
{
	struct environment environment = {0};
	struct hive *hive = NULL;

	if (*person->sid)
		learn_account(learn, person);
	if (person->is_service) {
		name_person(learn, person);
		return;
	}
	hive = load_person_hive(learn, person);
	person->has_hive = hive != NULL;
	if (hive) {
		name_from_hive(learn, person, hive);
		learn->session_open = learn->session_open || hive_health(hive)->was_dirty;
	} else if (person->profile.node != NONE) {
		findings_add(learn->findings, WEIGHT_CAUTION, "hive-missing", person->folder,
		    "Ask the owner whether folders were moved elsewhere.",
		    "The settings of %s (NTUSER.DAT) are not there or cannot be used. The usual "
		    "folders are assumed.",
		    *person->account ? person->account : person->folder);
	}
	name_person(learn, person);
	if (person_variables(learn, person, hive, &environment)) {
		learn_settings(learn, person, hive, &environment);
		learn_places(learn, person, hive, &environment);
		if (hive) {
			size_t index = (size_t)(person - learn->system->persons);

			learn_programs(learn, hive, "Software\\", index);
			learn_start_counts(learn, hive, index);
			learn_openers(learn, hive, index);
			learn_recent(learn, hive, index);
			learn_person_ties(learn, index, hive);
			if (!person->is_temporary)
				learn_person_devices(learn, person, hive, &environment);
			learn_licence_values(learn, hive, index);
		}
	}
	if (!person->is_temporary)
		learn_pointers(learn, person, hive);
	environment_free(&environment);
	hive_close(hive);
}

static void report_profile(struct learn *learn, const struct person *person, const char *name)
{
	struct arena arena = {0};
	struct resolved resolved = resolve_path(learn->survey, learn->system, person->path, &arena);
	const char *code = "profile-missing", *why = NULL;
	const char *advice =
	    "Ask the owner whether this account was still in use, and look for other drives.";

	if (resolved.reached == REACHED_DRIVE) {
		code = "profile-drive-missing";
		why = "lies on a drive that is not attached";
		advice = "Attach that drive and run again.";
	} else if (resolved.reached == REACHED_UNREAD) {
		why = "lies on a volume that cannot be read";
	} else if (resolved.reached == REACHED_SHARE) {
		why = "lies on a network share";
	} else if (resolved.reached == REACHED_NOT) {
		why = "is not there";
	}
	if (why)
		findings_add(learn->findings, WEIGHT_CAUTION, code, person->key, advice,
		    "The profile of %s (%s) %s.", name, person->path, why);
	arena_free(&arena);
}

static void report_person(struct learn *learn, const struct person *person)
{
	const char *name = *person->account ? person->account : person->folder;

	if (person->is_service)
		return;
	if (!person->is_unlisted)
		report_profile(learn, person, name);
	if (person->is_backup_twin)
		findings_add(learn->findings, WEIGHT_NOTE, "profile-backup-twin", person->key, "",
		    "The old system could no longer open the profile of %s and had set it aside "
		    "(%s).",
		    name, person->path);
	if (person->is_temporary)
		findings_add(learn->findings, WEIGHT_CAUTION, "profile-temporary", person->key,
		    "Look into both folders of this person.",
		    person->is_unlisted
			? "%s worked in a temporary profile (%s): files saved then lie there."
			: "%s was last signed in with a temporary profile (%s): files saved then lie "
			  "there.",
		    person->is_unlisted ? "Somebody" : name, person->path);
}

void learn_persons(struct learn *learn)
{
	struct old_system *system = learn->system;
	struct arena *arena = &learn->survey->arena;
	const struct catalogue *catalogue;
	const uint32_t *children;
	hive_cell list = HIVE_NO_CELL, *keys = NULL;
	size_t n_keys = 0, limit;

	learn_machine_variables(learn);
	learn_profile_folders(learn);
	if (learn->software)
		list = hive_find(learn->software, hive_root(learn->software), KEY_PROFILES);
	if (list != HIVE_NO_CELL)
		n_keys = hive_subkeys(learn->software, list, arena, &keys);
	limit = n_keys;
	catalogue = survey_catalogue(learn->survey, system->profiles.volume);
	if (catalogue && system->profiles.node != NONE)
		limit += catalogue_children(catalogue, system->profiles.node, &children);
	if (limit > PERSON_LIMIT)
		limit = PERSON_LIMIT;
	if (n_keys > limit)
		n_keys = limit;
	system->persons = arena_array(arena, limit + 1, sizeof(*system->persons));
	if (!system->persons) {
		learn->no_memory = true;
		return;
	}
	persons_from_list(learn, keys, n_keys);
	sort_out_twins(learn);
	persons_from_folders(learn, limit);
	if (system->n_persons == PERSON_LIMIT)
		findings_add(learn->findings, WEIGHT_CAUTION, "too-many-persons", system->key,
		    "Look for the folders of the others among the files outside of profiles.",
		    "More than %u persons are listed, as happens in a damaged list. The others are "
		    "not shown.",
		    PERSON_LIMIT);
	for (size_t i = 0; i < system->n_persons; i++) {
		learn_person(learn, &system->persons[i]);
		report_person(learn, &system->persons[i]);
	}
	learn_shared_places(learn);
}
