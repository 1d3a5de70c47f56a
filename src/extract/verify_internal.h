/*
 * What the files of the verifier share: the work in hand, and one table of everything that is
 * claimed.
 *
 * The order of work: the proof's lists and the record fill the table, then every part is read and
 * ticked off against it, then what was not ticked off is told.
 */
#ifndef EXTRACT_VERIFY_INTERNAL_H
#define EXTRACT_VERIFY_INTERNAL_H

#include "base/buf.h"
#include "base/progress.h"
#include "extract/digest.h"
#include "extract/verify.h"

#include <jansson.h>

#define VERIFY_NONE UINT32_MAX
#define LIST_LINE_LIMIT ((size_t)1 << 20)   /* bytes of one line of a hash list */
#define RECORD_LINE_LIMIT ((size_t)8 << 20) /* one line of the record: it can hold many holes */
#define JSON_FILE_LIMIT ((size_t)64 << 20)  /* a whole JSON file of the job */
#define JSON_DEPTH_LIMIT 12
#define PATH_LIMIT ((size_t)256 << 10) /* bytes of a path in the archive */

enum claim_flag {
	CLAIM_MANIFEST = 1,
	CLAIM_SUMS = 2,
	CLAIM_RECORD = 4,
	CLAIM_SEEN = 8,       /* in a part */
	CLAIM_GOOD = 16,      /* with the right bytes */
	CLAIM_DIGEST = 32,    /* `digest` is set */
	CLAIM_SIZE = 64,      /* `size` is set */
	CLAIM_FOLDER = 128,   /* a folder: no hash, no size */
	CLAIM_EXPECTED = 256, /* a folder above something that the record names */
	CLAIM_ENTRY = 512,    /* a folder with an entry of its own in a part */
};

/* One path in the archive, and everything that is said about it. */
struct claim {
	const char *path;
	struct digest digest;
	uint64_t size;
	uint32_t part;  /* by the record: index in parts; VERIFY_NONE */
	uint32_t whole; /* of a piece: index in wholes; VERIFY_NONE */
	uint32_t piece; /* from 1 */
	uint32_t flags;
};

struct table {
	struct claim *items; /* in the order of arrival */
	size_t count, capacity;
	uint32_t *slots; /* open addressing, a power of two of them; VERIFY_NONE: free */
	size_t n_slots;
};

/* A file that was cut into pieces. */
struct whole {
	const char *path;
	struct digest digest;
	uint64_t size;
	uint32_t n_pieces, next; /* next: the piece that its hash waits for, from 1 */
	uint32_t *claims;        /* of the pieces, n_pieces of them */
	struct sha256_ctx hash;
};

struct part {
	const char *name;
	struct digest digest;
	bool is_listed; /* in PARTS.SHA256SUMS */
	bool is_whole;  /* was read to its end */
	bool is_folder; /* with plain files */
	int folder;     /* where it lies */
	/* Of a job at several destinations. */
	unsigned destination; /* from 1; 0: not listed */
	bool is_elsewhere;    /* in a folder that was not given: not looked at */
};

/* A folder that was given. */
struct verify_place {
	const char *path, *mark; /* mark: "" but where the job was left */
	int fd;
	unsigned number; /* of the destination, from 1; 0: none of this job */
	bool is_left;    /* the job went on elsewhere from here */
};

struct verify {
	struct verify_result *result;
	struct verify_place *places;
	size_t n_places, main;  /* main: the one with the papers */
	unsigned n_destinations; /* where the job lies; 1, or several */
	size_t n_elsewhere;     /* parts in folders that were not given */
	int folder;             /* the papers are there */
	const char *files_name; /* "<name>-files", "" while the job's name is not known */
	const char *proof_name; /* "<name>-proof.zip" */
	struct table table;
	struct whole *wholes;
	size_t n_wholes, wholes_capacity;
	struct part *parts;
	size_t n_parts, parts_capacity;
	bool has_folders;     /* parts that are folders with plain files */
	uint32_t last_part;   /* that was looked up: the next one is mostly the same */
	uint32_t tags_listed; /* bits of the tag files that the tag manifest lists */
	uint64_t *seen_lines; /* hashes of what the record has lines for; 0: free */
	size_t n_seen, n_seen_slots;
	struct progress progress;
	uint64_t bytes_done;
	uint8_t *buffer; /* VERIFY_BUFFER bytes */
};
#define VERIFY_BUFFER ((size_t)1 << 18)

/* verify_result.c */

/* Notes a difference. False only when memory runs out, with *error. */
bool differ(struct verify *verify, struct error *error, enum difference_kind kind,
    const char *subject, const char *format, ...) __attribute__((format(printf, 5, 6)));

/* Notes a file that was not looked at. False with *error: no memory. */
bool note_absent(struct verify *verify, const char *name, unsigned destination, struct error *error);

/* verify_files.c: opening and reading files of the job */

/* A name without slashes that cannot lead anywhere else. */
bool name_is_plain(const char *name);
/* Is it what a part is called that is a folder with plain files? */
bool name_is_of_files(const struct verify *verify, const char *name);
/* A path of plain names, joined by single slashes. */
bool path_is_safe(const char *path);
/* The same, below data/. */
bool path_is_payload(const char *path);

/*
 * Opens a plain file of the job by its safe path; links are not followed. *fd is -1 when it is not
 * there or not a plain file, which is noted as a difference unless it is missing and `must_exist`
 * is false. False with *error when it could not be opened.
 */
bool job_open(struct verify *verify, const char *path, bool must_exist, int *fd, uint64_t *size,
    struct error *error);
/* The same for a part, wherever it lies. */
bool part_open(struct verify *verify, uint32_t part, bool must_exist, int *fd, uint64_t *size,
    struct error *error);
/*
 * Drops what memory still holds of the file, as far as the system lets that be done: right after an
 * extraction it would otherwise prove memory, not the disk.
 */
void read_from_disk(int fd);
/* Opens a folder below `folder` ("": itself). -1 with errno. */
int open_folder(int folder, const char *path, size_t length);
/* read(), again after interruptions, errors as STATUS_DESTINATION. */
bool job_read(
    int fd, const char *name, void *data, size_t length, size_t *got, struct error *error);
/* *found is false when there is no such file (noted when `must_exist`). */
bool job_hash(struct verify *verify, const char *path, bool must_exist, bool *found,
    struct digest *digest, struct error *error);

/* Lines of a text file, one at a time. */
struct lines {
	int fd;
	const char *name;
	size_t limit;
	struct buf buf;
	size_t start;   /* of the next line in buf */
	size_t scanned; /* bytes behind start that hold no line break */
	bool at_end;
	uint64_t number; /* of the line, from 1 */
	char *line;      /* ends with a NUL in place of the line break */
	size_t length;
	bool is_open_ended; /* the line had no line break */
	bool is_too_long;   /* the rest of the file was given up */
};
void lines_start(struct lines *lines, int fd, const char *name, size_t limit);
/* *more is false behind the last line. */
bool lines_next(struct lines *lines, bool *more, struct error *error);
void lines_free(struct lines *lines); /* closes the file, too */

/* verify_table.c */

/* The claim for the path, made when there is none. NULL with *error: no memory. */
struct claim *table_put(struct verify *verify, const char *path, struct error *error);
struct claim *table_find(struct verify *verify, const char *path); /* NULL: none */
void table_free(struct table *table);
/* Sets the flag on every folder above the path. */
bool table_mark_above(struct verify *verify, const char *path, uint32_t flag, struct error *error);
struct part *part_put(struct verify *verify, const char *name, struct error *error);
uint32_t part_find(struct verify *verify, const char *name); /* VERIFY_NONE */

/* verify_places.c: the folders of a job */

/* Opens them. False with *error. */
bool verify_open(struct verify *verify, const char *const *folders, size_t count,
    struct error *error);
void verify_close(struct verify *verify);
/* Learns which is which, and which parts lie where. False with *error when they are no one job. */
bool verify_places(struct verify *verify, struct error *error);

/* verify_lists.c */
bool verify_manifest(struct verify *verify, struct error *error);
bool verify_sums(struct verify *verify, struct error *error);
bool verify_part_list(struct verify *verify, struct error *error);

/* verify_bag.c */
bool verify_bag(struct verify *verify, struct error *error);
bool verify_tag_manifest(struct verify *verify, struct error *error);
bool verify_oxum(struct verify *verify, struct error *error);
bool verify_proof(struct verify *verify, struct error *error);

/* verify_json.c */

/* Parses a JSON text with every limit; NULL with the reason in `why`. */
json_t *json_from_text(const char *text, size_t length, char *why, size_t why_size);
/* A whole file of the job; *json is NULL when it is missing or broken, which was told. */
bool json_from_file(struct verify *verify, const char *name, json_t **json, struct error *error);

/* verify_record.c */

/* The first line: the job's name. */
bool verify_header(struct verify *verify, struct error *error);
bool verify_record(struct verify *verify, struct error *error);

/* verify_account.c */
bool verify_account(struct verify *verify, struct error *error);
bool verify_findings(struct verify *verify, struct error *error);

/* verify_parts.c */
bool verify_parts(struct verify *verify, struct error *error);

/* verify_member.c: one file or folder of a part against the table */
struct member_check {
	struct verify *verify;
	uint32_t part;
	struct claim *claim; /* NULL: nothing to check it against */
	struct whole *whole; /* that this piece is joined to; NULL */
	const char *path;
	uint64_t size;    /* bytes so far */
	bool is_too_long; /* more bytes than there may be: the rest is not looked at */
	struct sha256_ctx hash;
};
bool member_folder(struct verify *verify, const char *path, struct error *error);
bool member_link(struct verify *verify, uint32_t part, const char *path, const char *target,
    struct error *error);
bool member_begin(struct member_check *check, struct verify *verify, uint32_t part,
    const char *path, struct error *error);
void member_data(struct member_check *check, const void *data, size_t length);
void member_zeros(struct member_check *check, uint64_t length);
/* `reason` is NULL, or why its bytes could not be read to the end. */
bool member_end(struct member_check *check, const char *reason, struct error *error);

/* verify_zip_names.c, verify_tar_names.c: names as they stand in a part, byte for byte */

struct raw_name {
	uint64_t offset;         /* of the entry in the file */
	const char *name, *link; /* NULL: it is ASCII, and libarchive gives it as it is */
};

struct raw_names {
	struct arena arena;
	struct raw_name *items; /* in the order in which the entries lie in the file */
	size_t count, capacity;
	bool is_whole; /* they could be read to their end */
};

/* Need raw_names_free(). False with *error only when memory runs out. */
bool zip_names_read(struct raw_names *names, int fd, uint64_t file_size, struct error *error);
bool tar_names_read(struct raw_names *names, int fd, uint64_t file_size, struct error *error);
void raw_names_free(struct raw_names *names);
/* All of it or nothing; leaves the position of fd alone. */
bool raw_read(int fd, void *data, size_t length, uint64_t offset);

/* verify_archive.c: reading zip and tar */
struct archive;
struct archive_entry;
struct archive_visitor {
	/*
	 * Called for each entry; must use member_... above or skip. False with *error stops. `name`
	 * is that of the entry and `link` of the file that it is a second name of (NULL: none),
	 * byte for byte.
	 */
	bool (*entry)(void *context, struct archive *archive, struct archive_entry *entry,
	    const char *name, const char *link, struct error *error);
	void *context;
};
/*
 * Reads the archive `name` of the job behind fd (which is closed), and gives the SHA-256 of the
 * whole file. *broken (at least 300 bytes) gets the reason when it cannot be read to its end, ""
 * otherwise.
 */
bool archive_visit(struct verify *verify, int fd, const char *name,
    const struct archive_visitor *visitor, struct digest *digest, char *broken,
    struct error *error);
/*
 * Feeds the content of the entry to `check`. `reason` (300 bytes) gets why it could not be read, ""
 * when it could.
 */
void archive_content(
    struct archive *archive, struct archive_entry *entry, struct member_check *check, char *reason);

/* verify_folder.c */
bool verify_folder_part(struct verify *verify, uint32_t part, struct error *error);

/* verify_rest.c: what was not ticked off */
bool verify_rest(struct verify *verify, struct error *error);

#endif
