/*
 * Fuzzes what is learned from hives: every value that the survey reads, with hostile content.
 *
 * The hive is well made (the hive reader has a target of its own) and serves as SYSTEM, SOFTWARE,
 * SAM and a person's hive at once. The input is a list of values: slot, type, length, bytes.
 */
#include "../unit/fake_survey.c"
#include "../unit/hive_maker.h"

#include "base/json.h"
#include "report/survey_text.h"
#include "system/inner.h"
#include "system/bulk_data.h"
#include "system/learn_devices.h"
#include "system/program_licences.h"

#define SID_A "S-1-5-21-1-2-3-1001"
#define SID_B "S-1-12-1-1-2-3-4"
#define LIST KEY_NT "\\ProfileList"
#define SHELL "\\Explorer\\User Shell Folders"
#define UNINSTALL "\\Uninstall\\x"
#define ACCOUNTS "SAM\\Domains\\Account"
#define SIGN_IN KEY_WINDOWS "\\Authentication\\LogonUI"
#define ZONE "ControlSet001\\Control\\TimeZoneInformation"
#define DIALOG "Software\\" KEY_WINDOWS "\\Explorer\\ComDlg32\\"
#define MAX_NODES 340
#define MAX_LENGTH 255
#define PRINT "ControlSet001\\Control\\Print\\"
#define IMAGES "ControlSet001\\Control\\Class\\{6bdd1fc6-810f-11d0-bec7-08002be2092f}\\0000"
#define NETWORK KEY_NT "\\NetworkList\\Profiles\\{1}"
#define POWER "ControlSet001\\Control\\Power\\User\\PowerSchemes"
#define SCREEN_OFF                                                                                 \
	POWER "\\x\\7516b95f-f776-4464-8c53-06167f40cc99\\3c0bc021-c8a8-4e07-a973-6b14cbcb2b7e"
#define TYPES "Software\\" KEY_WINDOWS "\\Explorer\\FileExts\\"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* Where a value of the input goes. */
static const struct slot {
	const char *key, *name;
} slots[] = {
    {"Select", "Current"},
    {"ControlSet001\\Control\\ComputerName\\ComputerName", "ComputerName"},
    {"ControlSet001\\Control\\Windows", "ShutdownTime"},
    {"ControlSet001\\Control\\Session Manager\\Environment", "A"},
    {"ControlSet001\\Control\\Session Manager\\Environment", "B"},
    {ZONE, "Bias"},
    {ZONE, "StandardBias"},
    {ZONE, "DaylightBias"},
    {ZONE, "StandardStart"},
    {ZONE, "DaylightStart"},
    {ZONE, "TimeZoneKeyName"},
    {"MountedDevices", "\\DosDevices\\C:"},
    {"MountedDevices", "\\DosDevices\\D:"},
    {"MountedDevices", "\\DosDevices\\E:"},
    {"MountedDevices", "\\??\\Volume{c0ffee02-1a2b-4c3d-8e4f-5eed00000002}"},
    {KEY_NT, "ProductName"},
    {KEY_NT, "CurrentVersion"},
    {KEY_NT, "CurrentBuild"},
    {KEY_NT, "SystemRoot"},
    {KEY_NT, "InstallTime"},
    {LIST, "ProfilesDirectory"},
    {LIST, "Public"},
    {LIST, "AllUsersProfile"},
    {LIST "\\" SID_A, "ProfileImagePath"},
    {LIST "\\" SID_A, "State"},
    {LIST "\\" SID_A ".bak", "ProfileImagePath"},
    {LIST "\\" SID_B, "ProfileImagePath"},
    {ACCOUNTS, "V"},
    {ACCOUNTS "\\Users\\000003E9", "V"},
    {SIGN_IN, "LastLoggedOnUserSID"},
    {SIGN_IN, "LastLoggedOnSAMUser"},
    {"Environment", "A"},
    {"Environment", "USERPROFILE"},
    {"Network\\Z", "RemotePath"},
    {KEY_WINDOWS SHELL, "Common Documents"},
    {"Software\\" KEY_WINDOWS SHELL, "Personal"},
    {"Software\\" KEY_WINDOWS SHELL, "My Pictures"},
    {"Software\\" KEY_WINDOWS SHELL, "My Music"},
    {"Software\\" KEY_WINDOWS SHELL, "Desktop"},
    {"Software\\" KEY_WINDOWS SHELL, "AppData"},
    {KEY_WINDOWS UNINSTALL, "DisplayName"},
    {KEY_WINDOWS UNINSTALL, "InstallDate"},
    {KEY_WINDOWS UNINSTALL, "EstimatedSize"},
    {KEY_WINDOWS UNINSTALL, "ReleaseType"},
    {KEY_WINDOWS UNINSTALL, "DisplayIcon"},
    {"ControlSet001\\Services\\bam\\State\\UserSettings\\" SID_A,
	"\\Device\\HarddiskVolume3\\a\\b.exe"},
    {"Software\\" KEY_WINDOWS "\\Explorer\\UserAssist\\{1}", "Version"},
    {"Software\\" KEY_WINDOWS "\\Explorer\\UserAssist\\{1}\\Count", "P:\\n\\o.rkr"},
    {KEY_WINDOWS "\\Appx\\AppxAllUserStore\\Applications\\A.B_1.0_x64__c", "Path"},
    {KEY_NT, "ProductId"},
    {"Software\\Some Program\\Folders", "Backup"},
    {"Software\\Some Program\\Folders", "Letters"},
    {PRINT "Printers\\a", "Port"},
    {PRINT "Printers\\a", "Printer Driver"},
    {PRINT "Printers\\a", "Attributes"},
    {PRINT "Printers\\a", "Share Name"},
    {PRINT "Monitors\\m\\Ports\\p", "HostName"},
    {PRINT "Environments\\e\\Drivers\\v\\d", "Provider"},
    {PRINT "Environments\\e\\Drivers\\v\\d", "InfPath"},
    {IMAGES, "DriverDesc"},
    {IMAGES, "InfPath"},
    {"ControlSet001\\Services\\LanmanServer\\Shares", "s"},
    {"ControlSet001\\Control\\Keyboard Layouts\\l", "Layout Text"},
    {POWER, "ActivePowerScheme"},
    {POWER "\\x", "FriendlyName"},
    {SCREEN_OFF, "ACSettingIndex"},
    {NETWORK, "ProfileName"},
    {NETWORK, "DateLastConnected"},
    {NETWORK, "NameType"},
    {NETWORK, "Category"},
    {KEY_NT "\\Fonts", "f"},
    {"Software\\" KEY_NT "\\Fonts", "f"},
    {"Software\\" KEY_NT "\\Windows", "Device"},
    {"Software\\" KEY_NT "\\Accessibility", "Configuration"},
    {"Printers\\Connections\\,,s,p", "Server"},
    {"Network\\Z", "UserName"},
    {TYPES ".a\\UserChoice", "ProgId"},
    {TYPES ".b\\UserChoice", "ProgId"},
    {"Classes\\c\\Application", "ApplicationName"},
    {"Classes\\c\\shell\\open\\command", ""},
    {"Control Panel\\Desktop", "Wallpaper"},
    {"Control Panel\\Desktop", "TranscodedImageCache"},
    {"Control Panel\\Desktop", "SCRNSAVE.EXE"},
    {KEY_WINDOWS "\\AccountPicture\\Users\\" SID_A, "Image96"},
    {"Control Panel\\International", "LocaleName"},
    {"Control Panel\\International\\User Profile", "Languages"},
    {"Control Panel\\Accessibility\\StickyKeys", "Flags"},
    {"Control Panel\\PowerCfg", "CurrentPowerPolicy"},
    {"Control Panel\\PowerCfg\\PowerPolicies\\0", "Name"},
    {"Keyboard Layout\\Preload", "1"},
    {"Keyboard Layout\\Substitutes", "l"},
    {"ControlSet001\\Services\\BTHPORT\\Parameters\\Devices\\0123456789ab", "Name"},
    {DIALOG "OpenSavePidlMRU\\txt", "0"},
    {DIALOG "OpenSavePidlMRU\\txt", "MRUListEx"},
    {DIALOG "LastVisitedPidlMRU", "0"},
    {DIALOG "LastVisitedMRU", "a"},
    {DIALOG "LastVisitedMRU", "MRUList"},
    {"Software\\Some Program\\File MRU", "Item 1"},
    {"Software\\Some Program\\Recent File List", "File1"},
};
#define N_SLOTS (sizeof(slots) / sizeof(slots[0]))

struct made_key {
	char name[64];
	int parent;
	hive_cell cell, values[8];
	uint32_t n_values;
};

struct tree {
	struct maker maker;
	struct made_key keys[MAX_NODES];
	int n_keys;
	bool is_used[N_SLOTS];
};

static int find_key(struct tree *tree, const char *path)
{
	int key = 0;

	while (*path) {
		size_t length = strcspn(path, "\\");
		int child = 1;

		while (
		    child < tree->n_keys &&
		    (tree->keys[child].parent != key || strlen(tree->keys[child].name) != length ||
			memcmp(tree->keys[child].name, path, length) != 0))
			child++;
		if (child == tree->n_keys) {
			assert(child < MAX_NODES && length < sizeof(tree->keys[child].name));
			memcpy(tree->keys[child].name, path, length);
			tree->keys[child].parent = key;
			tree->keys[child].cell =
			    add_key(&tree->maker, tree->keys[key].cell, tree->keys[child].name);
			tree->n_keys++;
		}
		key = child;
		path += length + (path[length] == '\\');
	}
	return key;
}

static void add_slot(
    struct tree *tree, size_t index, uint32_t type, const uint8_t *data, uint32_t length)
{
	struct made_key *key = &tree->keys[find_key(tree, slots[index].key)];
	uint32_t where = length >= 4 ? length : length | 0x80000000u;
	uint8_t small[4] = {0};

	memcpy(small, data, length < 4 ? length : 4);
	if (tree->is_used[index] || key->n_values == 8)
		return;
	tree->is_used[index] = true;
	key->values[key->n_values++] = add_value(&tree->maker, slots[index].name, type, where,
	    length <= 4 ? get_u32(small) : add_data(&tree->maker, data, length));
	if (length == 4)
		put_u32(at(&tree->maker, key->values[key->n_values - 1]) + 4, 0x80000004u);
}

static void end_tree(struct tree *tree)
{
	for (int i = 0; i < tree->n_keys; i++) {
		hive_cell children[MAX_NODES];
		uint32_t count = 0;

		for (int child = 1; child < tree->n_keys; child++)
			if (tree->keys[child].parent == i)
				children[count++] = tree->keys[child].cell;
		if (count)
			set_subkeys(&tree->maker, tree->keys[i].cell,
			    add_list(&tree->maker, "lf", children, count), count);
		if (tree->keys[i].n_values)
			set_values(&tree->maker, tree->keys[i].cell, tree->keys[i].values,
			    tree->keys[i].n_values);
	}
	maker_end(&tree->maker);
}

static struct hive *make_hive(const uint8_t *data, size_t size)
{
	struct tree *tree = calloc(1, sizeof(*tree));
	struct hive *hive;

	assert(tree);
	maker_start(&tree->maker, 131072);
	tree->keys[0].cell = add_key(&tree->maker, HIVE_NO_CELL, "root");
	tree->n_keys = 1;
	for (size_t i = 0; i < N_SLOTS; i++)
		find_key(tree, slots[i].key);
	while (size >= 3) {
		size_t length = data[2] <= size - 3 ? data[2] : size - 3;

		add_slot(tree, data[0] % N_SLOTS, data[1] % 12, data + 3, (uint32_t)length);
		data += 3 + length;
		size -= 3 + length;
	}
	end_tree(tree);
	hive = hive_open(tree->maker.data, BINS + tree->maker.size, NULL, 0, NULL);
	free(tree->maker.data);
	free(tree);
	return hive;
}

static void make_drives(struct fake *fake)
{
	fake_start(fake);
	fake_volume(fake);
	fake_volume(fake);
	fake->drives[0].about.bus = fake->drives[0].about.model = fake->drives[0].about.serial = "";
	fake->drives[1].about = fake->drives[0].about;
	fake->drives[1].table.kind = TABLE_MBR;
	fake->drives[1].table.disk_signature = 0x5eed1a7d;
	fake->partitions[1].offset = 1 << 20;
	fake_folder(fake, 0, "Windows\\System32\\config");
	fake_folder(fake, 0, "Users\\a\\Desktop");
	fake_file(fake, 0, "Users\\b\\Documents\\x.txt", 10);
	fake_folder(fake, 0, "Users\\Public\\Documents");
	fake_folder(fake, 1, "Photos");
}

static void show(struct survey *survey)
{
	struct buf text = {0};
	FILE *out = fopen("/dev/null", "w");
	struct json json;

	json_start(&json, &text, false);
	survey_to_json(survey, &json);
	buf_free(&text);
	assert(out);
	survey_print(survey, out);
	fclose(out);
}

static void learn_all(struct fake *fake, struct hive *hive, struct findings *findings)
{
	struct old_system system = {.letter = 'C',
	    .container = NODE_ROOT,
	    .windows_path = "\\Windows",
	    .product = "",
	    .edition = "",
	    .version = "",
	    .build = "",
	    .computer = "",
	    .zone_name = "",
	    .key = "PC"};
	struct learn learn = {.survey = &fake->survey,
	    .system = &system,
	    .findings = findings,
	    .config = hive,
	    .software = hive,
	    .accounts = hive,
	    .control = HIVE_NO_CELL};

	fake->survey.systems = &system;
	fake->survey.n_systems = 1;
	fake->survey.findings = findings;
	system.windows = fake_folder(fake, 0, "Windows");
	findings_init(&learn.later);
	learn_identity(&learn);
	learn_licence(&learn);
	learn_letters(&learn);
	learn_persons(&learn);
	for (size_t i = 0; i < system.n_persons; i++) {
		learn_settings(&learn, &system.persons[i], hive, &learn.machine);
		learn_places(&learn, &system.persons[i], hive, &learn.machine);
		learn_pointers(&learn, &system.persons[i], hive);
		learn_start_counts(&learn, hive, i);
		learn_openers(&learn, hive, i);
		learn_licence_values(&learn, hive, i);
		learn_person_devices(&learn, &system.persons[i], hive, &learn.machine);
	}
	learn_programs(&learn, hive, "", SIZE_MAX);
	learn_store_apps(&learn);
	learn_licence_values(&learn, hive, SIZE_MAX);
	learn_activity(&learn);
	learn_machine_devices(&learn);
	assert(keep_things(&learn));
	system.traces = learn.traces;
	system.n_traces = learn.n_traces;
	system.programs = learn.programs;
	system.n_programs = learn.n_programs;
	system.openers = learn.openers;
	system.n_openers = learn.n_openers;
	system.licences = learn.licences;
	system.n_licences = learn.n_licences;
	assert(settle_traces(&fake->survey, &system) && sort_programs(&fake->survey, &system));
	assert(program_licences_find(&fake->survey, &system) && bulk_data_find(&fake->survey));
	show(&fake->survey);
	free(learn.programs);
	free(learn.traces);
	free(learn.openers);
	free(learn.licences);
	free(learn.things);
	findings_free(&learn.later);
	environment_free(&learn.machine);
	fake->survey.systems = NULL;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct hive *hive;
	struct findings findings;
	struct fake *fake;

	if (size > N_SLOTS * (MAX_LENGTH + 3))
		return 0;
	hive = make_hive(data, size);
	fake = calloc(1, sizeof(*fake));
	if (hive && fake) {
		findings_init(&findings);
		make_drives(fake);
		learn_all(fake, hive, &findings);
		fake_end(fake);
		findings_free(&findings);
	}
	free(fake);
	hive_close(hive);
	return 0;
}
