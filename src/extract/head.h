/*
 * What stands at the beginning of a job's journal: all that shapes the job, so that it can go on in
 * the same way.
 *
 * One line each: {"journal":1,...} (program, job, clock), {"options":...}, {"person":...},
 * {"take":...}, {"leave":...}, {"source":...}, and at last {"plan":...}.
 *
 * Far behind it, {"moved":{"mark":...,"place":...}} says that the job has left a destination and goes
 * on here (onward.h).
 */
#ifndef EXTRACT_HEAD_H
#define EXTRACT_HEAD_H

#include "base/arena.h"
#include "extract/identity.h"
#include "extract/journal.h"
#include "extract/writer.h"
#include "plan/plan.h"

enum same_choice {
	SAME_USUAL, /* once for tar, each for zip and folder */
	SAME_ONCE,
	SAME_EACH,
};

struct head {
	const char *program; /* that began the job: "coldlift 0.1.0" */
	const char *name;    /* of the job */
	int64_t started;     /* its clock, FILETIME */
	bool fixed_clock;    /* from SOURCE_DATE_EPOCH */
	enum format format;
	enum same_choice same;
	bool licence_keys;   /* are written into the job */
	bool careful;        /* decides the order of the files */
	uint64_t part_limit; /* as asked for; 0: none */
	uint64_t limit;      /* what it came to at the destination; 0: none */
	struct plan_options choices;
	const struct identity *sources;
	size_t n_sources;
	size_t n_items; /* of the plan */
	struct digest plan;
};

/* Adds all lines and syncs the journal. False with *error. */
bool head_write(struct journal *journal, const struct head *head, struct error *error);

/* A destination that the job has left. */
struct earlier {
	const char *mark;  /* also in the note that stands there */
	const char *place; /* the job's folder there as it was called at that time; a hint, no more */
};

/* A head that was read, and where the journal stands. */
struct head_read {
	struct arena arena; /* owns the head's texts and arrays */
	struct head head;
	bool is_whole;       /* the last of its lines was there */
	uint64_t noted;      /* bytes of the journal up to the last checkpoint, or the head */
	const struct earlier *earlier; /* from the first destination on; in the arena */
	size_t n_earlier;
	uint64_t stored;     /* bytes that the last checkpoint says are at the destinations */
	uint64_t unfinished; /* of these, in archives that are not finished */
};

/*
 * Reads it from the journal at `path`; head_read_free() is needed in any case. False with *error
 * when it cannot be read, or is none that this program can go on with.
 */
bool head_read(struct head_read *read, const char *path, struct error *error);
void head_read_free(struct head_read *read);

#endif
