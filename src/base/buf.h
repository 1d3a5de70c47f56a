/*
 * A byte buffer that grows, and the one function that grows any array.
 *
 * A buffer remembers that memory ran out, so that a run of appends needs one check at its end.
 */
#ifndef BASE_BUF_H
#define BASE_BUF_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct buf {
	uint8_t *data; /* always followed by a NUL that is not counted, once anything was added */
	size_t length;
	size_t capacity;
	bool failed; /* memory ran out: what came after is missing */
};

/* A buffer of all zeros is valid and empty. */
void buf_free(struct buf *buf);
void buf_clear(struct buf *buf);

/* Room for `more` bytes behind the content, to be counted by buf_added(). NULL: no memory. */
uint8_t *buf_reserve(struct buf *buf, size_t more);
void buf_added(struct buf *buf, size_t length);

void buf_add(struct buf *buf, const void *data, size_t length);
void buf_add_byte(struct buf *buf, uint8_t byte);
void buf_add_text(struct buf *buf, const char *text);
void buf_printf(struct buf *buf, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* The content as text, never NULL. Belongs to the buffer, until the next change. */
const char *buf_text(const struct buf *buf);

/*
 * Makes room for at least `need` items of `size` bytes in the array whose pointer is at `array` and
 * whose capacity in items is *capacity. Returns false, and changes nothing, when memory runs out.
 */
bool array_reserve(void *array, size_t *capacity, size_t need, size_t size);

#endif
