/*
 * What the tests of partition tables share: reading the table of an image, and boot sectors on it.
 */
#ifndef TABLE_RESULT_H
#define TABLE_RESULT_H

#include "drive_image.h"

#include "base/bytes.h"
#include "disk/partition.h"

#include <string.h>

#define MIB (1024u * 1024)

struct result {
	struct source *source;
	struct arena arena;
	struct findings findings;
	struct table table;
};

/* `script` is for the test device. */
static inline void read_table(struct result *result, const char *path, const char *script)
{
	struct error error;

	memset(result, 0, sizeof(*result));
	result->source = image_open(path, script);
	findings_init(&result->findings);
	assert_true(
	    table_read(result->source, &result->arena, &result->findings, &result->table, &error));
}

static inline void drop(struct result *result)
{
	source_close(result->source);
	findings_free(&result->findings);
	arena_free(&result->arena);
}

/*
 * The boot sector of an NTFS volume, as far as recognising goes: linux-ntfs documentation, $Boot.
 */
static inline void put_ntfs(
    struct drive_image *image, uint64_t offset, unsigned sector_size, uint64_t sectors)
{
	uint8_t boot[512] = {0xEB, 0x52, 0x90, 'N', 'T', 'F', 'S', ' ', ' ', ' ', ' '};

	put_u16(boot + 11, (uint16_t)sector_size);
	boot[13] = 8;
	boot[21] = 0xF8;
	put_u64(boot + 40, sectors);
	boot[510] = 0x55;
	boot[511] = 0xAA;
	image_write(image, offset, boot, sizeof(boot));
}

#endif
