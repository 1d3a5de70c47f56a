/*
 * Tests of the rules table: each row matches where it is meant to and not elsewhere, and known
 * paths of real PCs come out right.
 *
 * The known paths: common practice, no source, but for the folders of the KNOWNFOLDERID page
 * (AppData, LocalLow, INetCache, Templates, ...) and those of store apps (Windows.Storage.
 * ApplicationData: LocalState, RoamingState, TempState, LocalCache).
 */
#include "unit.h"

#include "base/locale.h"
#include "base/utf.h"
#include "forge.h"
#include "plan/plan.h"
#include "plan/rules.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define GIB (UINT64_C(1) << 30)

/* --- looking an item up by its path --- */

static const struct item *find_item(
    const struct plan *plan, const char *volume, const char *path, const char *stream)
{
	for (size_t i = 0; i < plan->n_items; i++) {
		const struct item *item = &plan->items[i];
		const struct catalogue *catalogue =
		    plan->survey->volumes[item->volume].volume->catalogue;
		const char *name = "";
		struct buf old = {0};
		bool same;

		if (item->stream != NONE)
			name = catalogue_name(catalogue, catalogue->streams[item->stream].name);
		plan_old_path(plan, item, &old);
		same = strcmp(buf_text(&old), path) == 0 && strcmp(name, stream) == 0 &&
		       strcmp(plan->survey->volumes[item->volume].name, volume) == 0;
		buf_free(&old);
		if (same)
			return item;
	}
	return NULL;
}

static void start(struct forge *forge)
{
	forge_start(forge);
	forge_volume(forge, "C:");
	forge_folder(forge, 0, "\\Windows\\System32\\config");
	forge_folder(forge, 0, "\\Windows\\System32\\drivers");
	forge_folder(forge, 0, "\\Users\\mara\\AppData\\Local");
	forge_folder(forge, 0, "\\Users\\mara\\AppData\\Roaming");
	forge_folder(forge, 0, "\\Users\\mara\\Documents");
	forge_folder(forge, 0, "\\Program Files");
	forge_folder(forge, 0, "\\ProgramData");
}

static void finish(struct forge *forge, struct plan *plan)
{
	struct error error;
	size_t system, person;

	forge_finish(forge);
	system = forge_system(forge, 0, "PC");
	person = forge_person(forge, system, "mara", "C:\\Users\\mara");
	forge_place(forge, system, person, "documents", "Documents", "C:\\Users\\mara\\Documents",
	    PLACE_HERE);
	if (!plan_make(plan, &forge->survey, NULL, NULL, &error))
		fail_msg("%s", error.text);
}

/* --- each row of the table --- */

static const char *home_of(const struct rule *rule)
{
	switch (rule->scope) {
	case SCOPE_ANY:
		return "\\Users\\mara\\Documents\\";
	case SCOPE_SETTINGS:
		return "\\Users\\mara\\AppData\\Local\\Some Program\\";
	case SCOPE_SOFTWARE:
	case SCOPE_PROGRAMS:
		return "\\ProgramData\\Some Program\\";
	case SCOPE_PROFILE:
		return "\\Users\\mara\\";
	case SCOPE_WINDOWS:
		return "\\Windows\\";
	case SCOPE_PROGRAM_DATA:
		return "\\ProgramData\\";
	default:
		return "\\";
	}
}

/* Somewhere that the rule does not mean. */
static const char *away_of(const struct rule *rule)
{
	return rule->scope == SCOPE_ROOT || rule->scope == SCOPE_WINDOWS
		   ? "\\Box\\"
		   : "\\Users\\mara\\Documents\\";
}

/* The pattern with something for each wildcard. */
static void fill_in(struct buf *path, const char *pattern)
{
	for (const char *c = pattern; *c; c++)
		if (*c == '*')
			buf_add_text(path, "a1");
		else
			buf_add_byte(path, (uint8_t)*c);
}

static void add_example(struct forge *forge, const struct rule *rule, const char *home,
    const char *more, uint64_t size, struct buf *path)
{
	buf_add_text(path, home);
	if (rule->kind == RULE_STREAM) {
		buf_add_text(path, "marked.pdf");
		forge_stream(forge, 0, forge_file(forge, 0, buf_text(path), 1), rule->pattern, 100);
		return;
	}
	fill_in(path, rule->pattern);
	buf_add_text(path, more);
	if (rule->holds) {
		size_t length = path->length;

		buf_printf(path, "\\%s", rule->holds);
		forge_file(forge, 0, buf_text(path), 1);
		path->length = length;
	}
	if (rule->kind == RULE_FOLDER)
		buf_add_text(path, "\\inside.csv");
	forge_file(forge, 0, buf_text(path), size);
}

static uint8_t reason_at(const struct plan *plan, const char *path, const char *stream)
{
	const struct item *item = find_item(plan, "C:", path, stream);

	if (!item)
		fail_msg("no item for %s", path);
	return item->reason;
}

static void test_each_row(void **state)
{
	(void)state;
	for (size_t i = 0; i < n_plan_rules; i++) {
		const struct rule *rule = &plan_rules[i];
		const char *stream = rule->kind == RULE_STREAM ? rule->pattern : "";
		struct buf hit = {0}, miss = {0};
		struct forge forge;
		struct plan plan;
		bool floats = rule->scope == SCOPE_ANY;

		start(&forge);
		add_example(&forge, rule, home_of(rule), "", rule->at_least, &hit);
		/* Rules that count anywhere miss by name or size, the others by where it lies. */
		if (rule->kind == RULE_STREAM) {
			buf_add_text(&miss, "\\Users\\mara\\Documents\\Zone.Identifier");
			forge_file(&forge, 0, buf_text(&miss), 1);
		} else if (rule->at_least || rule->at_most) {
			add_example(&forge, rule, "\\Users\\mara\\Documents\\Other\\", "",
			    rule->at_most ? rule->at_most + 1 : rule->at_least - 1, &miss);
		} else {
			add_example(&forge, rule, away_of(rule), floats ? "x" : "", 0, &miss);
		}
		finish(&forge, &plan);
		if (reason_at(&plan, buf_text(&hit), stream) != rule->reason)
			fail_msg("%s: %s, not %s", buf_text(&hit),
			    reason_name(reason_at(&plan, buf_text(&hit), stream)),
			    reason_name(rule->reason));
		if (reason_at(&plan, buf_text(&miss), "") == rule->reason)
			fail_msg("%s should not be %s", buf_text(&miss), reason_name(rule->reason));
		plan_free(&plan);
		forge_free(&forge);
		buf_free(&hit);
		buf_free(&miss);
	}
}

/* --- known paths --- */

#define M "\\Users\\mara\\"
#define L M "AppData\\Local\\"
#define R M "AppData\\Roaming\\"

static const struct {
	const char *path;
	uint8_t reason;
	uint64_t size;
} known[] = {
    /* places and profile */
    {M "Documents\\thesis.docx", REASON_PLACE, 9},
    {M "Documents\\Cache\\geocache list.txt", REASON_PLACE, 9},
    {M "Documents\\Temp\\keep.txt", REASON_PLACE, 9},
    {M "Documents\\half saved.tmp", REASON_PLACE, 9},
    {M "Documents\\logs\\ship.log", REASON_PLACE, 9},
    {M "Documents\\desktop.ini", REASON_PLACE, 9},
    {M "Documents\\Outlook Files\\mara.pst", REASON_PLACE, 9},
    {M "Documents\\Virtual\\small.vdi", REASON_PLACE, 9},
    {M "Documents\\Virtual\\large.vdi", REASON_OFFERED, 2 * GIB},
    {M "Documents\\Thumbs.db", REASON_CACHE, 9},
    {M "Documents\\~$thesis.docx", REASON_TEMPORARY, 162},
    {M "Documents\\~$thesis.docx.big", REASON_PLACE, 100000},
    {M "Documents\\~thesis.docx", REASON_PLACE, 162},
    {M "My own folder\\a.txt", REASON_PROFILE, 9},
    {M ".gitconfig", REASON_PROFILE, 9},
    {M ".ssh\\id_ed25519", REASON_OFFERED, 9},
    {M ".cache\\x", REASON_CACHE, 9},
    /* hives */
    {M "NTUSER.DAT", REASON_SETTINGS, 9},
    {M "ntuser.dat.LOG1", REASON_SETTINGS, 9},
    {M "NTUSER.DAT{53b39e88-18c4-11ea-a811-000d3aa4692b}.TM.blf", REASON_SYSTEM, 9},
    {M "NTUSER.DAT{53b39e88-18c4-11ea-a811-000d3aa4692b}.TMContainer00000000000000000001."
       "regtrans-ms",
	REASON_SYSTEM, 9},
    {L "Microsoft\\Windows\\UsrClass.dat", REASON_SETTINGS, 9},
    {L "Microsoft\\Windows\\UsrClass.dat.LOG1", REASON_SETTINGS, 9},
    /* browsers */
    {L "Some Browser\\User Data\\Default\\Bookmarks", REASON_SETTINGS, 9},
    {L "Some Browser\\User Data\\Default\\History", REASON_SETTINGS, 9},
    {L "Some Browser\\User Data\\Default\\Cache\\Cache_Data\\f_000001", REASON_CACHE, 9},
    {L "Some Browser\\User Data\\Default\\Code Cache\\js\\x", REASON_CACHE, 9},
    {L "Some Browser\\User Data\\Default\\GPUCache\\data_0", REASON_CACHE, 9},
    {L "Some Browser\\User Data\\ShaderCache\\data_0", REASON_CACHE, 9},
    {L "Some Browser\\User Data\\GrShaderCache\\data_0", REASON_CACHE, 9},
    {L "Some Browser\\User Data\\Default\\Service Worker\\CacheStorage\\a\\b", REASON_CACHE, 9},
    {L "Some Browser\\User Data\\Default\\Service Worker\\Database\\b", REASON_SETTINGS, 9},
    {L "Some Browser\\User Data\\Default\\Login Data", REASON_PASSWORDS, 9},
    {L "Some Browser\\User Data\\Default\\Login Data For Account", REASON_PASSWORDS, 9},
    {L "Some Browser\\User Data\\Default\\Web Data", REASON_SETTINGS, 9},
    {L "Some Browser\\User Data\\Crashpad\\reports\\a.dmp", REASON_CRASH_DUMP, 9},
    {R "Other Browser\\Profiles\\x.default\\places.sqlite", REASON_SETTINGS, 9},
    {R "Other Browser\\Profiles\\x.default\\logins.json", REASON_PASSWORDS, 9},
    {R "Other Browser\\Profiles\\x.default\\key4.db", REASON_PASSWORDS, 9},
    {L "Other Browser\\Profiles\\x.default\\cache2\\entries\\A1", REASON_CACHE, 9},
    {L "Other Browser\\Profiles\\x.default\\startupCache\\s.bin", REASON_CACHE, 9},
    /* the system's own in a profile */
    {L "Temp\\~DF1234.TMP", REASON_TEMPORARY, 9},
    {L "Temp\\Cache\\x", REASON_TEMPORARY, 9},
    {L "CrashDumps\\a.exe.1.dmp", REASON_CRASH_DUMP, 9},
    {L "Microsoft\\Windows\\INetCache\\IE\\AB12\\page[1].htm", REASON_CACHE, 9},
    {L "Microsoft\\Windows\\Temporary Internet Files\\Content.IE5\\x.gif", REASON_CACHE, 9},
    {L "Microsoft\\Windows\\WebCache\\WebCacheV01.dat", REASON_CACHE, 9},
    {L "Microsoft\\Windows\\WER\\ReportQueue\\r\\Report.wer", REASON_CRASH_DUMP, 9},
    {L "Microsoft\\Windows\\Explorer\\thumbcache_256.db", REASON_CACHE, 9},
    {L "Microsoft\\Windows\\Explorer\\iconcache_16.db", REASON_CACHE, 9},
    {L "Microsoft\\Windows\\Fonts\\own.ttf", REASON_SETTINGS, 9},
    {L "Microsoft\\Credentials\\ABC", REASON_PASSWORDS, 9},
    {R "Microsoft\\Credentials\\ABC", REASON_PASSWORDS, 9},
    {L "Microsoft\\Vault\\g\\Policy.vpol", REASON_PASSWORDS, 9},
    {R "Microsoft\\Protect\\S-1-5-21-1\\k", REASON_KEYS, 9},
    {R "Microsoft\\Crypto\\RSA\\S-1-5-21-1\\k", REASON_KEYS, 9},
    {R "Microsoft\\SystemCertificates\\My\\Keys\\k", REASON_KEYS, 9},
    {R "Shed Software\\Crypto\\k", REASON_SETTINGS, 9},
    {R "Microsoft\\Protected\\k", REASON_SETTINGS, 9},
    {R "Microsoft\\Windows\\Recent\\x.lnk", REASON_SETTINGS, 9},
    {R "Microsoft\\Sticky Notes\\StickyNotes.snt", REASON_SETTINGS, 9},
    {L "Microsoft\\Outlook\\mara.ost", REASON_SETTINGS, 9},
    {L "Microsoft\\Outlook\\mara.pst", REASON_SETTINGS, 9},
    {L "VirtualStore\\Program Files\\Ledger\\data.mdb", REASON_SETTINGS, 9},
    /* programs of one person */
    {L "Programs\\Some Editor\\editor.exe", REASON_PROGRAM, 9},
    {L "Some Messenger\\app-1.2.3\\messenger.exe", REASON_PROGRAM, 9},
    {L "Some Messenger\\settings.json", REASON_SETTINGS, 9},
    {R "Some Program\\logs\\main.log", REASON_LOG, 9},
    {R "Some Program\\debug.log", REASON_LOG, 9},
    /* the newest entries of databases look like logs */
    {L "Some Browser\\User Data\\Default\\Local Storage\\leveldb\\000003.log", REASON_SETTINGS, 9},
    {R "Some Messenger\\IndexedDB\\x.indexeddb.leveldb\\012345.log", REASON_SETTINGS, 9},
    {L "Some Browser\\User Data\\Default\\Cache\\000003.log", REASON_CACHE, 9},
    {L "Microsoft\\Windows Mail\\edb.log", REASON_SETTINGS, 9},
    {L "Microsoft\\Windows Mail\\edb00A1F.log", REASON_SETTINGS, 9},
    {L "Microsoft\\Windows\\UsrClass.dat.LOG", REASON_SETTINGS, 9},
    {R "Some Program\\update.log", REASON_LOG, 9},
    {R ".purple\\logs\\irc\\a\\2019.html", REASON_SETTINGS, 9},
    {R "mIRC\\logs\\#plots.log", REASON_SETTINGS, 9},
    /* unsaved work, mail, conversations, backups of phones */
    {R "Microsoft\\Word\\~WRL0001.tmp", REASON_SETTINGS, 9},
    {R "Microsoft\\Word\\AutoRecovery save of minutes.asd", REASON_SETTINGS, 9},
    {R "Some Program\\x.tmp", REASON_TEMPORARY, 9},
    {L "Some Drive\\108\\content_cache\\d1\\118.tmp", REASON_SETTINGS, 9},
    {L "Some Drive\\108\\contents\\118.tmp", REASON_TEMPORARY, 9},
    {R "Some Program\\AutoRecovery\\x.tmp", REASON_SETTINGS, 9},
    {L "Microsoft\\Office\\UnsavedFiles\\minutes.asd", REASON_SETTINGS, 9},
    {L "Packages\\Some.Editor_x\\LocalState\\TabState\\a.tmp", REASON_SETTINGS, 9},
    {L "Microsoft\\Windows\\INetCache\\Content.Outlook\\A1\\offer.docx", REASON_SETTINGS, 9},
    {L "Microsoft\\Windows\\INetCache\\Content.MSO\\A1.png", REASON_CACHE, 9},
    {L "Microsoft\\Windows\\Temporary Internet Files\\Content.Outlook\\A1\\offer.docx",
	REASON_SETTINGS, 9},
    {L "Microsoft\\Windows\\Temporary Internet Files\\OLK5F\\offer.doc", REASON_SETTINGS, 9},
    {R "Lantern\\Profiles\\x.default\\Mail\\Local Folders\\Cache", REASON_SETTINGS, 9},
    {R "Lantern\\Profiles\\x.default\\ImapMail\\a\\logs\\x.log", REASON_SETTINGS, 9},
    {L "Microsoft\\Windows Live Mail\\Storage Folders\\Logs\\1.eml", REASON_SETTINGS, 9},
    {L "Identities\\{a}\\Microsoft\\Outlook Express\\Temp\\x.dbx", REASON_SETTINGS, 9},
    {R "Fruit\\MobileSync\\Backup\\00a1\\cache\\f.log", REASON_SETTINGS, 9},
    {R "Chatter\\users\\mara\\logs\\rowan.log", REASON_SETTINGS, 9},
    /* store apps */
    {L "Packages\\Some.Browser_x\\AC\\Meadow\\User\\Default\\DataStore\\s.edb",
	REASON_SETTINGS, 9},
    {L "Packages\\Some.Browser_x\\AC\\Meadow\\User\\Default\\Recovery\\s.dat", REASON_CACHE, 9},
    {L "Packages\\Some.Notes_x\\LocalState\\plum.sqlite", REASON_SETTINGS, 9},
    {L "Packages\\Some.Notes_x\\RoamingState\\r", REASON_SETTINGS, 9},
    {L "Packages\\Some.Notes_x\\Settings\\settings.dat", REASON_SETTINGS, 9},
    {L "Packages\\Some.Notes_x\\TempState\\t", REASON_TEMPORARY, 9},
    {L "Packages\\Some.Notes_x\\LocalCache\\c", REASON_CACHE, 9},
    {L "Packages\\Some.Notes_x\\LocalCache\\Roaming\\Prog\\p.ini", REASON_SETTINGS, 9},
    {L "Packages\\Some.Notes_x\\LocalCache\\Local\\Prog\\Cache\\p", REASON_CACHE, 9},
    {L "Packages\\Some.Notes_x\\AC\\INetCache\\p", REASON_CACHE, 9},
    {L "Packages\\Some.Notes_x\\LocalState\\EBWebView\\Default\\Cache\\p", REASON_CACHE, 9},
    /* the root */
    {"\\pagefile.sys", REASON_PAGE_FILE, 9},
    {"\\hiberfil.sys", REASON_PAGE_FILE, 9},
    {"\\Box\\pagefile.sys", REASON_OUTSIDE, 9},
    {"\\bootmgr", REASON_SYSTEM, 9},
    {"\\$Recycle.Bin\\S-1-5-21-1\\$R1.txt", REASON_RECYCLE_BIN, 9},
    {"\\System Volume Information\\tracking.log", REASON_SYSTEM, 9},
    {"\\$WINDOWS.~BT\\Sources\\setup.log", REASON_INSTALLER_LEFTOVER, 9},
    {"\\MSOCache\\All Users\\x.cab", REASON_INSTALLER_LEFTOVER, 9},
    {"\\Temp\\x", REASON_OUTSIDE, 9}, /* people work there, too */
    {"\\Temp\\x.tmp", REASON_OUTSIDE, 9},
    {"\\Scans\\scan.pdf", REASON_OUTSIDE, 9},
    {"\\Scans\\scan.log", REASON_OUTSIDE, 9},
    {"\\Users\\desktop.ini", REASON_SYSTEM, 9},
    {"\\Users\\Projects\\plan.dwg", REASON_OUTSIDE, 9},
    {"\\Users\\Default\\NTUSER.DAT", REASON_SYSTEM, 9},
    {"\\Windows\\Temp\\x.tmp", REASON_SYSTEM, 9},
    {"\\Windows\\Minidump\\m.dmp", REASON_SYSTEM, 9},
    {"\\Windows\\ServiceProfiles\\LocalService\\NTUSER.DAT", REASON_SERVICE_PROFILE, 9},
    {"\\Windows\\System32\\config\\systemprofile\\x", REASON_SERVICE_PROFILE, 9},
    {"\\Windows\\System32\\config\\SYSTEM", REASON_SYSTEM, 9},
    /* programs */
    {"\\Program Files\\Ledger\\ledger.exe", REASON_PROGRAM, 9},
    {"\\Program Files\\Ledger\\setup.log", REASON_LOG, 9},
    {"\\Program Files\\Bean Race\\saves\\1.png", REASON_CHANGED, 9},
    {"\\Program Files\\Bean Race\\pictures\\1.png", REASON_PROGRAM, 9},
    {"\\Program Files\\Games\\userdata\\123\\456\\remote\\a.json", REASON_CHANGED, 9},
    {"\\Program Files\\Games\\userdata\\123\\config\\local.vdf", REASON_CHANGED, 9},
    {"\\ProgramData\\Microsoft\\Network\\Connections\\Pbk\\rasphone.pbk", REASON_CHANGED, 9},
    {"\\Program Files\\WindowsApps\\a\\x.exe", REASON_SYSTEM, 9},
    {"\\ProgramData\\Package Cache\\x.msi", REASON_INSTALLER_LEFTOVER, 9},
    {"\\ProgramData\\Microsoft\\Windows\\WER\\r", REASON_CRASH_DUMP, 9},
    {"\\ProgramData\\Microsoft\\Search\\Data\\Applications\\Windows\\Windows.edb", REASON_CACHE, 9},
    {"\\ProgramData\\Microsoft\\Crypto\\x", REASON_SYSTEM, 9},
    {"\\ProgramData\\Microsoft\\Windows NT\\MSFax\\Inbox\\1.tif", REASON_CHANGED, 9},
    {"\\ProgramData\\Microsoft\\Windows\\Start Menu\\Programs\\x.lnk", REASON_PROGRAM, 9},
    {"\\SteamLibrary\\steamapps\\common\\Game\\game.exe", REASON_OFFERED, 9},
    {"\\SteamLibrary\\steamapps\\userdata.txt", REASON_OUTSIDE, 9},
};

static void test_known_paths(void **state)
{
	struct forge forge;
	struct plan plan;

	(void)state;
	start(&forge);
	for (size_t i = 0; i < sizeof(known) / sizeof(known[0]); i++)
		forge_file(&forge, 0, known[i].path, known[i].size);
	finish(&forge, &plan);
	for (size_t i = 0; i < sizeof(known) / sizeof(known[0]); i++)
		if (reason_at(&plan, known[i].path, "") != known[i].reason)
			fail_msg("%s: %s, not %s", known[i].path,
			    reason_name(reason_at(&plan, known[i].path, "")),
			    reason_name(known[i].reason));
	plan_free(&plan);
	forge_free(&forge);
}

/* Folders of the old system whose names people use, too: known by what they hold. */
static void test_shared_names(void **state)
{
	struct forge forge;
	struct plan plan;

	(void)state;
	start(&forge);
	forge_volume(&forge, "D:");
	forge_file(&forge, 0, "\\Boot\\BCD", 9);
	forge_file(&forge, 0, "\\Boot\\de-DE\\bootmgr.exe.mui", 9);
	forge_file(&forge, 0, "\\Recovery\\ReAgentOld.xml", 9);
	forge_file(&forge, 0, "\\Recovery\\WindowsRE\\Winre.wim", 9);
	forge_file(&forge, 1, "\\Boot\\Am See\\taufe.jpg", 9);
	forge_file(&forge, 1, "\\Recovery\\photos\\0001.jpg", 9);
	forge_file(&forge, 1, "\\Recovery\\1b7a3c5e-0d21-11e1-9a2b-0019d1f0a4c7\\Winre.wim", 9);
	finish(&forge, &plan);
	assert_int_equal(reason_at(&plan, "\\Boot\\BCD", ""), REASON_SYSTEM);
	assert_int_equal(reason_at(&plan, "\\Boot\\de-DE\\bootmgr.exe.mui", ""), REASON_SYSTEM);
	assert_int_equal(reason_at(&plan, "\\Recovery\\ReAgentOld.xml", ""), REASON_SYSTEM);
	assert_int_equal(reason_at(&plan, "\\Recovery\\WindowsRE\\Winre.wim", ""), REASON_SYSTEM);
	assert_int_equal(
	    find_item(&plan, "D:", "\\Boot\\Am See\\taufe.jpg", "")->state, STATE_TAKEN);
	assert_int_equal(
	    find_item(&plan, "D:", "\\Recovery\\photos\\0001.jpg", "")->state, STATE_TAKEN);
	assert_int_equal(find_item(&plan, "D:",
			     "\\Recovery\\1b7a3c5e-0d21-11e1-9a2b-0019d1f0a4c7\\Winre.wim", "")
			     ->reason,
	    REASON_SYSTEM);
	plan_free(&plan);
	forge_free(&forge);
}

static void test_words(void **state)
{
	(void)state;
	for (unsigned reason = 0; reason < REASON_COUNT; reason++) {
		const char *sentence = reason_sentence(reason);

		assert_true(*reason_name(reason) != 0);
		assert_int_equal(sentence[strlen(sentence) - 1], '.');
	}
	for (unsigned i = 0; i < STATE_COUNT; i++)
		assert_true(*state_name(i) != 0);
	for (size_t i = 0; i < n_plan_rules; i++)
		assert_true(*plan_rules[i].why != 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_each_row),
	    cmocka_unit_test(test_known_paths),
	    cmocka_unit_test(test_shared_names),
	    cmocka_unit_test(test_words),
	};

	assert_true(locale_use_utf8(NULL));
	return cmocka_run_group_tests(tests, NULL, NULL);
}
