/*
 * The survey: everything learned from the drives before a byte of anybody's files is read.
 *
 * survey_run() opens the sources, reads tables, volumes and catalogues, finds every old system, and
 * learns from its hives whose PC it was and where everything is. The result is plain data in one
 * arena; nothing changes it afterwards. Indexes into the arrays here are the links between its
 * parts.
 */
#ifndef SYSTEM_SURVEY_H
#define SYSTEM_SURVEY_H

#include "base/arena.h"
#include "base/buf.h"
#include "base/error.h"
#include "base/finding.h"
#include "disk/drives.h"
#include "disk/faults.h"
#include "disk/partition.h"
#include "disk/sets.h"
#include "disk/source.h"
#include "ntfs/catalogue.h"
#include "ntfs/volume.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* One SOURCE of the command line. */
struct survey_drive {
	struct drive about;
	struct faults faults; /* what it says of itself */
	struct source *source;
	struct table table;
	struct set set;
	bool left_out; /* a further copy of a mirror: none of its volumes is listed */
};

/* One volume of any file system; only NTFS has a `volume`. */
struct survey_volume {
	size_t drive; /* index in survey.drives */
	const struct partition *partition;
	enum filesystem filesystem;
	struct volume *volume; /* NULL: not NTFS or not readable */
	char letter;           /* 'C', or 0 when no old system names one */
	/*
	 * How the volume is called in record, findings and archive paths, unique in the job: "C:"
	 * with a letter, otherwise the label, otherwise "drive-1-partition-4".
	 */
	const char *name;
	bool is_system_partition; /* EFI, reserved, recovery: nobody's files */
};

enum confidence {
	CONFIDENCE_CERTAIN, /* GPT partition GUID, or signature and offset of one attached volume */
	CONFIDENCE_LIKELY,  /* offset scaled by a sector size, or only one volume is left */
	CONFIDENCE_DOUBTFUL, /* two attached volumes answer to it (cloned signature) */
};

/* A drive letter that an old system knew. */
struct letter {
	char letter;
	size_t volume; /* index in survey.volumes, SIZE_MAX: its drive is not attached */
	enum confidence confidence;
	bool removable;   /* known by a device path: a stick, card or optical drive */
	const char *what; /* in words: "partition {guid}", "drive signature 1a2b3c4d, offset 1 MiB",
			     "USB drive ..." */
};

/* A volume name, "Volume{guid}", that an old system knew: junctions and mount points use them. */
struct mount {
	struct guid guid;
	size_t volume; /* index in survey.volumes, SIZE_MAX: not attached */
};

enum place_status {
	PLACE_HERE,          /* where the old system puts it by default */
	PLACE_REDIRECTED,    /* elsewhere on the same volume */
	PLACE_OTHER_VOLUME,  /* on another attached volume */
	PLACE_DRIVE_MISSING, /* on a letter whose drive is not attached */
	PLACE_SHARE,         /* on a network share */
	PLACE_MISSING,       /* the folder is not there */
};

/* A location in the catalogue. */
struct location {
	size_t volume; /* index in survey.volumes, SIZE_MAX: none */
	uint32_t node; /* NONE: not there */
};

struct place {
	const char *role;   /* "documents", "pictures", ...: place_roles[] */
	const char *folder; /* its name in the archive: "Documents" */
	enum place_status status;
	bool in_cloud_folder; /* lies in a folder kept by a cloud-sync client */
	const char
	    *value; /* as the hive has it, unexpanded; NULL: nothing there, the default is used */
	const char *path; /* expanded old path, "D:\Photos" */
	const char *from; /* "User Shell Folders", "Shell Folders", "default" */
	struct location at;
	struct location
	    leftover; /* the default folder when the place is redirected and that exists too */
	struct location offline; /* a share's offline copies, if the old system kept them */
};

struct person {
	const char *sid;       /* "" when no hive mentions the folder */
	const char *account;   /* "" when unknown */
	const char *full_name; /* "" when none */
	const char *domain;    /* "" for a local account of this PC */
	const char *folder;    /* name of the profile folder */
	const char *path;      /* old path of the profile as the hive has it, expanded */
	const char *key; /* unique short name within the old system, for archive paths and parts */
	struct location profile; /* resolved through a junction */
	bool has_hive;           /* NTUSER.DAT could be read */
	bool is_service;         /* service account: listed, never taken */
	bool is_backup_twin;     /* from a ".bak" entry */
	bool is_temporary;       /* temporary profile */
	bool is_unlisted;        /* a folder that no hive mentions */
	struct place *places;
	size_t n_places;
	/* Folders of settings (AppData) that were moved; those in the profile are not listed. */
	struct place *settings;
	size_t n_settings;
};

enum program_origin {
	PROGRAM_RECORD,    /* its installer left a record */
	PROGRAM_STORE_APP, /* a package of the old system's store */
	PROGRAM_PORTABLE,  /* only known because it was started: it was never installed */
};

/* How a program is sorted: see traces.h. */
enum program_kind {
	PROGRAM_UNSORTED,
	PROGRAM_USED,
	PROGRAM_NO_TRACE,
	PROGRAM_CAME_WITH, /* with the machine or its old system, and no trace of use */
	PROGRAM_PART,      /* of another program */
	PROGRAM_DEVICE,    /* driver or utility of a device */
};

/* Where a program's name comes from. */
enum name_source {
	NAME_FROM_RECORD, /* of its installer */
	NAME_FROM_FILE,   /* the name of its file */
	NAME_FROM_HIVE,   /* store apps: what the old system showed */
	NAME_FROM_MANIFEST,
	NAME_FROM_PACKAGE, /* its package's name, taken apart into words */
};

enum trace_source {
	TRACE_START_COUNT, /* counted by the desktop: start_count.h */
	TRACE_ACTIVITY,    /* noted by the moderator of background activity */
	TRACE_RUN,         /* run_trace.h */
	TRACE_JUMP_LIST,   /* something was opened with it: jump_list.h */
	TRACE_DOCUMENTS,   /* of the kinds that open with it some were opened: openers.h */
	TRACE_SOURCES,
};

/* That a program was started. */
struct trace {
	enum trace_source source;
	size_t person;    /* index in system.persons; SIZE_MAX: not told */
	const char *path; /* of the program as noted; after traces_read() an old path where known */
	uint32_t count;   /* starts, or documents; 0: not told */
	int64_t last;     /* FILETIME */
};

/* What all traces of one source say of a program. */
struct program_use {
	int64_t last;   /* FILETIME, 0: none */
	uint32_t count; /* starts, of documents: how many; 0: not told */
};

/* Where a shortcut to a program lies; the bits of program.shortcuts. */
enum shortcut_kind {
	SHORTCUT_PINNED = 1, /* to the task bar or the start menu, or in the quick launch bar */
	SHORTCUT_DESKTOP = 2,
	SHORTCUT_MENU = 4, /* the start menu, where installers put it */
};

struct shortcut {
	enum shortcut_kind kind;
	size_t person;          /* index in system.persons; SIZE_MAX: for all */
	struct location at;     /* of the shortcut itself */
	const char *target;     /* old path of the program */
	const char *identity;   /* under which its windows and jump lists go; "" when not told */
};

/* What opens a kind of file when a person opens one: see openers.h. */
struct opener {
	size_t person;
	const char *extension; /* ".plan" */
	const char *program;   /* old path, identity of a store app, or only the file's name */
	uint32_t documents;    /* of the recent ones; counted by traces_read() */
	int64_t last;          /* FILETIME of the latest of them */
};

struct program {
	const char *name, *publisher, *version; /* "" when not recorded */
	const char *installed;                  /* date as recorded, "2024-05-17"; "" when not */
	uint64_t size;                          /* bytes as recorded, 0: not */
	const char *folder;                     /* old path, "" when not recorded */
	const char *web_page;
	size_t person; /* index in system.persons; SIZE_MAX: of the machine */
	bool is_32_bit;
	bool is_component; /* a part of the old system or of another program */
	bool is_update;
	const char *key; /* name of the record's key */
	enum program_origin origin;
	enum name_source name_from;
	bool is_inbox;      /* store apps: came with the old system */
	const char *family; /* store apps: what traces call it; else NULL */
	const char *place;  /* folder in which its files lie as far as known; NULL: not known */
	/* From here on set by traces_read(). */
	enum program_kind kind;
	const char *why;     /* it is sorted so: plain words; NULL before */
	int64_t last_seen;   /* FILETIME of the last trace, 0: none */
	uint32_t starts;     /* as counted by the source that counted most, 0: not told */
	enum trace_source seen_by;
	struct program_use uses[TRACE_SOURCES];
	uint8_t shortcuts; /* bits: enum shortcut_kind */
	uint64_t bytes_on_drive; /* in its own folder, 0: not known */
	const char *installer; /* old path of a file that installs it; NULL: none was found */
	const char *installer_version; /* as that file says, "" when it does not */
};

/* What a list of things opened last names: see recent_lists.h. */
struct recent {
	size_t person;    /* index in system.persons */
	const char *path; /* old path; or a document's name alone, without any separator */
	int64_t used;     /* FILETIME, 0: not told */
};

/* A file on an attached drive that a shortcut or a list of things opened last leads to. */
struct opened {
	size_t person;
	struct location at;
	int64_t used; /* FILETIME, 0: not told */
};

/* What a licence belongs to: see licence.h. */
enum licence_kind {
	LICENCE_UNKNOWN,
	LICENCE_FIRMWARE, /* the PC, with its key in the firmware */
	LICENCE_PC,
	LICENCE_RETAIL,
	LICENCE_ORGANISATION,
	LICENCE_TRIAL,
};

struct licence {
	enum licence_kind kind;
	const char *channel; /* as the hive has it, "OEM:DM"; "" when unknown */
};

/* A driver of a printer or scanner that the old system keeps whole: driver_packages.h. */
struct driver_package {
	bool is_scanner; /* or camera; otherwise a printer */
	const char *provider, *version; /* as its set-up file says; version: "09/04/2018,2.4" */
	const char *folder;             /* old path of the package */
	unsigned bits;                  /* 64, 32; 0: not told */
	uint64_t bytes;                 /* of all its files */
};

struct thing;

/* A file or value that is, most likely, the licence of a program: only where it is. */
struct program_licence {
	size_t program;    /* index in system.programs, SIZE_MAX: not told */
	size_t person;     /* index in system.persons, SIZE_MAX: of the machine */
	bool is_value;     /* of the registry; otherwise a file */
	const char *where; /* old path, or key and name: "HKEY_LOCAL_MACHINE\SOFTWARE\..." */
};

struct old_system {
	size_t volume;            /* index in survey.volumes */
	uint32_t windows;         /* node of the Windows folder */
	const char *windows_path; /* "\Windows" */
	uint32_t container; /* folder that stands for C:\ : the volume's root, or "Windows.old" */
	char letter;        /* its own drive letter, 'C' when unknown */
	const char *product, *edition, *version, *build; /* "" when unknown */
	const char *computer;                            /* name; "" when unknown */
	const char *key;       /* unique name for archive paths ("FERNHILL-PC") */
	const char *zone_name; /* time zone key name */
	int32_t bias, standard_bias, daylight_bias; /* minutes, UTC = local + bias */
	/*
	 * When standard and daylight time begin, as SYSTEMTIME ([MS-DTYP] 2.3.13): with year 0, day
	 * 1 to 5 is the first to last such day of the week in that month; month 0: there is no
	 * daylight time.
	 */
	uint8_t standard_start[16], daylight_start[16];
	bool has_zone;
	int64_t last_shutdown; /* FILETIME, 0 unknown */
	int64_t installed;     /* FILETIME, 0 unknown */
	int64_t last_used;     /* FILETIME: the latest of last shutdown and last write to SYSTEM */
	struct licence licence;
	bool is_copy;          /* inside a folder (Windows.old and the like) */
	struct letter *letters;
	size_t n_letters;
	struct mount *mounts;
	size_t n_mounts;
	struct person *persons;
	size_t n_persons;
	struct location public_profile;
	struct location profiles; /* the folder of profiles: \Users or \Documents and Settings */
	struct location default_profile;
	struct place *shared; /* shared places: Common Documents, ... */
	size_t n_shared;
	struct program *programs;
	size_t n_programs;
	struct trace *traces;
	size_t n_traces;
	struct opener *openers;
	size_t n_openers;
	struct program_licence *licences; /* traces_read() adds files, and whose they are */
	size_t n_licences;
	struct shortcut *shortcuts; /* to programs; set by traces_read() */
	size_t n_shortcuts;
	struct driver_package *drivers; /* set by traces_read() */
	size_t n_drivers;
	struct recent *recents;
	size_t n_recents;
	struct opened *opened; /* set by traces_read() */
	size_t n_opened;
	const struct ties *ties; /* accounts, the cloud, organisations: ties.h; NULL: nothing learned */
	struct thing *things; /* devices.h; those in files are added by traces_read() */
	size_t n_things;
};

/* What one account has in the recycle bin of one volume: see recycle_bin.h. */
struct bin {
	size_t volume;
	uint32_t folder; /* node */
	const char *sid;
	size_t system, person; /* indexes of the person; SIZE_MAX: not known here */
};

/* Something that was deleted, as it lies in a bin. */
struct deleted {
	size_t volume;
	uint32_t entry; /* of its name in the bin, "$R5EED01.txt" */
	size_t bin;     /* index in survey.bins */
	const char *was; /* old path; NULL: not told any more */
	int64_t when;    /* FILETIME at which it was deleted; 0: not told */
	uint64_t files, bytes;
	bool is_folder; /* with all that is in it */
	bool is_recent; /* deleted shortly before the old system was last used */
};

/* Much data of a program, or of a library of games: bulk_data.h. */
struct bulk {
	struct location at;
	const char *path;       /* with the volume in front */
	size_t system, program; /* program: SIZE_MAX for a library; system: then 0 */
	uint64_t bytes;
	size_t n_games; /* of a library */
};

/* A piece or folder that a file check of the old system set aside: see found_files.h. */
struct found_file {
	size_t volume;
	uint32_t entry;
	uint64_t files, bytes;
	const char *ending; /* what it begins like, "jpg"; NULL: not told */
	bool is_folder;
};

struct progress;

struct survey {
	struct arena arena;
	struct survey_drive *drives;
	size_t n_drives;
	struct survey_volume *volumes;
	size_t n_volumes;
	struct old_system *systems; /* the most recently used first */
	size_t n_systems;
	struct bin *bins; /* set by recycle_bins_read(), like what follows */
	size_t n_bins;
	struct deleted *deleted; /* sorted by volume and entry */
	size_t n_deleted;
	struct bulk *bulks; /* set by traces_read() */
	size_t n_bulks;
	struct found_file *found; /* set by found_files_read() */
	size_t n_found;
	struct findings *findings; /* not owned */
	struct progress *progress; /* not owned, NULL: silent */
};

/*
 * Surveys the sources (paths of block devices or images). False with *error when a source cannot be
 * opened at all (STATUS_NO_VOLUME...), when no NTFS volume could be read (STATUS_NO_VOLUME), or
 * memory runs out. survey_free() is needed in either case. `progress`, which may be NULL, is told
 * how many bytes of file tables were read.
 */
bool survey_run(struct survey *survey, const char *const *paths, size_t n_paths,
    struct progress *progress, struct findings *findings, struct error *error);
/* The same without asking the drives about their health, for a caller that has done so. */
bool survey_run_unasked(struct survey *survey, const char *const *paths, size_t n_paths,
    struct progress *progress, struct findings *findings, struct error *error);
/*
 * The same as survey_run() for drives that nobody named: one that cannot be opened is a finding (loss) and the
 * others go on; STATUS_NO_VOLUME when none can be.
 */
bool survey_run_chosen(struct survey *survey, const char *const *paths, size_t n_paths,
    struct progress *progress, struct findings *findings, struct error *error);
/*
 * The same as survey_run(), or as one of the others, for a caller who wants a word before anything
 * is read: `opened` is called once, when all drives are open and described. False with *error ends
 * the survey.
 */
struct survey_way {
	bool chosen, unasked;
	bool (*opened)(void *context, const struct survey *survey, struct error *error);
	void *context;
};
bool survey_run_with(struct survey *survey, const char *const *paths, size_t n_paths,
    const struct survey_way *way, struct progress *progress, struct findings *findings,
    struct error *error);
void survey_free(struct survey *survey);

/*
 * Where an old path ("D:\Photos\2019", "\\server\share\x", "Volume{guid}\x") lies for this old
 * system; junctions and links on the way are followed (at most 32). location.volume is SIZE_MAX
 * when its drive is not attached or it lies on a share, location.node NONE when the folder is not
 * there.
 */
struct location survey_resolve(
    const struct survey *survey, const struct old_system *system, const char *path);

/*
 * The old system's time zone as a POSIX TZ value ("<+01>-1<+02>-2,M3.5.0/2,M10.5.0/3"). False when
 * it is not known or does not fit.
 */
bool zone_to_posix(const struct old_system *system, char *out, size_t size);

/* What lies below a folder, junctions and links not followed, without the file system's own files.
 */
struct sum {
	uint64_t files, folders;           /* a file with two names there counts once */
	uint64_t bytes;                    /* of all streams of the files */
	uint64_t cloud_files, cloud_bytes; /* of these: not, or only partly, on the drive */
	uint64_t part_files, part_bytes;   /* of those: partly */
	uint64_t missing_bytes;            /* of those: not on the drive */
};
struct sum survey_sum(const struct survey *survey, struct location location);

/* "here", "redirected", "other-volume", "drive-missing", "share", "missing". */
const char *place_status_name(enum place_status status);

/* The survey as one JSON object; findings included. */
struct json;
void survey_to_json(const struct survey *survey, struct json *json);

/*
 * programs.json: an object with "programs", "other_licences", "game_libraries" and "driver_packages", over all old systems, as each old
 * system has them in the survey.
 */
void programs_to_json(const struct survey *survey, struct json *json);

#endif
