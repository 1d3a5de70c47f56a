/*
 * Fuzzes the list of unreadable ranges beside an image. What is accepted is sorted, in whole
 * sectors and inside the image (or its last sector), and covers what a plain first line says.
 */
#include "disk/listed.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SIZE (UINT64_C(1000000) * 512 + 100) /* the end lies inside a sector */

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void check(const struct holes *holes, uint32_t sector)
{
	uint64_t end = 0;

	for (size_t i = 0; i < holes->count; i++) {
		const struct hole *hole = &holes->items[i];

		if (hole->length == 0 || hole->offset % sector != 0 || hole->length % sector != 0 ||
		    (i > 0 && hole->offset <= end))
			abort();
		end = hole->offset + hole->length;
	}
	if (end > SIZE + sector)
		abort();
}

/* The plainest way to read the same: the first line of a list that has only such lines. */
static void check_first(const uint8_t *data, size_t size, const struct holes *holes)
{
	char line[64];
	unsigned long long offset, length;
	char rest;
	size_t end = 0;

	while (end < size && end < sizeof(line) - 1 && data[end] != '\n')
		end++;
	memcpy(line, data, end);
	line[end] = '\0';
	if (strlen(line) != end || line[0] < '0' || line[0] > '9' || strspn(line, "0123456789 ") != end)
		return;
	if (sscanf(line, "%19llu %19llu%c", &offset, &length, &rest) == 2 &&
	    (!holes_meet(holes, offset, 1) || !holes_meet(holes, offset + length - 1, 1)))
		abort();
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	uint32_t sector = size > 0 && data[size - 1] % 2 == 0 ? 512 : 4096;
	struct holes holes = {0};
	struct error error = {0};

	if (listed_parse((const char *)data, size, "an image.holes", SIZE, sector, &holes, &error)) {
		check(&holes, sector);
		check_first(data, size, &holes);
	} else if (error.text[0] == '\0') {
		abort();
	}
	holes_free(&holes);
	return 0;
}
