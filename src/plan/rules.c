/*
 * The rules table itself: see rules.h for how it is read.
 *
 * Where the old system and its programs keep what: common practice, no source, but for the names
 * that Microsoft documents: known folders (KNOWNFOLDERID), hive files ("Registry Hives"), the data
 * folders of store apps (Windows.Storage.ApplicationData), Zone.Identifier ([MS-FSCC] 5.6.1), WER
 * and local dumps ("Collecting User-Mode Dumps"), the owner file of an open document ("~$").
 */
#include "plan/rules.h"

#define MIB (UINT64_C(1) << 20)
#define GIB (UINT64_C(1) << 30)

/*
 * A folder; a file; a stream; a file by its size in bytes; a folder in which nothing else is left;
 * a folder with a name that people use, too (a boat is a Boot in German and Dutch), which is known
 * by what it holds.
 */
#define RULE(scope, kind, pattern, reason, why, least, most, whole)                                \
	{                                                                                          \
		SCOPE_##scope, RULE_##kind, pattern, REASON_##reason, why, least, most, whole,     \
		    false, NULL                                                                    \
	}
#define FOLDER(scope, pattern, reason, why) RULE(scope, FOLDER, pattern, reason, why, 0, 0, false)
#define FILE(scope, pattern, reason, why) RULE(scope, FILE, pattern, reason, why, 0, 0, false)
#define STREAM(scope, pattern, reason, why) RULE(scope, STREAM, pattern, reason, why, 0, 0, false)
#define BIG_FILE(scope, pattern, reason, why, least)                                               \
	RULE(scope, FILE, pattern, reason, why, least, 0, false)
#define SMALL_FILE(scope, pattern, reason, why, most)                                              \
	RULE(scope, FILE, pattern, reason, why, 0, most, false)
#define WHOLE_FOLDER(scope, pattern, reason, why)                                                  \
	RULE(scope, FOLDER, pattern, reason, why, 0, 0, true)
#define FOLDER_WITH(scope, pattern, holds, reason, why)                                            \
	{                                                                                          \
		SCOPE_##scope, RULE_FOLDER, pattern, REASON_##reason, why, 0, 0, false, false,     \
		    holds                                                                          \
	}
#define HIVE(scope, pattern, why)                                                                  \
	{                                                                                          \
		SCOPE_##scope, RULE_FILE, pattern, REASON_SETTINGS, why, 0, 0, false, true, NULL   \
	}

/* clang-format off */
const struct rule plan_rules[] = {

/* --- Unsaved work that looks temporary --- */
FILE(SETTINGS, "Microsoft\\Word\\~WR*.tmp", SETTINGS, "what was typed last, not saved yet"),
WHOLE_FOLDER(SETTINGS, "AutoRecover*", SETTINGS, "what was typed last, not saved yet"),
WHOLE_FOLDER(SETTINGS, "AutoSave*", SETTINGS, "what was typed last, not saved yet"),
WHOLE_FOLDER(SETTINGS, "UnsavedFiles", SETTINGS, "documents that were never given a name"),
WHOLE_FOLDER(SETTINGS, "TabState", SETTINGS, "texts in open tabs, not saved yet"),
FOLDER(SETTINGS, "INetCache\\Content.Outlook", SETTINGS,
	"attachments that were opened from mail, and may have been worked on"),
FOLDER(SETTINGS, "Temporary Internet Files\\Content.Outlook", SETTINGS,
	"attachments that were opened from mail, and may have been worked on"),
FOLDER(SETTINGS, "Temporary Internet Files\\OLK*", SETTINGS,
	"attachments that were opened from mail, and may have been worked on"),

/* --- Not uploaded yet: beside it lies a database of what is what --- */
WHOLE_FOLDER(SETTINGS, "content_cache", SETTINGS,
	"what a client that shows the cloud as a drive holds, perhaps not uploaded yet"),

/* --- Anywhere --- */
STREAM(ANY, "Zone.Identifier", ZONE_MARK, "says that a file was downloaded, and nothing else"),
FILE(ANY, "Thumbs.db", CACHE, "small pictures, made again when needed"),
FILE(ANY, "ehthumbs*.db", CACHE, "small pictures, made again when needed"),
SMALL_FILE(ANY, "~$*", TEMPORARY, "says who has a document open; goes when it is closed", 4096),
FILE(SOFTWARE, "*.tmp", TEMPORARY, "temporary by its name"),
FOLDER(ANY, ".dropbox.cache", CACHE, "work folder of a sync client"),
FOLDER(ANY, ".tmp.drivedownload", TEMPORARY, "work folder of a sync client"),
FOLDER(ANY, ".tmp.driveupload", TEMPORARY, "work folder of a sync client"),
BIG_FILE(ANY, "*.vhdx", OFFERED, "the drive of a virtual machine", GIB),
BIG_FILE(ANY, "*.vhd", OFFERED, "the drive of a virtual machine", GIB),
BIG_FILE(ANY, "*.vdi", OFFERED, "the drive of a virtual machine", GIB),
BIG_FILE(ANY, "*.vmdk", OFFERED, "the drive of a virtual machine", GIB),
BIG_FILE(ANY, "*.qcow2", OFFERED, "the drive of a virtual machine", GIB),
BIG_FILE(ANY, "*.avhdx", OFFERED, "the drive of a virtual machine", GIB),
BIG_FILE(ANY, "*.vmem", OFFERED, "the memory of a virtual machine", 64 * MIB),
FOLDER(ANY, "steamapps\\common", OFFERED,
	"games that can be downloaded again; what they save lies elsewhere"),
FOLDER(ANY, "steamapps\\downloading", TEMPORARY, "unfinished downloads"),
FOLDER(ANY, "steamapps\\shadercache", CACHE, "made again when needed"),

/* --- A person's hives and keys --- */
FILE(PROFILE, "NTUSER.DAT{*}.TM*", SYSTEM, "belongs to the registry's transaction manager"),
HIVE(PROFILE, "NTUSER.DAT", "the person's hive"),
HIVE(PROFILE, "NTUSER.DAT.LOG*", "log of the person's hive"),
HIVE(PROFILE, "NTUSER.MAN", "the person's hive, a fixed one"),
HIVE(SETTINGS, "UsrClass.dat", "the person's hive of classes"),
HIVE(SETTINGS, "UsrClass.dat.LOG*", "log of the person's hive of classes"),
FILE(SETTINGS, "UsrClass.dat{*}.TM*", SYSTEM, "belongs to the registry's transaction manager"),
FOLDER(PROFILE, ".ssh", OFFERED, "keys that open other computers"),
FOLDER(PROFILE, ".gnupg", OFFERED, "keys for signing and secret mail"),
FOLDER(SETTINGS, "Roaming\\gnupg", OFFERED, "keys for signing and secret mail"),
FOLDER(PROFILE, ".aws", OFFERED, "keys that open other computers"),
FOLDER(PROFILE, ".azure", OFFERED, "keys that open other computers"),
FOLDER(PROFILE, ".kube", OFFERED, "keys that open other computers"),

/* --- What opens the person's encrypted files --- */
FOLDER(SETTINGS, "Microsoft\\Crypto", KEYS, "private keys, locked with the person's password"),
FOLDER(SETTINGS, "Microsoft\\Protect", KEYS, "keys to those, locked with the person's password"),
FOLDER(SETTINGS, "Microsoft\\SystemCertificates", KEYS, "certificates that go with the keys"),

/* --- Stores of saved passwords --- */
FOLDER(SETTINGS, "Microsoft\\Credentials", PASSWORDS, "saved log-ons"),
FOLDER(SETTINGS, "Microsoft\\Vault", PASSWORDS, "saved log-ons"),
FOLDER(PROGRAM_DATA, "Microsoft\\Vault", PASSWORDS, "saved log-ons"),
FILE(SETTINGS, "Login Data", PASSWORDS, "passwords saved by a browser"),
FILE(SETTINGS, "Login Data-journal", PASSWORDS, "passwords saved by a browser"),
FILE(SETTINGS, "Login Data For Account", PASSWORDS, "passwords saved by a browser"),
FILE(SETTINGS, "Login Data For Account-journal", PASSWORDS, "passwords saved by a browser"),
FILE(SETTINGS, "logins.json", PASSWORDS, "passwords saved by a browser"),
FILE(SETTINGS, "logins-backup.json", PASSWORDS, "passwords saved by a browser"),
FILE(SETTINGS, "logins.db", PASSWORDS, "passwords saved by a browser"),
FILE(SETTINGS, "key3.db", PASSWORDS, "opens the saved passwords"),
FILE(SETTINGS, "key4.db", PASSWORDS, "opens the saved passwords"),
FILE(SETTINGS, "signons*.txt", PASSWORDS, "passwords saved by a browser"),
FILE(SETTINGS, "signons.sqlite", PASSWORDS, "passwords saved by a browser"),

/* --- Settings that look like something else --- */
FILE(SETTINGS, "0?????.log", SETTINGS,
	"the newest entries of a database of numbered files, not yet put in their place"),
FILE(SETTINGS, "edb*.log", SETTINGS,
	"changes to a database (of mail, for one) that it cannot be opened without"),
WHOLE_FOLDER(SETTINGS, ".purple\\logs", SETTINGS, "conversations, not a log"),
WHOLE_FOLDER(SETTINGS, "mIRC\\logs", SETTINGS, "conversations, not a log"),
WHOLE_FOLDER(SETTINGS, "HexChat\\logs", SETTINGS, "conversations, not a log"),
WHOLE_FOLDER(SETTINGS, "users\\*\\logs", SETTINGS, "conversations of a person, not a log"),
/* Mail folders have whatever name their owner gave them, also "Logs" and "Cache". */
WHOLE_FOLDER(SETTINGS, "Profiles\\*\\Mail", SETTINGS, "mail"),
WHOLE_FOLDER(SETTINGS, "Profiles\\*\\ImapMail", SETTINGS, "mail"),
WHOLE_FOLDER(SETTINGS, "Microsoft\\Windows Mail", SETTINGS, "mail"),
WHOLE_FOLDER(SETTINGS, "Microsoft\\Windows Live Mail", SETTINGS, "mail"),
WHOLE_FOLDER(SETTINGS, "Identities\\*\\Microsoft\\Outlook Express", SETTINGS, "mail"),
WHOLE_FOLDER(SETTINGS, "MobileSync\\Backup", SETTINGS, "backups of phones"),
FOLDER(SETTINGS, "Packages\\*\\AC\\*\\User\\Default\\DataStore", SETTINGS,
	"favorites and reading list of a browser that is a store app"),
FOLDER(SETTINGS, "Packages\\*\\AC\\*\\User\\Default\\Favorites", SETTINGS,
	"favorites of a browser that is a store app"),
FOLDER(SETTINGS, "Packages\\*\\LocalCache\\Roaming", SETTINGS,
	"settings of a desktop program that came as a store app"),
FOLDER(SETTINGS, "Packages\\*\\LocalCache\\Local", SETTINGS,
	"settings of a desktop program that came as a store app"),

/* --- Store apps and programs of one person --- */
FOLDER(SETTINGS, "Packages\\*\\TempState", TEMPORARY, "temporary by its role"),
FOLDER(SETTINGS, "Packages\\*\\LocalCache", CACHE, "a cache by its role"),
FOLDER(SETTINGS, "Packages\\*\\AC", CACHE, "what an app's web view keeps"),
FOLDER(PROFILE, "AppData\\Local\\Programs\\*", PROGRAM, "a program of one person"),
FOLDER(PROFILE, "AppData\\Local\\Microsoft\\WindowsApps", PROGRAM,
	"short cuts that start store apps"),
FOLDER(PROFILE, "AppData\\Local\\Microsoft\\OneDrive\\*.*.*.*", PROGRAM,
	"a version of the sync client"),
FOLDER(PROFILE, "AppData\\Local\\*\\app-*.*.*", PROGRAM,
	"a version of a program that updates itself"),

/* --- Temporary files --- */
FOLDER(SETTINGS, "Temp", TEMPORARY, "temporary by its role"),
FOLDER(SETTINGS, "tmp", TEMPORARY, "temporary by its name"),
FOLDER(PROFILE, "Local Settings\\Temp", TEMPORARY, "temporary by its role"),
FOLDER(ROOT, "OneDriveTemp", TEMPORARY, "work folder of a sync client"),
FOLDER(ROOT, "msdownld.tmp", TEMPORARY, "work folder of an installer"),

/* --- Left by installers --- */
FOLDER(SETTINGS, "Downloaded Installations", INSTALLER_LEFTOVER, "unpacked by an installer"),
FOLDER(SETTINGS, "Package Cache", INSTALLER_LEFTOVER, "kept for repairs"),
FOLDER(SETTINGS, "SquirrelTemp", INSTALLER_LEFTOVER, "unpacked by an installer"),
FOLDER(ROOT, "$WINDOWS.~*", INSTALLER_LEFTOVER, "left by an upgrade"),
FOLDER(ROOT, "$INPLACE.~*", INSTALLER_LEFTOVER, "left by an upgrade"),
FOLDER(ROOT, "$UPGRADE.~*", INSTALLER_LEFTOVER, "left by an upgrade"),
FOLDER(ROOT, "$GetCurrent", INSTALLER_LEFTOVER, "left by an upgrade"),
FOLDER(ROOT, "$SysReset", INSTALLER_LEFTOVER, "left by a reset"),
FOLDER(ROOT, "$WinREAgent", INSTALLER_LEFTOVER, "left by an update"),
FOLDER(ROOT, "Windows10Upgrade", INSTALLER_LEFTOVER, "left by an upgrade"),
FOLDER(ROOT, "ESD", INSTALLER_LEFTOVER, "a downloaded old system"),
FOLDER(ROOT, "MSOCache", INSTALLER_LEFTOVER, "kept for repairs of an office program"),
FOLDER(ROOT, "Config.Msi", INSTALLER_LEFTOVER, "kept by an installer"),
FOLDER(PROGRAM_DATA, "Package Cache", INSTALLER_LEFTOVER, "kept for repairs"),
FOLDER(PROGRAM_DATA, "Downloaded Installations", INSTALLER_LEFTOVER, "unpacked by an installer"),

/* --- Caches --- */
FILE(PROFILE, "AppData\\Local\\Microsoft\\Windows\\Explorer\\thumbcache_*.db", CACHE,
	"small pictures, made again when needed"),
FILE(PROFILE, "AppData\\Local\\Microsoft\\Windows\\Explorer\\iconcache_*.db", CACHE,
	"icons, made again when needed"),
FILE(SETTINGS, "IconCache.db", CACHE, "icons, made again when needed"),
FILE(SETTINGS, "GDIPFontCacheV1.dat", CACHE, "made again when needed"),
FOLDER(SETTINGS, "INetCache", CACHE, "web pages, fetched again when needed"),
FOLDER(SETTINGS, "Temporary Internet Files", CACHE, "web pages, fetched again when needed"),
FOLDER(SETTINGS, "Microsoft\\Windows\\WebCache", CACHE, "index of web pages"),
FOLDER(SETTINGS, "Microsoft\\Windows\\Caches", CACHE, "made again when needed"),
FOLDER(SETTINGS, "Microsoft\\Windows\\IECompatCache", CACHE, "made again when needed"),
FOLDER(SETTINGS, "CryptnetUrlCache", CACHE, "fetched again when needed"),
FOLDER(SOFTWARE, "Cache", CACHE, "a cache by its name"),
FOLDER(SOFTWARE, "cache2", CACHE, "web pages, fetched again when needed"),
FOLDER(SOFTWARE, "Caches", CACHE, "a cache by its name"),
FOLDER(SOFTWARE, "* Cache", CACHE,
	"a cache by its name: Code Cache, Media Cache, Application Cache"),
FOLDER(SOFTWARE, "*ShaderCache", CACHE, "made again when needed"),
FOLDER(SOFTWARE, "GPUCache", CACHE, "made again when needed"),
FOLDER(SOFTWARE, "Dawn*Cache", CACHE, "made again when needed"),
FOLDER(SOFTWARE, "GraphiteDawnCache", CACHE, "made again when needed"),
FOLDER(SETTINGS, "D3DSCache", CACHE, "made again when needed"),
FOLDER(SETTINGS, "DXCache", CACHE, "made again when needed"),
FOLDER(SETTINGS, "GLCache", CACHE, "made again when needed"),
FOLDER(SOFTWARE, "Service Worker\\CacheStorage", CACHE, "web pages, fetched again when needed"),
FOLDER(SOFTWARE, "ScriptCache", CACHE, "made again when needed"),
FOLDER(SOFTWARE, "startupCache", CACHE, "made again when needed"),
FOLDER(SOFTWARE, "jumpListCache", CACHE, "icons, made again when needed"),
FOLDER(SOFTWARE, "OfflineCache", CACHE, "web pages, fetched again when needed"),
FOLDER(SOFTWARE, "*_crx_cache", CACHE, "downloaded extensions"),
FOLDER(PROFILE, ".cache", CACHE, "a cache by its name"),
FOLDER(PROFILE, ".nuget\\packages", CACHE, "fetched again when needed"),
FOLDER(PROFILE, ".gradle\\caches", CACHE, "fetched again when needed"),
FOLDER(PROFILE, ".m2\\repository", CACHE, "fetched again when needed"),
FOLDER(SETTINGS, "npm-cache", CACHE, "fetched again when needed"),
FOLDER(ROOT, "DeliveryOptimization", CACHE, "pieces of updates for other PCs"),

/* --- Logs, crash dumps and error reports --- */
FOLDER(SETTINGS, "CrashDumps", CRASH_DUMP, "memory of programs that crashed"),
FOLDER(SOFTWARE, "Crash Reports", CRASH_DUMP, "reports of crashes"),
FOLDER(SOFTWARE, "Crashpad", CRASH_DUMP, "reports of crashes"),
FOLDER(SETTINGS, "Microsoft\\Windows\\WER", CRASH_DUMP, "error reports"),
FOLDER(SETTINGS, "ElevatedDiagnostics", LOG, "notes of a troubleshooter"),
FILE(SOFTWARE, "*.dmp", CRASH_DUMP, "memory of a program that crashed"),
FILE(SOFTWARE, "*.mdmp", CRASH_DUMP, "memory of a program that crashed"),
FOLDER(SOFTWARE, "logs", LOG, "logs by its name"),
FILE(SOFTWARE, "*.log", LOG, "a log by its name"),
FILE(SOFTWARE, "*.etl", LOG, "a trace of the old system"),

/* --- Page files and the recycle bin --- */
FILE(ROOT, "pagefile.sys", PAGE_FILE, "memory of the old system"),
FILE(ROOT, "hiberfil.sys", PAGE_FILE, "memory of the old system"),
FILE(ROOT, "swapfile.sys", PAGE_FILE, "memory of the old system"),
FILE(ROOT, "win386.swp", PAGE_FILE, "memory of the old system"),
FOLDER(ROOT, "$Recycle.Bin", RECYCLE_BIN, "deleted"),
FOLDER(ROOT, "RECYCLER", RECYCLE_BIN, "deleted"),
FOLDER(ROOT, "RECYCLED", RECYCLE_BIN, "deleted"),

/* --- What file checks set aside: taken, but for what is large --- */
BIG_FILE(ROOT, "FOUND.???\\*.CHK", OFFERED,
	"a large piece of something that a file check of the old system came upon", 64 * MIB),

/* --- The old system's own at the root --- */
FOLDER(ROOT, "System Volume Information", SYSTEM, "the old system's own"),
FOLDER_WITH(ROOT, "Recovery", "WindowsRE", SYSTEM, "repair environment of the old system"),
FOLDER_WITH(ROOT, "Recovery\\*-*-*-*-*", "Winre.wim", SYSTEM,
	"repair environment of the old system"),
FOLDER_WITH(ROOT, "Boot", "BCD", SYSTEM, "starts the old system"),
FOLDER(ROOT, "EFI\\Microsoft", SYSTEM, "starts the old system"),
FOLDER(ROOT, "PerfLogs", SYSTEM, "measurements of the old system"),
FOLDER(ROOT, "WpSystem", SYSTEM, "storage of store apps"),
FOLDER(ROOT, "cmdcons", SYSTEM, "repair console of the old system"),
FILE(ROOT, "bootmgr", SYSTEM, "starts the old system"),
FILE(ROOT, "bootmgr.efi", SYSTEM, "starts the old system"),
FILE(ROOT, "BOOTNXT", SYSTEM, "starts the old system"),
FILE(ROOT, "BOOTTGT", SYSTEM, "starts the old system"),
FILE(ROOT, "BOOTSECT.BAK", SYSTEM, "starts the old system"),
FILE(ROOT, "ntldr", SYSTEM, "starts the old system"),
FILE(ROOT, "cmldr", SYSTEM, "starts the old system"),
FILE(ROOT, "NTDETECT.COM", SYSTEM, "starts the old system"),
FILE(ROOT, "boot.ini", SYSTEM, "starts the old system"),
FILE(ROOT, "bootfont.bin", SYSTEM, "starts the old system"),
FILE(ROOT, "IO.SYS", SYSTEM, "starts the old system"),
FILE(ROOT, "MSDOS.SYS", SYSTEM, "starts the old system"),
FILE(ROOT, "DumpStack.log*", LOG, "log of the old system"),
FILE(ROOT, "Users\\desktop.ini", SYSTEM, "how the folder is shown"),
FOLDER(ROOT, "Users\\Default", SYSTEM, "template of new profiles"),
FOLDER(ROOT, "Users\\Default.migrated", SYSTEM, "template of new profiles"),
FOLDER(ROOT, "Documents and Settings\\Default User", SYSTEM, "template of new profiles"),
FOLDER(ROOT, "Documents and Settings\\LocalService", SERVICE_PROFILE,
	"profile of a service account"),
FOLDER(ROOT, "Documents and Settings\\NetworkService", SERVICE_PROFILE,
	"profile of a service account"),
FOLDER(WINDOWS, "ServiceProfiles\\*", SERVICE_PROFILE, "profile of a service account"),
FOLDER(WINDOWS, "System32\\config\\systemprofile", SERVICE_PROFILE, "profile of a service account"),
FOLDER(WINDOWS, "SysWOW64\\config\\systemprofile", SERVICE_PROFILE, "profile of a service account"),

/* --- Saved games in the folders of games --- */
WHOLE_FOLDER(PROGRAMS, "Savegame*", CHANGED, "saved games"),
WHOLE_FOLDER(PROGRAMS, "Saved Games", CHANGED, "saved games"),
WHOLE_FOLDER(PROGRAMS, "SavedGames", CHANGED, "saved games"),
WHOLE_FOLDER(PROGRAMS, "Saves", CHANGED, "saved games"),
WHOLE_FOLDER(PROGRAMS, "userdata\\*\\*\\remote", CHANGED, "saved games"),
WHOLE_FOLDER(PROGRAMS, "userdata\\*\\config", CHANGED, "how games were set up"),

/* --- Programs --- */
FOLDER(ROOT, "WindowsApps", PROGRAM, "store apps"),
FOLDER(ROOT, "Program Files\\WindowsApps", SYSTEM, "store apps"),
FOLDER(ROOT, "XboxGames", OFFERED, "games that can be downloaded again"),
FOLDER(PROGRAM_DATA, "Microsoft\\Windows NT\\MSFax", CHANGED, "faxes that were sent and received"),
FOLDER(PROGRAM_DATA, "Microsoft\\Network\\Connections", CHANGED,
	"connections to other networks: their addresses"),
FOLDER(PROGRAM_DATA, "Microsoft\\User Account Pictures", CHANGED, "pictures of accounts"),
FOLDER(PROGRAM_DATA, "Microsoft\\Windows\\WER", CRASH_DUMP, "error reports"),
FOLDER(PROGRAM_DATA, "Microsoft\\Search\\Data", CACHE, "index for searching"),
FOLDER(PROGRAM_DATA, "Microsoft\\Windows\\Start Menu", PROGRAM, "short cuts to programs"),
FOLDER(PROGRAM_DATA, "Microsoft", SYSTEM, "the old system's own"),
FOLDER(PROGRAM_DATA, "Microsoft OneDrive", SYSTEM, "set-up of the sync client"),
FOLDER(PROGRAM_DATA, "USOShared", SYSTEM, "the old system's own"),
FOLDER(PROGRAM_DATA, "USOPrivate", SYSTEM, "the old system's own"),
FOLDER(PROGRAM_DATA, "SoftwareDistribution", SYSTEM, "the old system's own"),
FOLDER(PROGRAM_DATA, "WindowsHolographicDevices", SYSTEM, "the old system's own"),
FOLDER(PROGRAM_DATA, "Packages", PROGRAM, "store apps"),
FOLDER(PROGRAM_DATA, "regid.*", SYSTEM, "marks of licences"),
};
/* clang-format on */

const size_t n_plan_rules = sizeof(plan_rules) / sizeof(plan_rules[0]);
