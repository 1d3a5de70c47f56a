/*
 * Tests of the table of belongings: known paths of real PCs are of the right kind, and what only
 * looks like one is not.
 *
 * The known paths: common practice, no source.
 */
#include "unit.h"

#include "base/locale.h"
#include "forge.h"
#include "plan/belongings.h"

#include <string.h>

#define M "\\Users\\mara\\"
#define L M "AppData\\Local\\"
#define R M "AppData\\Roaming\\"

/* Kind "" for none. Sizes are powers of two, so that a sum tells which files are in it. */
static const struct {
	const char *path, *kind;
} known[] = {
    {M "Documents\\Outlook Files\\mara.pst", "mail"}, {"\\Mail\\old.DBX", "mail"},
    {R "Lantern\\Profiles\\x.default\\ImapMail\\a\\Cache", "mail"},
    {R "Lantern\\Profiles\\x.default\\abook-1.sqlite", "addresses"},
    {M "Contacts\\Rowan.contact", "addresses"},
    {L "Microsoft\\Outlook\\RoamCache\\Stream_Autocomplete_0_AB.dat", "addresses"},
    {R "Microsoft\\Signatures\\mara_files\\image.png", "signatures"},
    {R "Microsoft\\Templates\\Normal.dotm", "templates"},
    {R "Microsoft\\UProof\\ExcludeDictionaryEN.lex", "dictionaries"},
    {R "Some Editor\\words.dic", "dictionaries"},
    {L "Packages\\Some.Notes_x\\LocalState\\plum.sqlite-wal", "notes"},
    {R ".purple\\logs\\irc\\a.html", "conversations"},
    {R "Microsoft\\Word\\~WRL0001.tmp", "unsaved"},
    {L "Microsoft\\Office\\UnsavedFiles\\a.xlsb", "unsaved"},
    {M "Saved Games\\Bean Race\\1.dat", "games"},
    {M "Documents\\My Games\\Bean Race\\options.ini", "games"},
    {"\\Program Files\\Bean Race\\saves\\1.dat", "games"},
    {M "Pictures\\Catalogue.lrcat", "photo-libraries"},
    {M "Music\\Fruit\\Library.itl", "music-libraries"}, {M "Books\\metadata.db", "book-libraries"},
    {R "Fruit\\MobileSync\\Backup\\1\\f", "phone-backups"},
    {L "Some Drive\\108\\metadata_sqlite_db", "cloud-caches"},
    {L "Some Drive\\108\\content_cache\\d1\\118.tmp", "cloud-caches"},
    {M "Backups\\phone\\Manifest.mbdb", "phone-backups"},
    {M "Backups\\phone\\00a1", "phone-backups"}, {M "Documents\\keys.kdbx", "safes"},
    {M "Documents\\office.rdp", "connections"},
    {R "Microsoft\\Windows\\Libraries\\Music.library-ms", "libraries"},
    {M "NTUSER.DAT", "registry"}, {L "Some Browser\\User Data\\Default\\History", "browsers"},
    {L "Some Browser\\User Data\\Default\\Login Data", "browsers"},
    {M "Documents\\letters\\signature.txt", ""}, {M "Documents\\Mail\\draft.txt", ""},
    {M "Documents\\a saved game of bridge.txt", ""}, {L "Some Browser\\User Data\\Local State", ""},
    {"\\Program Files\\Some Editor\\english.dic", ""}, /* the program's, left */
};
#define N_KNOWN (sizeof(known) / sizeof(known[0]))

static uint64_t bytes_of(const struct belongings *belongings, const char *kind)
{
	uint64_t bytes = 0;

	for (size_t i = 0; i < belongings->count; i++)
		if (strcmp(belonging_name((enum belonging_kind)belongings->items[i].kind), kind) ==
		    0)
			bytes += belongings->items[i].bytes + belongings->items[i].left_bytes;
	return bytes;
}

static void test_known_paths(void **state)
{
	struct belongings belongings;
	struct forge forge;
	struct plan plan;
	struct error error;
	size_t system, person;

	(void)state;
	forge_start(&forge);
	forge_volume(&forge, "C:");
	forge_folder(&forge, 0, "\\Windows\\System32\\config");
	forge_folder(&forge, 0, "\\Windows\\System32\\drivers");
	for (size_t i = 0; i < N_KNOWN; i++)
		forge_file(&forge, 0, known[i].path, UINT64_C(1) << i);
	forge_finish(&forge);
	system = forge_system(&forge, 0, "PC");
	person = forge_person(&forge, system, "mara", "C:\\Users\\mara");
	forge_place(&forge, system, person, "documents", "Documents", "C:\\Users\\mara\\Documents",
	    PLACE_HERE);
	if (!plan_make(&plan, &forge.survey, NULL, NULL, &error))
		fail_msg("%s", error.text);
	assert_true(belongings_find(&belongings, &plan));
	for (size_t i = 0; i < N_KNOWN; i++)
		for (unsigned kind = 0; kind < BELONGING_COUNT; kind++) {
			const char *name = belonging_name(kind);
			bool is_in = (bytes_of(&belongings, name) & UINT64_C(1) << i) != 0;

			if (is_in != (strcmp(name, known[i].kind) == 0))
				fail_msg(
				    "%s is %s %s", known[i].path, is_in ? "wrongly" : "not", name);
		}
	belongings_free(&belongings);
	plan_free(&plan);
	forge_free(&forge);
}

/* Who owns it, what of it was left, and where it lies. */
static void test_owners(void **state)
{
	struct belongings belongings;
	struct forge forge;
	struct plan plan;
	struct error error;
	size_t system, mail = 0;

	(void)state;
	forge_start(&forge);
	forge_volume(&forge, "C:");
	forge_folder(&forge, 0, "\\Windows\\System32\\config");
	forge_file(&forge, 0, R "Post\\Profiles\\x\\Mail\\Local\\Inbox", 100);
	forge_file(&forge, 0, R "Post\\Profiles\\x\\Mail\\Local\\Deep\\Sent", 20);
	forge_file(&forge, 0, L "Browser\\Default\\Login Data", 7);
	forge_file(&forge, 0, "\\Old mail\\a.mbox", 3);
	forge_finish(&forge);
	system = forge_system(&forge, 0, "PC");
	forge_person(&forge, system, "mara", "C:\\Users\\mara");
	if (!plan_make(&plan, &forge.survey, NULL, NULL, &error))
		fail_msg("%s", error.text);
	assert_true(belongings_find(&belongings, &plan));
	for (size_t i = 0; i < belongings.count; i++) {
		const struct belonging *of = &belongings.items[i];
		struct buf path = {0};

		assert_int_equal(of->n_folders, 1);
		catalogue_node_path(
		    forge.survey.volumes[0].volume->catalogue, of->folders[0].node, &path);
		if (of->kind == BELONGING_MAIL && of->person == 0) {
			assert_int_equal(of->files, 2);
			assert_int_equal(of->bytes, 120);
			assert_string_equal(buf_text(&path), R "Post\\Profiles\\x\\Mail");
			mail++;
		} else if (of->kind == BELONGING_MAIL) {
			assert_int_equal(of->person, SIZE_MAX);
			assert_string_equal(buf_text(&path), "\\Old mail");
			mail++;
		} else if (of->kind == BELONGING_BROWSERS) {
			assert_int_equal(of->files, 0);
			assert_int_equal(of->left_bytes, 7);
		}
		buf_free(&path);
	}
	assert_int_equal(mail, 2);
	belongings_free(&belongings);
	plan_free(&plan);
	forge_free(&forge);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_known_paths),
	    cmocka_unit_test(test_owners),
	};

	assert_true(locale_use_utf8(NULL));
	return cmocka_run_group_tests(tests, NULL, NULL);
}
