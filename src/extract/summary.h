/*
 * What a plan would take, or an extraction took: for people, and as JSON.
 */
#ifndef EXTRACT_SUMMARY_H
#define EXTRACT_SUMMARY_H

#include "base/finding.h"
#include "base/json.h"
#include "extract/extract.h"

#include <stdio.h>

struct summary {
	const struct plan *plan;
	const struct outcomes *outcomes;
	const struct sums *sums;
	const struct findings *findings;
	const struct job *job;     /* NULL: a dry run */
	const struct parts *parts; /* NULL: a dry run */
	const struct places *places; /* that the job has left; NULL: a dry run */
	enum status status;
	bool open_only; /* in the JSON of a dry run, list only what needs a decision */
};

void summary_print(FILE *stream, const struct summary *summary);

/*
 * Writes one JSON document to the stream; a dry run lists every item. False: no memory or no room.
 */
bool summary_print_json(FILE *stream, const struct summary *summary);

/* Reasons that wait for somebody's decision. */
bool reason_needs_decision(enum reason reason);

#endif
