/*
 * Ties: what binds an old PC and its persons to others, and to the PC itself.
 *
 * Folders that are kept the same in the cloud and whose account that is (sync_roots.c), caches of
 * clients that show the cloud as a drive (cloud_drives.c), addresses that sign in somewhere
 * (sign_ins.c), organisations that the PC belongs to (managed.c), and keys and sessions that do not
 * move with the files (device_keys.c). Only names, addresses, places and sizes: no secret is ever
 * opened.
 */
#ifndef SYSTEM_TIES_H
#define SYSTEM_TIES_H

#include "system/survey.h"

#define TIES_LIMIT 128u /* of each kind, of one old system */

/* How a folder of the cloud is known. */
enum sync_source {
	SYNC_REGISTERED, /* its client registered it with the old system */
	SYNC_ACCOUNT,    /* its client's account names it */
	SYNC_FOLDER_TREE, /* its client put it into the desktop's tree of folders */
	SYNC_FILES,      /* its files carry the marks of the cloud */
};

struct sync_root {
	size_t person;       /* index in system.persons; SIZE_MAX: not known */
	enum sync_source from;
	const char *name;    /* how its client calls it; "" when not known */
	const char *address; /* of the account; "" when not known */
	const char *path;    /* old path */
	struct location at;  /* node NONE: not on the drives at hand */
	struct sum sum;
};

struct cloud_drive {
	size_t person;
	const char *path; /* of the folder with the cache and its list of files */
	struct location at;
	struct sum sum;
	int64_t newest;   /* FILETIME of the last change in the cache */
};

/* What an address signs in to. */
enum sign_in_kind {
	SIGN_IN_PC,     /* the old system itself */
	SIGN_IN_APPS,   /* the old system's own apps and store */
	SIGN_IN_OFFICE, /* office programs */
	SIGN_IN_SYNC,   /* a client of the cloud */
	SIGN_IN_BROWSER, /* a browser, which keeps its bookmarks and passwords there */
	SIGN_IN_MAIL,   /* a mail program */
	SIGN_IN_WORK,   /* a work or school account */
};

struct sign_in {
	size_t person;
	enum sign_in_kind kind;
	const char *address;
};

enum management {
	MANAGED_DOMAIN,    /* member of an organisation's domain */
	MANAGED_DIRECTORY, /* joined to an organisation's directory in the cloud */
	MANAGED_ENROLLED,  /* enrolled for management of devices */
	MANAGED_POLICY,    /* told to enrol by a policy */
	MANAGED_ACCOUNT,   /* only a work or school account was added by a person */
};

struct managed_by {
	enum management how;
	size_t person;       /* MANAGED_ACCOUNT; else SIZE_MAX */
	const char *name;    /* of the domain or organisation; "" when not known */
	const char *address; /* that joined or enrolled it; "" when not known */
};

/* What stays with the PC, or with a session on it. */
enum bound_kind {
	BOUND_SIGN_IN,       /* PIN, fingerprint, face, and passkeys of the old system */
	BOUND_CHIP,          /* keys that only the PC's security chip can use */
	BOUND_CERTIFICATES,  /* a person's certificates */
	BOUND_KEYS,          /* keys that open other computers, or sign and decrypt mail */
	BOUND_AUTHENTICATOR, /* a program that makes one-time codes */
	BOUND_SESSION,       /* a program that keeps a sign-in and what it shows in a store of its own */
};

struct bound {
	enum bound_kind kind;
	size_t person; /* SIZE_MAX: of the machine */
	const char *path;
	uint64_t files;
};

struct ties {
	struct sync_root sync_roots[TIES_LIMIT];
	size_t n_sync_roots;
	struct cloud_drive cloud_drives[TIES_LIMIT];
	size_t n_cloud_drives;
	struct sign_in sign_ins[TIES_LIMIT];
	size_t n_sign_ins;
	struct managed_by managed[TIES_LIMIT];
	size_t n_managed;
	struct bound bound[TIES_LIMIT];
	size_t n_bound;
};

/* "registered", "account", "folder-tree", "cloud-files". */
const char *sync_source_name(enum sync_source source);
/* "pc", "mail", ...; and for people: "signing in to this PC". */
const char *sign_in_name(enum sign_in_kind kind);
const char *sign_in_words(enum sign_in_kind kind);
/*
 * One address with all that it signs in to: "mara@fernhill.example: a mail program; office programs",
 * appended. False, and nothing is, where an earlier row has it.
 */
bool sign_ins_to_text(const struct ties *ties, size_t index, struct buf *text);
/* "domain", ...; and as a sentence without its end: "it is a member of the domain", ... */
const char *management_name(enum management how);
const char *management_words(enum management how);
/* "chip", ...; and for people: "keys that only this PC's security chip can use". */
const char *bound_name(enum bound_kind kind);
const char *bound_words(enum bound_kind kind);

/* Is it an e-mail address, or looks like one, with nothing around it? */
bool is_address(const char *text);

/* Does the PC belong to, or is it managed by, an organisation? */
bool ties_is_managed(const struct old_system *system);
/* "joined to the directory of Fernhill School by caretaker@school.example": appends it. */
void managed_to_text(const struct managed_by *managed, struct buf *text);

struct json;
/* What is known of one old system as members of an object that is open; persons by their keys. */
void ties_to_json(const struct old_system *system, struct json *json);
/* accounts.json: an array, one object for each old system. */
void accounts_to_json(const struct survey *survey, struct json *json);

#endif
