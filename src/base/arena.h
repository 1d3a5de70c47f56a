/*
 * Memory that is handed out piece by piece and given back all at once.
 *
 * What belongs together (a survey, a catalogue, a plan) lives in one arena, so that nothing in it
 * needs an owner of its own.
 */
#ifndef BASE_ARENA_H
#define BASE_ARENA_H

#include <stddef.h>

struct arena {
	struct arena_block *blocks; /* newest first */
	size_t total;               /* bytes asked of the system, for the memory figures */
};

/* An arena of all zeros is valid and empty. */
void arena_init(struct arena *arena);

/* Gives everything back. The arena can be used again afterwards. */
void arena_free(struct arena *arena);

/* `size` zeroed bytes, aligned for any type, or NULL when memory runs out. Size 0 is allowed. */
void *arena_alloc(struct arena *arena, size_t size);

/* Zeroed room for `count` items of `size` bytes; NULL also when the product overflows. */
void *arena_array(struct arena *arena, size_t count, size_t size);

/* Copies; NULL when memory runs out. arena_text ends the copy of `length` bytes with a NUL. */
void *arena_copy(struct arena *arena, const void *data, size_t length);
char *arena_text(struct arena *arena, const char *text, size_t length);
char *arena_strdup(struct arena *arena, const char *text);
char *arena_printf(struct arena *arena, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

#endif
