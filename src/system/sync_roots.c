/*
 * Folders that a client keeps the same as in the cloud, and whose account that is.
 *
 * What tells is no brand: what clients register with the old system; keys called "Accounts" in a
 * person's hive whose subkeys name a folder and an address; the desktop's tree of folders
 * (shell_folders.c); and, for folders that none of these knows, files with the marks of the cloud.
 *
 * Sources: Microsoft, "Integrate a Cloud Storage Provider" (SyncRootManager: the key's name is
 * "provider!SID!account", values DisplayNameResource and, by SID, UserSyncRoots); [MS-FSCC] 2.1.2.1
 * (tags of cloud files). The values UserFolder and UserEmail: common practice, no source; the old
 * system's own client keeps its accounts so.
 */
#include "system/ties.h"

#include "base/text.h"
#include "base/utf.h"
#include "ntfs/data.h"
#include "ntfs/reparse.h"
#include "system/inner.h"

#include <stdlib.h>
#include <string.h>

#define KEY_SYNC KEY_WINDOWS "\\Explorer\\SyncRootManager"
#define MAKERS_LIMIT 2000u /* subkeys of a person's Software, and of one maker's key */
#define ACCOUNTS_LIMIT 64u
#define PARENT_LIMIT 512u
#define TOPS_LIMIT 20000u /* folders that are looked at because of the marks of their files */

/* --- keeping one --- */

static bool is_full_path(const char *path)
{
	return path && ((path[0] && path[1] == ':' && path[2] == '\\') || path_is_share(path));
}

/* The entry for a folder of a person, a new one when it is not known yet; NULL: too many. */
static struct sync_root *root_at(struct learn *learn, size_t person, const char *path)
{
	struct ties *ties = learn->ties;
	struct sync_root *root;
	size_t length = strlen(path);

	while (length > 3 && path[length - 1] == '\\')
		length--;
	for (size_t i = 0; i < ties->n_sync_roots; i++) {
		root = &ties->sync_roots[i];
		if (root->person == person && strlen(root->path) == length &&
		    utf_starts_fold(path, root->path))
			return root;
	}
	if (ties->n_sync_roots == TIES_LIMIT)
		return NULL;
	root = &ties->sync_roots[ties->n_sync_roots++];
	*root = (struct sync_root){
	    .person = person, .from = SYNC_FILES, .name = "", .address = ""};
	root->path = learn_text(learn, "%.*s", (int)length, path);
	root->at = NO_LOCATION;
	return root;
}

static void set_once(struct learn *learn, const char **text, const char *value)
{
	if (value && *value && !**text)
		*text = learn_text(learn, "%s", value);
}

/* --- a person's accounts --- */

void keep_sync_root(struct learn *learn, size_t person, unsigned from, const char *path,
    const char *name, const char *address)
{
	struct sync_root *root;

	if (!is_full_path(path) || strlen(path) > TEXT_LIMIT)
		return;
	root = root_at(learn, person, path);
	if (!root)
		return;
	/* The best source counts: they are in that order. */
	if (from < (unsigned)root->from)
		root->from = (enum sync_source)from;
	set_once(learn, &root->name, name && strlen(name) <= TEXT_LIMIT ? name : NULL);
	set_once(learn, &root->address, address && is_address(address) ? address : NULL);
}

static void read_account(struct learn *learn, size_t person, const struct hive *hive, hive_cell key,
    const char *maker)
{
	struct arena arena = {0};
	char *folder = hive_text(hive, key, "", "UserFolder", &arena, NULL);
	char *address = hive_text(hive, key, "", "UserEmail", &arena, NULL);
	char *name = hive_text(hive, key, "", "DisplayName", &arena, NULL);

	keep_sign_in(learn, person, SIGN_IN_SYNC, address);
	keep_sync_root(learn, person, SYNC_ACCOUNT, folder, name ? name : maker, address);
	arena_free(&arena);
}

static void read_accounts(struct learn *learn, size_t person, const struct hive *hive,
    hive_cell maker, struct arena *arena)
{
	hive_cell key = hive_find(hive, maker, "Accounts"), *accounts;
	char *name;
	size_t count;

	if (key == HIVE_NO_CELL)
		return;
	name = hive_key_name(hive, maker, arena);
	count = hive_subkeys(hive, key, arena, &accounts);
	for (size_t i = 0; i < count && i < ACCOUNTS_LIMIT; i++)
		read_account(learn, person, hive, accounts[i], name ? name : "");
}

/* "Software\PROGRAM\Accounts" and "Software\MAKER\PROGRAM\Accounts". */
void learn_sync_accounts(struct learn *learn, size_t person, const struct hive *hive)
{
	hive_cell software = hive_find(hive, hive_root(hive), "Software"), *makers, *programs;
	struct arena arena = {0};
	size_t n_makers, n_programs;

	if (software == HIVE_NO_CELL)
		return;
	n_makers = hive_subkeys(hive, software, &arena, &makers);
	for (size_t i = 0; i < n_makers && i < MAKERS_LIMIT; i++) {
		read_accounts(learn, person, hive, makers[i], &arena);
		n_programs = hive_subkeys(hive, makers[i], &arena, &programs);
		for (size_t k = 0; k < n_programs && k < MAKERS_LIMIT; k++)
			read_accounts(learn, person, hive, programs[k], &arena);
	}
	arena_free(&arena);
}

/* --- what is registered --- */

static size_t person_of_sid(const struct old_system *system, const char *sid)
{
	for (size_t i = 0; i < system->n_persons; i++)
		if (*sid && strcmp(system->persons[i].sid, sid) == 0)
			return i;
	return SIZE_MAX;
}

/* Names in resources ("@program,-101") and program names' first letters would tell nobody. */
static const char *shown_name(const char *display, const char *id, struct arena *arena)
{
	if (display && *display && *display != '@' && strlen(display) <= TEXT_LIMIT)
		return display;
	return arena_text(arena, id, strcspn(id, "!"));
}

/* The account's part of "provider!SID!account", which some clients call by its address. */
static const char *address_of_id(const char *id)
{
	const char *account = strrchr(id, '!');

	return account ? account + 1 : NULL;
}

static void read_registered(struct learn *learn, hive_cell key, struct arena *arena)
{
	const struct hive *hive = learn->software;
	char *id = hive_key_name(hive, key, arena), *sid, *path;
	char *display = hive_text(hive, key, "", "DisplayNameResource", arena, NULL);
	hive_cell folders = hive_find(hive, key, "UserSyncRoots"), *values;
	size_t count;

	if (!id || folders == HIVE_NO_CELL)
		return;
	count = hive_values(hive, folders, arena, &values);
	for (size_t i = 0; i < count && i < ACCOUNTS_LIMIT; i++) {
		size_t person;

		sid = hive_value_name(hive, values[i], arena);
		if (!sid)
			continue;
		person = person_of_sid(learn->system, sid);
		path = hive_text(hive, folders, "", sid, arena, NULL);
		keep_sync_root(learn, person, SYNC_REGISTERED, path,
		    shown_name(display, id, arena), address_of_id(id));
		keep_sign_in(learn, person, SIGN_IN_SYNC, address_of_id(id));
	}
}

void learn_registered(struct learn *learn)
{
	struct arena arena = {0};
	hive_cell key, *roots;
	size_t count;

	if (!learn->software || learn->sync_read)
		return;
	learn->sync_read = true;
	key = hive_find(learn->software, hive_root(learn->software), KEY_SYNC);
	count = key == HIVE_NO_CELL ? 0 : hive_subkeys(learn->software, key, &arena, &roots);
	for (size_t i = 0; i < count && i < TIES_LIMIT; i++)
		read_registered(learn, roots[i], &arena);
	arena_free(&arena);
}

/* --- folders whose files carry the marks of the cloud --- */

static bool is_marked(const struct catalogue *catalogue, uint32_t number)
{
	const struct node *node = catalogue_node(catalogue, number);

	return node && reparse_is_cloud_file(node->reparse_tag);
}

/* The uppermost folder with a mark above a file, or else the file's own folder. */
static uint32_t top_marked(const struct catalogue *catalogue, uint32_t folder)
{
	uint32_t top = folder;

	for (unsigned i = 0; i < PARENT_LIMIT && folder != NODE_ROOT; i++) {
		const struct node *node = catalogue_node(catalogue, folder);

		if (!node || node->n_entries == 0)
			break;
		if (is_marked(catalogue, folder))
			top = folder;
		folder = catalogue->entries[node->first_entry].parent;
	}
	return top;
}

static bool is_known(const struct learn *learn, struct location at)
{
	for (size_t i = 0; i < learn->ties->n_sync_roots; i++)
		if (lies_below(learn->survey, at, learn->ties->sync_roots[i].at))
			return true;
	return false;
}

static size_t person_at(const struct learn *learn, struct location at)
{
	const struct catalogue *catalogue = survey_catalogue(learn->survey, at.volume);
	const struct node *node = catalogue_node(catalogue, at.node);

	for (size_t i = 0; i < learn->system->n_persons; i++)
		if (learn->system->persons[i].profile.node != NONE &&
		    lies_below(learn->survey, at, learn->system->persons[i].profile))
			return i;
	return node ? person_of_sid(learn->system, catalogue_name(catalogue, node->owner)) : SIZE_MAX;
}

static void keep_marked(struct learn *learn, struct location at)
{
	struct sync_root *root;

	if (is_known(learn, at) || learn->ties->n_sync_roots == TIES_LIMIT)
		return;
	root = &learn->ties->sync_roots[learn->ties->n_sync_roots++];
	*root = (struct sync_root){.person = person_at(learn, at), .from = SYNC_FILES, .name = "",
	    .address = "", .path = old_path_of(learn, at), .at = at};
}

/* Was this folder met before? */
static bool is_met(uint8_t *met, uint32_t folder)
{
	uint8_t bit = (uint8_t)(1u << folder % 8);
	bool was = met[folder / 8] & bit;

	met[folder / 8] |= bit;
	return was;
}

/* Files of the cloud in folders that nothing else told of. */
static void learn_marked(struct learn *learn, size_t volume)
{
	const struct catalogue *catalogue = survey_catalogue(learn->survey, volume);
	uint8_t *met = catalogue ? calloc(catalogue->n_nodes / 8 + 1, 1) : NULL;
	size_t n_tops = 0;

	learn->no_memory = learn->no_memory || (catalogue && !met);
	for (size_t i = 0; met && i < catalogue->n_nodes && n_tops < TOPS_LIMIT; i++) {
		const struct node *node = catalogue_node(catalogue, (uint32_t)i);
		uint32_t folder;

		if (!node || node->n_entries == 0 || node->flags & (NODE_FOLDER | NODE_SYSTEM) ||
		    !is_marked(catalogue, (uint32_t)i))
			continue;
		folder = catalogue->entries[node->first_entry].parent;
		if (folder >= catalogue->n_nodes || is_met(met, folder))
			continue;
		folder = top_marked(catalogue, folder);
		/* Met as a folder of files, too, when it is its own top. */
		if (folder != catalogue->entries[node->first_entry].parent && is_met(met, folder))
			continue;
		keep_marked(learn, (struct location){volume, folder});
		n_tops++;
	}
	free(met);
}

/*
 * Volumes that this old system knew: its own, and those with a letter. A folder that a further old
 * system on the same drives knows is told once, with that one.
 */
static void learn_all_marked(struct learn *learn)
{
	const struct old_system *system = learn->system;

	if (system->is_copy)
		return;
	learn_marked(learn, system->volume);
	for (size_t i = 0; i < system->n_letters; i++) {
		bool is_first = system->letters[i].volume != system->volume;

		for (size_t k = 0; k < i; k++)
			is_first = is_first && system->letters[k].volume != system->letters[i].volume;
		if (is_first && system->letters[i].volume != SIZE_MAX)
			learn_marked(learn, system->letters[i].volume);
	}
}

void learn_sync_roots(struct learn *learn)
{
	struct ties *ties = learn->ties;

	learn_registered(learn);
	for (size_t i = 0; i < ties->n_sync_roots; i++)
		ties->sync_roots[i].at =
		    survey_resolve(learn->survey, learn->system, ties->sync_roots[i].path);
	learn_all_marked(learn);
	for (size_t i = 0; i < ties->n_sync_roots; i++)
		ties->sync_roots[i].sum = survey_sum(learn->survey, ties->sync_roots[i].at);
}

/* --- findings --- */

static void report_root(struct learn *learn, const struct sync_root *root)
{
	const struct old_system *system = learn->system;
	const char *subject =
	    root->person < system->n_persons ? system->persons[root->person].key : system->key;
	const struct sum *sum = &root->sum;
	uint64_t n_only = sum->cloud_files - sum->part_files;
	struct buf part = {0};

	if (sum->part_files > 0)
		buf_printf(&part, ", and %s more only partly", text_count(sum->part_files).text);
	findings_add(learn->findings, WEIGHT_CAUTION, "cloud-files", subject,
	    *root->address ? "Sign in to the cloud service with this address and fetch them from there."
			   : "Ask the owner for the account, sign in to the cloud service and fetch "
			     "them from there.",
	    "%s %s of %s%s%s in %s %s only in the cloud and not on this drive%s: %s.",
	    text_count(n_only).text, n_only == 1 ? "file" : "files",
	    person_words(system, root->person), *root->address ? ", account " : "", root->address,
	    root->path, n_only == 1 ? "is" : "are", buf_text(&part),
	    text_size(sum->missing_bytes).text);
	buf_free(&part);
}

/* On a drive that is not here: what its client had not sent yet lies only there. */
static void report_away(struct learn *learn, const struct sync_root *root)
{
	const struct old_system *system = learn->system;

	findings_add(learn->findings, WEIGHT_CAUTION, "cloud-folder-away",
	    root->person < system->n_persons ? system->persons[root->person].key : system->key,
	    "Attach that drive and run again, or sign in to the cloud service and see whether "
	    "everything is there.",
	    "The folder %s of %s, which is kept in the cloud%s%s, is on a drive that is not attached.",
	    root->path, person_words(system, root->person), *root->address ? " with account " : "",
	    root->address);
}

void report_sync_roots(struct learn *learn)
{
	for (size_t i = 0; i < learn->ties->n_sync_roots; i++) {
		const struct sync_root *root = &learn->ties->sync_roots[i];

		if (root->sum.cloud_files > 0)
			report_root(learn, root);
		if (root->at.volume == SIZE_MAX && !path_is_share(root->path))
			report_away(learn, root);
	}
}
