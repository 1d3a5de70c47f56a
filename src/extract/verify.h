/*
 * Proving a job from its own files: every byte of every part against proof and record.
 *
 * A job can lie at several destinations, with a folder at each. Parts in folders that were not given
 * are not looked at, and the job is not proven then.
 *
 * Nothing of the code that writes jobs is used, and nothing outside the job's folders is ever
 * opened: names from its files are checked before they are used, and symbolic links are refused.
 * Parts are read as a stream; memory is about 250 bytes and the path for each file of the job.
 *
 * Sources: RFC 8493 (BagIt 1.0) for bagit.txt, bag-info.txt and the manifests; GNU coreutils
 * manual, "cksum output modes" and "md5sum invocation", for SHA256SUMS; RFC 8259 for the record.
 */
#ifndef EXTRACT_VERIFY_H
#define EXTRACT_VERIFY_H

#include "base/arena.h"
#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct json;

/* What can be wrong, in the order in which it is told. The names are stable: difference_code(). */
enum difference_kind {
	DIFFERS_UNFINISHED,   /* a journal, salvage, or a file that is marked as unfinished */
	DIFFERS_NO_FILE,      /* a file that every job has is missing */
	DIFFERS_STRANGE_FILE, /* a link or device where a plain file should be */
	DIFFERS_FORM,         /* a file of the job that is not written as it should be */
	DIFFERS_UNSAFE_NAME,  /* a name that would lead out of the archive */
	DIFFERS_BAG,          /* a rule of RFC 8493 */
	DIFFERS_TAG_FILE,     /* a tag file's hash */
	DIFFERS_PROOF,        /* two files of the proof that contradict each other */
	DIFFERS_ACCOUNT,      /* sums */
	DIFFERS_PART_MISSING,
	DIFFERS_PART_EXTRA,
	DIFFERS_PART_HASH,
	DIFFERS_PART_BROKEN,    /* cannot be read to its end */
	DIFFERS_NO_RECORD_LINE, /* a file of the proof or a part without a line in the record */
	DIFFERS_NO_PROOF,       /* a line in the record without a hash in the proof */
	DIFFERS_RECORD,         /* record and proof contradict each other */
	DIFFERS_MISSING,        /* a file that no part holds */
	DIFFERS_EXTRA,          /* a file that should be in no part */
	DIFFERS_TWICE,
	DIFFERS_PLACE, /* lies in another part than the record says */
	DIFFERS_SIZE,
	DIFFERS_BYTES, /* the bytes are not those that were recorded */
	DIFFERS_COUNT,
};
const char *difference_code(enum difference_kind kind);

struct difference {
	enum difference_kind kind;
	size_t number;       /* in the order of finding */
	const char *subject; /* inner text: a file of the job or a path in the archive */
	const char *text;    /* one sentence with its full stop */
};

/* A part, or a file of the proof, that lies at a destination that was not given. */
struct absent_file {
	const char *name;
	unsigned destination; /* from 1 */
};

/* The states of the record, in the order of record_state_name(). */
#define RECORD_STATES 8
const char *record_state_name(size_t state);

struct verify_result {
	struct arena arena;
	const char *job, *program,
	    *started;                   /* as the record's first line says; "" when it does not */
	struct difference *differences; /* at most 10,000, sorted by kind and subject */
	size_t n_kept, capacity;
	uint64_t n_differences;              /* all */
	uint64_t n_parts, part_bytes;        /* that were read */
	uint64_t n_files, file_bytes;        /* in them, proven or not */
	struct absent_file *absent; /* that were not looked at */
	size_t n_absent, absent_capacity;
	uint64_t n_lines;                    /* of the record, without its first */
	uint64_t state_count[RECORD_STATES]; /* file streams */
	uint64_t state_bytes[RECORD_STATES];
	uint64_t n_not_whole;   /* partial, unreadable and locked items of any kind */
	uint64_t n_losses;      /* findings of loss that the job lists */
	uint64_t n_unaccounted; /* clusters of old volumes that nobody owns */
	uint64_t n_others;      /* files in the folder that are no part of a job */
};

/*
 * Proves the job in the `count` folders, in any order. False with *error when it could not be read at
 * all or not to its end (STATUS_DESTINATION), when the folders are not of one job (STATUS_USAGE), or
 * memory ran out; what differs is in the result, and is no error. The result needs verify_free() in
 * any case.
 */
bool verify_job(struct verify_result *result, const char *const *folders, size_t count, bool quiet,
    struct error *error);
void verify_free(struct verify_result *result);

/* STATUS_COMPLETE, STATUS_LOSSES or, when something differs or was not looked at, STATUS_OTHER. */
enum status verify_status(const struct verify_result *result);

/* Writes one object. */
void verify_to_json(const struct verify_result *result, struct json *json);

#endif
