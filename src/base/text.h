/*
 * Text for people: sizes they can read, names that cannot do harm to a terminal.
 */
#ifndef BASE_TEXT_H
#define BASE_TEXT_H

#include "base/buf.h"

#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

struct size_text {
	char text[32];
};

/* "0 bytes", "1 byte", "900 bytes", "1.5 kB", "20 GB": powers of 1000, as drives are sold. */
struct size_text text_size(uint64_t bytes);

/*
 * The other way round: "700M" and "4GB" (powers of 1000), "4GiB" (powers of 1024), "1500000". False
 * when the text is no size.
 */
bool text_to_size(const char *text, uint64_t *bytes);

/*
 * "90s", "30m", "6h", "2d", in milliseconds. False when the text is no time, or none at all ("0h").
 */
bool text_to_duration(const char *text, uint64_t *milliseconds);

/* 0 to 15 for a hexadecimal digit, of either case; -1 for anything else. */
int text_hex_value(char digit);

/* "12,345": thousands separated by commas. */
struct size_text text_count(uint64_t number);

/*
 * Appends inner text so that a terminal only shows it: valid UTF-8, with control characters,
 * bidirectional overrides and invisible format characters as "<U+001B>".
 */
void text_escape(struct buf *out, const char *text);

/* The same straight to a stream. */
void text_print(FILE *stream, const char *text);

/*
 * Prints inner text escaped, words wrapped at `width` columns, every line after the first indented
 * by `indent` spaces (the first line is taken to start at that column already); ends with a line
 * break.
 */
void text_wrap(FILE *stream, const char *text, unsigned indent, unsigned width);

/*
 * The same for a formatted text that begins a line: its first line starts at `first`, the others at
 * `others`. Nothing but the indent when memory runs out.
 */
void text_paragraph(FILE *stream, unsigned first, unsigned others, unsigned width,
    const char *format, va_list arguments) __attribute__((format(printf, 5, 0)));

/* How many columns the inner text takes on a terminal, after text_escape(). */
unsigned text_columns(const char *text);

/* The longest end of the inner text that takes no more columns than that. */
const char *text_tail(const char *text, unsigned columns);

#endif
