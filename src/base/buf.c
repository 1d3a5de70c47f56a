/* A byte buffer that grows: see buf.h. */
#include "base/buf.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

bool array_reserve(void *array, size_t *capacity, size_t need, size_t size)
{
	void *old, *grown;
	size_t room, bytes;

	if (need <= *capacity)
		return true;
	room = *capacity + *capacity / 2;
	if (room < need)
		room = need;
	if (room < 8)
		room = 8;
	if (__builtin_mul_overflow(room, size, &bytes))
		return false;
	/* Through memcpy, since `array` may point at a pointer of any type. */
	memcpy(&old, array, sizeof(old));
	grown = realloc(old, bytes);
	if (grown == NULL)
		return false;
	memcpy(array, &grown, sizeof(grown));
	*capacity = room;
	return true;
}

void buf_free(struct buf *buf)
{
	free(buf->data);
	*buf = (struct buf){0};
}

void buf_clear(struct buf *buf)
{
	buf->length = 0;
	buf->failed = false;
	if (buf->data != NULL)
		buf->data[0] = 0;
}

uint8_t *buf_reserve(struct buf *buf, size_t more)
{
	if (more >= SIZE_MAX - buf->length ||
	    !array_reserve(&buf->data, &buf->capacity, buf->length + more + 1, 1)) {
		buf->failed = true;
		return NULL;
	}
	return buf->data + buf->length;
}

void buf_added(struct buf *buf, size_t length)
{
	buf->length += length;
	buf->data[buf->length] = 0;
}

void buf_add(struct buf *buf, const void *data, size_t length)
{
	uint8_t *room = buf_reserve(buf, length);

	if (room == NULL)
		return;
	if (length > 0)
		memcpy(room, data, length);
	buf_added(buf, length);
}

void buf_add_byte(struct buf *buf, uint8_t byte)
{
	buf_add(buf, &byte, 1);
}

void buf_add_text(struct buf *buf, const char *text)
{
	buf_add(buf, text, strlen(text));
}

void buf_printf(struct buf *buf, const char *format, ...)
{
	va_list args;
	uint8_t *room;
	int length;

	va_start(args, format);
	length = vsnprintf(NULL, 0, format, args);
	va_end(args);
	if (length < 0) {
		buf->failed = true;
		return;
	}
	room = buf_reserve(buf, (size_t)length);
	if (room == NULL)
		return;
	va_start(args, format);
	vsnprintf((char *)room, (size_t)length + 1, format, args);
	va_end(args);
	buf_added(buf, (size_t)length);
}

const char *buf_text(const struct buf *buf)
{
	return buf->data == NULL ? "" : (const char *)buf->data;
}
