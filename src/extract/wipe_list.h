/*
 * Before the old PC is wiped or given away: what to see to, made from what was found on this PC.
 *
 * An item stands in the list only where something on the drives calls for it, with the facts; some
 * always do (a second copy, how to wipe). Behind the items: what is likely forgotten (forgotten.h).
 * No secret is opened for it.
 */
#ifndef EXTRACT_WIPE_LIST_H
#define EXTRACT_WIPE_LIST_H

#include "base/finding.h"
#include "extract/job.h"
#include "extract/sums.h"
#include "plan/forgotten.h"

#define WIPE_TEXT_FILE "before-you-wipe.txt"
#define WIPE_JSON_FILE "before-you-wipe.json"
#define WIPE_FACTS 40u      /* shown of one item; the others are counted */
#define WIPE_FORGOTTEN 25u  /* folders shown in the text; the JSON has WIPE_FORGOTTEN_ALL */
#define WIPE_FORGOTTEN_ALL 1000u

/* In the order in which they are to be done. */
enum wipe_code {
	WIPE_ORGANISATION,
	WIPE_SECOND_COPY,
	WIPE_LOSSES,
	WIPE_CLOUD_ONLY,
	WIPE_NOT_UPLOADED,
	WIPE_SIGN_INS,
	WIPE_CODES,
	WIPE_BOUND,
	WIPE_KEYS,
	WIPE_PASSWORDS,
	WIPE_CONVERSATIONS,
	WIPE_LICENCES,
	WIPE_ENCRYPTED_FILES,
	WIPE_ENCRYPTED_DRIVES,
	WIPE_PHONES,
	WIPE_MAIL,
	WIPE_ELSEWHERE,
	WIPE_LAST,
	WIPE_COUNT,
};

struct wipe_item {
	bool is_wanted;
	const char *facts[WIPE_FACTS];
	size_t n_facts;
	size_t n_more;
};

struct wipe_list {
	struct arena arena;
	const struct plan *plan;
	const char *job; /* name */
	struct wipe_item items[WIPE_COUNT];
	struct forgotten_list forgotten;
	bool no_memory;
};

/* False when memory runs out. wipe_list_free() is needed in either case. */
bool wipe_list_make(struct wipe_list *list, const struct plan *plan, const struct sums *sums,
    const struct findings *findings, const struct job *job);
void wipe_list_free(struct wipe_list *list);

/* Adds a fact in words to an item, once. */
void wipe_fact(struct wipe_list *list, enum wipe_code code, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* What the survey knows: wipe_list_survey.c. */
void wipe_list_survey(struct wipe_list *list, const struct findings *findings);

/* Plain text of 79 columns with boxes to tick; and one JSON object. */
void wipe_list_to_text(const struct wipe_list *list, struct buf *text);
struct json;
void wipe_list_to_json(const struct wipe_list *list, struct json *json);

/* Writes both papers. */
struct papers;
bool wipe_list_write(const struct plan *plan, const struct sums *sums,
    const struct findings *findings, const struct job *job, struct papers *papers,
    struct error *error);

#endif
