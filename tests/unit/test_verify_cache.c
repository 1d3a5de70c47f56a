/*
 * Tests of src/extract: verify reads what is on the disk, not what memory still holds of it.
 */
#include "unit.h"

#include "extract/verify_internal.h"

#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#define PAGES 64
#define PAGE 4096u

static unsigned pages_in_memory(int fd)
{
	unsigned char resident[PAGES];
	unsigned count = 0;
	void *map = mmap(NULL, PAGES * PAGE, PROT_READ, MAP_SHARED, fd, 0);

	assert_ptr_not_equal(map, MAP_FAILED);
	assert_int_equal(mincore(map, PAGES * PAGE, resident), 0);
	for (unsigned i = 0; i < PAGES; i++)
		count += resident[i] & 1;
	munmap(map, PAGES * PAGE);
	return count;
}

static void test_read_from_disk(void **state)
{
	char path[] = "cache-XXXXXX";
	static uint8_t bytes[PAGES * PAGE];
	int fd = mkstemp(path);

	(void)state;
	assert_true(fd >= 0);
	memset(bytes, 7, sizeof(bytes));
	assert_int_equal(write(fd, bytes, sizeof(bytes)), sizeof(bytes));
	assert_int_equal(fsync(fd), 0);
	unlink(path);
	assert_true(pages_in_memory(fd) > 0);
	read_from_disk(fd);
	/* A file system in memory has nowhere else to keep it. */
	if (pages_in_memory(fd) == PAGES)
		skip();
	assert_int_equal(pages_in_memory(fd), 0);
	close(fd);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_read_from_disk),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
