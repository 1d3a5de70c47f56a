/* Memory given back all at once: see arena.h. */
#include "base/arena.h"

#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define BLOCK_SIZE ((size_t)64 << 10)
#define ALIGNMENT _Alignof(max_align_t)

struct arena_block {
	struct arena_block *next;
	size_t used, size; /* of data */
	_Alignas(max_align_t) unsigned char data[];
};

void arena_init(struct arena *arena)
{
	*arena = (struct arena){0};
}

void arena_free(struct arena *arena)
{
	struct arena_block *block = arena->blocks;

	while (block != NULL) {
		struct arena_block *next = block->next;

		free(block);
		block = next;
	}
	arena_init(arena);
}

/* A new block that can hold `size` bytes. A large request gets a block of its own size. */
static struct arena_block *add_block(struct arena *arena, size_t size)
{
	size_t room = size > BLOCK_SIZE / 4 ? size : BLOCK_SIZE;
	struct arena_block *block;

	if (room > SIZE_MAX - sizeof(*block))
		return NULL;
	block = calloc(1, sizeof(*block) + room);
	if (block == NULL)
		return NULL;
	block->size = room;
	arena->total += room;
	if (room == size && arena->blocks != NULL) {
		/* Keep the half-empty block in front: small requests still fit there. */
		block->next = arena->blocks->next;
		arena->blocks->next = block;
	} else {
		block->next = arena->blocks;
		arena->blocks = block;
	}
	return block;
}

void *arena_alloc(struct arena *arena, size_t size)
{
	struct arena_block *block = arena->blocks;
	void *piece;

	if (size > SIZE_MAX - ALIGNMENT)
		return NULL;
	size = (size + ALIGNMENT - 1) / ALIGNMENT * ALIGNMENT;
	if (block == NULL || block->size - block->used < size) {
		block = add_block(arena, size);
		if (block == NULL)
			return NULL;
	}
	piece = block->data + block->used;
	block->used += size;
	return piece;
}

void *arena_array(struct arena *arena, size_t count, size_t size)
{
	size_t bytes;

	if (__builtin_mul_overflow(count, size, &bytes))
		return NULL;
	return arena_alloc(arena, bytes);
}

void *arena_copy(struct arena *arena, const void *data, size_t length)
{
	void *copy = arena_alloc(arena, length);

	if (copy != NULL && length > 0)
		memcpy(copy, data, length);
	return copy;
}

char *arena_text(struct arena *arena, const char *text, size_t length)
{
	char *copy;

	if (length == SIZE_MAX)
		return NULL;
	copy = arena_alloc(arena, length + 1);
	if (copy != NULL && length > 0)
		memcpy(copy, text, length);
	return copy;
}

char *arena_strdup(struct arena *arena, const char *text)
{
	return arena_text(arena, text, strlen(text));
}

char *arena_printf(struct arena *arena, const char *format, ...)
{
	va_list args;
	char *text;
	int length;

	va_start(args, format);
	length = vsnprintf(NULL, 0, format, args);
	va_end(args);
	if (length < 0)
		return NULL;
	text = arena_alloc(arena, (size_t)length + 1);
	if (text == NULL)
		return NULL;
	va_start(args, format);
	vsnprintf(text, (size_t)length + 1, format, args);
	va_end(args);
	return text;
}
