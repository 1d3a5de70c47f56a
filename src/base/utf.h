/*
 * Text of the old system (UTF-16LE, not always valid) and text inside coldlift.
 *
 * Inner text is a NUL-terminated string in WTF-8: UTF-8 in which an unpaired surrogate stands as
 * the three bytes that its number would have, and U+0000 as C0 80. So every name that can stand on
 * an old drive, also an invalid one, has exactly one inner form, can be turned back, and is a C
 * string. utf_clean() makes proper UTF-8 of it before anything leaves the program.
 *
 * Sources: The Unicode Standard, chapter 3, table 3-6 and 3-7 (well-formed UTF-8); WTF-8 (the
 * generalised form, wtf-8.codeberg.page).
 */
#ifndef BASE_UTF_H
#define BASE_UTF_H

#include "base/arena.h"
#include "base/buf.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define UTF_REPLACEMENT 0xFFFDu

/* Appends `units` UTF-16LE units at `bytes` as inner text. False when they were not valid UTF-16.
 */
bool utf_from_utf16(struct buf *out, const void *bytes, size_t units);

/* The same into an arena: NULL when memory runs out. `valid` may be NULL. */
char *utf_arena_from_utf16(struct arena *arena, const void *bytes, size_t units, bool *valid);

/* Appends inner text as UTF-16LE: the exact units that it was made of. */
void utf_to_utf16(struct buf *out, const char *text);

/* Is the inner text valid Unicode: no lone surrogate, no NUL, no broken sequence? */
bool utf_is_clean(const char *text);

/* Appends inner text as valid UTF-8; what is not valid becomes U+FFFD. */
void utf_clean(struct buf *out, const char *text, size_t length);

/*
 * Takes the next code point (surrogates included) off the inner text at *text, up to `end`. A
 * broken sequence gives U+FFFD and moves one byte on. Must not be called at the end.
 */
uint32_t utf_next(const char **text, const char *end);

/* Appends one code point up to U+10FFFF, surrogates and U+0000 in their inner form. */
void utf_add(struct buf *out, uint32_t point);

/* Names compared as the old system compares them: upper-cased one UTF-16 unit at a time. */
int utf_compare_fold(const char *a, const char *b);
bool utf_equal_fold(const char *a, const char *b);
/* Does `text` start with `start`, ignoring case? */
bool utf_starts_fold(const char *text, const char *start);
/* A hash that is equal for names that are equal under utf_equal_fold(). */
uint32_t utf_hash_fold(const char *text);
uint32_t utf_upcase(uint32_t point);

#endif
