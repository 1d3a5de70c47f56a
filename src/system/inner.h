/*
 * What the files of src/system share among themselves while a survey is being made.
 *
 * Each file owns one idea; this page says how they fit together. survey.c opens drives, volumes and
 * catalogues and calls find_systems(); each old system is then learned by learn_system(), which
 * loads the machine's hives and goes through identity, letters, persons (with places and programs).
 */
#ifndef SYSTEM_INNER_H
#define SYSTEM_INNER_H

#include "base/arena.h"
#include "base/buf.h"
#include "hive/hive.h"
#include "system/survey.h"

#define NO_LOCATION ((struct location){SIZE_MAX, NONE})

/* --- environment.c: variables such as %USERPROFILE% --- */

struct variable {
	const char *name, *value; /* in the survey's arena */
};

struct environment {
	struct variable *items;
	size_t count, capacity;
};

void environment_free(struct environment *environment);
/* A later value replaces an earlier one; names are compared without regard to case. */
bool environment_set(
    struct environment *environment, struct arena *arena, const char *name, const char *value);
const char *environment_get(const struct environment *environment, const char *name);
bool environment_copy(struct environment *to, const struct environment *from);
/*
 * Replaces %NAME% in `text`, also inside values, up to a depth and length that no honest hive
 * reaches. An unknown variable stays as it is and its name goes to *unknown (NULL otherwise). NULL:
 * no memory.
 */
char *environment_expand(const struct environment *environment, const char *text,
    struct arena *arena, const char **unknown);
/* Adds all texts of a hive's key. */
bool environment_add_key(struct environment *environment, const struct hive *hive, hive_cell key,
    const char *path, struct arena *arena);

/* --- what is open while one old system is being learned --- */

struct learn {
	struct survey *survey;
	struct old_system *system;
	struct findings *findings;
	struct findings later; /* what matters less, to be told behind the rest */
	struct hive *config;   /* SYSTEM; NULL: not readable */
	hive_cell control;     /* its current control set, or HIVE_NO_CELL */
	struct hive *software; /* SOFTWARE; NULL: not readable */
	struct hive *accounts; /* SAM; NULL: not readable */
	struct environment machine;
	struct program *programs; /* grows; copied into the arena at the end */
	size_t n_programs, programs_capacity;
	struct trace *traces; /* the same */
	size_t n_traces, traces_capacity;
	struct opener *openers; /* the same */
	size_t n_openers, openers_capacity;
	struct recent *recents; /* the same */
	size_t n_recents, recents_capacity;
	struct thing *things; /* the same: devices.h */
	size_t n_things, things_capacity;
	size_t things_bytes; /* of their texts */
	struct program_licence *licences; /* the same */
	size_t n_licences, licences_capacity;
	const char *profiles_path, *public_path, *default_path; /* old paths */
	struct ties *ties; /* see ties_of() */
	bool sync_read;    /* learn_registered() was here */
	bool is_nt5;       /* 2000 and XP: Documents and Settings */
	bool session_open; /* a person's hive had changes that were not written back */
	bool no_memory;
};

/* The key of the machine's SOFTWARE hive that names version, profiles and time zones. */
#define KEY_NT "Microsoft\\Windows NT\\CurrentVersion"
#define KEY_WINDOWS "Microsoft\\Windows\\CurrentVersion"

/* Text in the survey's arena; "" with learn->no_memory set when memory runs out, never NULL. */
const char *learn_text(struct learn *learn, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/*
 * hive_text() kept in the survey's arena, or NULL. A text of more than TEXT_LIMIT bytes counts as
 * not there: values can share one large cell, and thousands of copies of it would fill the memory.
 */
#define TEXT_LIMIT 4096 /* bytes: more than any path or name of the old system that was ever used  \
			 */
char *learn_hive_text(struct learn *learn, const struct hive *hive, hive_cell key, const char *path,
    const char *name);

/* The catalogue of a volume of the survey, or NULL. */
const struct catalogue *survey_catalogue(const struct survey *survey, size_t volume);
/* "partition 1 of /dev/sdb (Daten)": for sentences. */
const char *survey_volume_words(const struct survey *survey, size_t volume, struct arena *arena);

/* Findings made while something had only a first name get the one it goes by from now on. */
void findings_rename(struct findings *findings, const char *from, const char *to);

/* Was the program asked to stop (stop.h)? Then with *error. */
bool survey_is_stopped(struct error *error);

/* --- find_systems.c --- */

/* Fills survey->systems with volume, windows, windows_path, container and is_copy. */
bool find_systems(struct survey *survey, struct error *error);

/* --- load_hive.c --- */

/*
 * Loads SYSTEM, SOFTWARE or SAM with its logs; `words` says what it holds ("settings of the machine
 * (SYSTEM)"). Where it is not there, or so damaged that it does not tell the main thing any more,
 * the newest copy that does is used (hive_copies.c). What was mended, lost, or used instead becomes
 * findings. NULL when there is nothing.
 */
struct hive *load_machine_hive(struct learn *learn, const char *name, const char *words);
/*
 * The same for a person's NTUSER.DAT. One that is another person's, by the folders that it names
 * (whose_hive.c), is not used.
 */
struct hive *load_person_hive(struct learn *learn, const struct person *person);
/* UsrClass.dat, what a person's programs registered; silently. NULL when there is none. */
struct hive *load_class_hive(struct learn *learn, const struct person *person);
/* UsrClass.dat of a person, without findings. */
struct hive *load_classes_hive(struct learn *learn, const struct person *person);

/* --- hive_copies.c: where the old system keeps copies of its hives --- */

struct hive_copy {
	size_t volume;
	uint32_t folder; /* node */
	const char *name;
};

#define HIVE_COPIES_MAX 40
/*
 * Finds the copies of a machine's hive, or of a person's, best first: newest, and of this very old
 * system before another one's. `name` is "SYSTEM", "SOFTWARE" or "SAM". Returns their number.
 */
size_t hive_copies_of_machine(
    struct learn *learn, const char *name, struct hive_copy copies[HIVE_COPIES_MAX]);
size_t hive_copies_of_person(struct learn *learn, const struct person *person,
    struct hive_copy copies[HIVE_COPIES_MAX]);

/* --- whose_hive.c --- */

/*
 * The other person of the old system whose profile the hive's own list of folders names, while it
 * never names this person's; NULL: nothing speaks against it.
 */
const struct person *hive_names_other(
    const struct learn *learn, const struct person *person, const struct hive *hive);

/* --- identity.c, letters.c --- */

void learn_identity(struct learn *learn);
/* The set of settings that was in use, of a SYSTEM hive; HIVE_NO_CELL when there is none. */
hive_cell current_control_set(const struct hive *hive);
void learn_letters(struct learn *learn);
/* The rules of a hive's TimeZoneInformation key: 16 bytes as the kernel orders them (TIME_FIELDS)
 * into the order of SYSTEMTIME. */
void zone_rule_from_hive(const uint8_t hive[16], uint8_t rule[16]);

enum device_kind {
	DEVICE_UNKNOWN,
	DEVICE_SIGNATURE, /* MBR disk signature and offset */
	DEVICE_PARTITION, /* GPT partition GUID */
	DEVICE_PATH,      /* text that names the device: removable drives */
};

/* One value of MountedDevices. */
struct device_id {
	enum device_kind kind;
	uint32_t signature;
	uint64_t offset;
	struct guid partition;
	const char *path;
};
struct device_id device_id_read(const uint8_t *data, size_t length, struct arena *arena);
/* In words: see struct letter. Never NULL. */
const char *device_id_words(const struct device_id *id, struct arena *arena);
struct device_match {
	size_t volume; /* SIZE_MAX: not attached */
	enum confidence confidence;
	size_t others; /* how many more attached volumes answer to it */
};
/* `home` is the index of the drive that is preferred among several (the old system's own). */
struct device_match device_id_match(
    const struct survey *survey, const struct device_id *id, size_t home);

/* --- persons.c, accounts.c --- */

void learn_persons(struct learn *learn);
bool sid_is_service(const char *sid);

/* User name and full name from the V value of an account in SAM. */
struct account {
	const char *name, *full_name;
};
bool account_from_v(const uint8_t *v, size_t length, struct arena *arena, struct account *account);
/* What SAM and the last sign-ins know of a SID: account, full name, domain. */
void learn_account(struct learn *learn, struct person *person);

/* A name for archive paths: reserved characters replaced, cut to a sensible length. Never empty. */
const char *key_make(struct arena *arena, const char *name, const char *otherwise);
/* `key`, or `key-2`, `key-3`..., so that `taken` (called with `context`) says no. */
const char *key_unique(struct arena *arena, const char *key,
    bool (*taken)(const void *context, const char *key), const void *context);

/* --- resolve.c --- */

enum reached {
	REACHED,        /* location is where it lies */
	REACHED_NOT,    /* the folder is not there */
	REACHED_DRIVE,  /* the drive is not attached */
	REACHED_SHARE,  /* on a network share */
	REACHED_UNREAD, /* on an attached volume that cannot be read */
};

struct resolved {
	enum reached reached;
	struct location at;
	bool by_link; /* a junction or link was followed */
	char *path;   /* where the way ended, after links: "\\server\share\x", "E:\Music" */
};
/* survey_resolve() with the reason. `path` in `arena`. */
struct resolved resolve_path(const struct survey *survey, const struct old_system *system,
    const char *path, struct arena *arena);
bool path_is_share(const char *path);
/* Past "\\?\", "\??\" and "\\.\", which only say that the rest is meant literally. */
const char *path_without_prefix(const char *path);

/* --- places.c --- */

struct place_role {
	const char *role, *folder;
	const char
	    *names[3]; /* value names in `User Shell Folders`, the first that is there counts */
	const char *parent; /* role of the place that it lies in by default, or NULL: the profile */
	const char *path;   /* default path below that; NULL: none */
	const char *nt5_path; /* the same in 2000 and XP, always below the profile */
};
extern const struct place_role place_roles[];
extern const size_t n_place_roles;
extern const struct place_role settings_roles[];
extern const size_t n_settings_roles;
extern const struct place_role shared_roles[];
extern const size_t n_shared_roles;

/*
 * Where a person's folders of settings were moved to, also in the variables APPDATA and
 * LOCALAPPDATA; `hive` may be NULL.
 */
void learn_settings(struct learn *learn, struct person *person, const struct hive *hive,
    struct environment *environment);
/* A person's places; `hive` may be NULL. */
void learn_places(struct learn *learn, struct person *person, const struct hive *hive,
    const struct environment *environment);
void learn_shared_places(struct learn *learn);

/* --- programs.c --- */

/* Reads the records in one hive below `path` ("" or "Software\\"), of `person` (SIZE_MAX: machine).
 */
void learn_programs(struct learn *learn, const struct hive *hive, const char *path, size_t person);

/* --- pointers.c --- */

/* Findings on folders that a person's settings name and that are elsewhere; `hive` may be NULL. */
void learn_pointers(struct learn *learn, const struct person *person, const struct hive *hive);

/* --- learn_devices.c: devices and connections --- */

void learn_machine_devices(struct learn *learn);
void learn_person_devices(struct learn *learn, const struct person *person, const struct hive *hive,
    const struct environment *environment);

/* --- licence.c --- */

void learn_licence(struct learn *learn);

/* Keeps one program. */
void learn_program(struct learn *learn, const struct program *program);

/* --- learn_traces.c --- */

#define TRACE_LIMIT 20000u
#define STORE_APP_LIMIT 5000u
/* Keeps a trace; its path is copied. */
void learn_trace(struct learn *learn, const struct trace *trace);
void learn_start_counts(struct learn *learn, const struct hive *hive, size_t person);
void learn_activity(struct learn *learn);
void learn_store_apps(struct learn *learn);

/* --- traces.c --- */

/* Is the volume's drive failing, so that nothing is read for traces' sake? */
bool traces_spare(const struct survey *survey, size_t volume);

/* --- openers.c --- */

/* What opens the kinds of files that a person opened; learn->software has the kinds. */
void learn_openers(struct learn *learn, const struct hive *hive, size_t person);

/* --- licence_values.c --- */

/* Notes where a hive has values that look like serial numbers; person: SIZE_MAX for the machine. */
void learn_licence_values(struct learn *learn, const struct hive *hive, size_t person);

/* --- recent_lists.c --- */

/* Keeps what the person's lists of things opened last name. */
void learn_recent(struct learn *learn, const struct hive *hive, size_t person);

/* --- sort_programs.c --- */

/* Gives traces old paths of programs, through shortcuts too. False: no memory. */
bool settle_traces(struct survey *survey, struct old_system *system);
/* Sets what struct program says from its traces; adds programs that only they know. */
bool sort_programs(struct survey *survey, struct old_system *system);

/* --- programs_json.c --- */

struct json;
/*
 * The keys "programs", "other_licences", "game_libraries" and "driver_packages" of an object: arrays
 * over these old systems of the survey.
 */
void programs_keys_to_json(const struct survey *survey, const struct old_system *systems,
    size_t n_systems, struct json *json);

/* --- state.c --- */

/* Finding on how one old system's session ended. */
void learn_state(struct learn *learn);
/* Does `at` lie in (or is it) the folder `above`? */
bool lies_below(const struct survey *survey, struct location at, struct location above);

/* --- ties.c, and one file for each kind of tie: see ties.h --- */

struct ties;
/* Where they are kept, made when first asked for; NULL: no memory. */
struct ties *ties_of(struct learn *learn);
/* What a person's hive tells; `person` is an index. Findings come later. */
void learn_person_ties(struct learn *learn, size_t person, const struct hive *hive);
/* What the machine's hives and the folders tell, and the findings on all of it. */
void learn_ties(struct learn *learn);

/* "mara" for findings: account or folder; "somebody" for SIZE_MAX. */
const char *person_words(const struct old_system *system, size_t person);

/* settings_walk.c */
/* A person's folder of settings, where it is by default (below the profile) or was moved to. */
struct location settings_folder(const struct survey *survey, const struct person *person,
    const char *role, const char *path);
/*
 * Calls `look` for every folder of a person's settings, some levels deep; links are not followed.
 * What is in the folder is in its catalogue.
 */
typedef void look_at_folder(
    struct learn *learn, size_t person, const struct catalogue *catalogue, struct location folder);
void settings_walk(struct learn *learn, size_t person, look_at_folder *look);
/* "D:\\Photos" by the letters that the old system knew, else by the volume's name. Never NULL. */
const char *old_path_of(struct learn *learn, struct location at);

/* sync_roots.c */
/*
 * Keeps a folder, or adds to what is known of it; `path` (nothing is kept unless it is one in full), name
 * and address may be NULL.
 */
void keep_sync_root(struct learn *learn, size_t person, unsigned from, const char *path,
    const char *name, const char *address);
void learn_registered(struct learn *learn); /* does it once */
void learn_sync_accounts(struct learn *learn, size_t person, const struct hive *hive);
void learn_sync_roots(struct learn *learn);
void report_sync_roots(struct learn *learn);
/* shell_folders.c */
void learn_shell_folders(struct learn *learn, size_t person, const struct hive *hive);
/* cloud_drives.c */
void learn_cloud_drives(struct learn *learn);
/* sign_ins.c: keeps one address, once for each person and kind */
void keep_sign_in(struct learn *learn, size_t person, unsigned kind, const char *address);
void learn_person_sign_ins(struct learn *learn, size_t person, const struct hive *hive);
void learn_sign_ins(struct learn *learn);
/* managed.c */
void learn_person_managed(struct learn *learn, size_t person, const struct hive *hive);
void learn_managed(struct learn *learn);
/* device_keys.c */
void learn_device_keys(struct learn *learn);

#endif
