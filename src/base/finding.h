/*
 * Findings: what the user should know, one mechanism for every part of the program.
 *
 * A finding has a code (stable, for machines), a weight, a subject (which drive, volume, person or
 * file), one plain sentence, and what to do about it. Any number of threads may add.
 */
#ifndef BASE_FINDING_H
#define BASE_FINDING_H

#include "base/arena.h"

#include <pthread.h>
#include <stdbool.h>
#include <stddef.h>

struct json;

enum weight {
	WEIGHT_NOTE,    /* good to know, nothing to do */
	WEIGHT_CAUTION, /* something to look at before the old drive is given away */
	WEIGHT_LOSS,    /* something that should have arrived did not */
};

struct finding {
	enum weight weight;
	const char *code;     /* lower-case words joined by hyphens, "gpt-from-backup" */
	const char *subject;  /* inner text; "" when it concerns everything */
	const char *sentence; /* ends with a full stop */
	const char *advice;   /* what to do, ends with a full stop; "" when nothing */
};

struct findings {
	pthread_mutex_t lock;
	struct arena arena;
	struct finding *items; /* in the order in which they were added */
	size_t count, capacity;
	bool incomplete; /* memory ran out: some findings are missing */
};

void findings_init(struct findings *findings);
void findings_free(struct findings *findings);

/*
 * Adds a finding; the texts are copied. One that is equal in code, subject and sentence to an
 * earlier one is dropped. NULL findings: nothing happens.
 */
void findings_add(struct findings *findings, enum weight weight, const char *code,
    const char *subject, const char *advice, const char *format, ...)
    __attribute__((format(printf, 6, 7)));

/* How many there are of one weight. */
size_t findings_count(const struct findings *findings, enum weight weight);

/* Is there a finding with this code? For tests and for decisions that rest on an earlier finding.
 */
bool findings_have(const struct findings *findings, const char *code);

/* Takes back the findings with this code and subject, because more is known now. */
void findings_drop(struct findings *findings, const char *code, const char *subject);

/* "note", "caution", "loss". */
const char *weight_name(enum weight weight);

/* Losses first, then cautions, then notes; within a weight the order of adding is kept. */
void findings_sort(struct findings *findings);

/* Appends subject, sentence and advice as one text for people: "D: ...", "mara: ...". */
struct buf;
void finding_to_text(const struct finding *finding, struct buf *out);

/* Writes an array of objects: code, weight, subject, sentence, advice. */
void findings_to_json(const struct findings *findings, struct json *json);

#endif
