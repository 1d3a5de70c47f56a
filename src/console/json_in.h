/*
 * Taking values out of what the program's other commands said: whatever is not there or has another
 * type counts as not known.
 *
 * The texts come from old drives and were only made into JSON by this program: they may hold
 * anything. They are kept as inner text and escaped where they are shown.
 */
#ifndef CONSOLE_JSON_IN_H
#define CONSOLE_JSON_IN_H

#include "base/arena.h"
#include "base/error.h"
#include "base/finding.h"

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* The document, an object; to be given back with json_decref(). NULL with *error: `what` says of
 * what kind it should have been. */
json_t *json_in_load(const char *text, size_t length, const char *what, struct error *error);

/* A copy of the text under the key, "" when there is none. NULL only when memory runs out. */
const char *json_in_text(struct arena *arena, const json_t *object, const char *key);

/* Is the text under the key this one? */
bool json_in_is_text(const json_t *object, const char *key, const char *text);

/* The number under the key, or `unless`. Beyond 2^53 it is not exact. */
uint64_t json_in_number(const json_t *object, const char *key, uint64_t unless);

/* Is the value under the key `true`? */
bool json_in_is_true(const json_t *object, const char *key);

enum weight json_in_weight(const json_t *item);

/* Adds a finding as findings_to_json() writes it. False only when memory runs out. */
bool json_in_finding(const json_t *item, struct findings *findings);

#endif
