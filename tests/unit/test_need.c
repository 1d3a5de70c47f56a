/*
 * How much room a job is said to need. That nothing that was begun runs full is tried on real file
 * systems in tests/run/destination_room.py; here it is what file systems differ in that cannot be
 * mounted everywhere: FAT's limit of 4 GiB - 1 for a file and its missing sparse files (Microsoft
 * FAT specification 1.03: DIR_FileSize has 32 bits, every cluster of a file is in its chain).
 */
#include "unit.h"

#include "scene.h"

#include "extract/need.h"

#include <stdio.h>
#include <string.h>

#define GIB (UINT64_C(1) << 30)
#define FAT_LIMIT UINT64_C(0xFFFFFFFF)

static uint64_t bytes_of(const struct plan *plan, enum format format, uint64_t cluster, bool zeros)
{
	struct destination destination = {.cluster = cluster, .stores_zeros = zeros};
	struct need need;

	assert_true(need_of(plan, format, 0, &destination, &need));
	return need.bytes;
}

static void test_clusters(void **state)
{
	struct scene scene;
	uint64_t small, large;

	(void)state;
	scene_start(&scene);
	for (unsigned i = 0; i < 100; i++) {
		char path[80];

		snprintf(path, sizeof(path), "\\Users\\mara\\Documents\\plot %u.txt", i);
		forge_file(&scene.forge, 0, path, 100);
	}
	scene_settle(&scene);
	scene_make(&scene, NULL);
	small = bytes_of(&scene.plan, FORMAT_FOLDER, 512, false);
	large = bytes_of(&scene.plan, FORMAT_FOLDER, 131072, false);
	/* Each of the hundred files takes a whole cluster. */
	assert_true(large - small >= UINT64_C(100) * (131072 - 512));
	/* In an archive only the archive does. */
	small = bytes_of(&scene.plan, FORMAT_ZIP, 512, false);
	large = bytes_of(&scene.plan, FORMAT_ZIP, 131072, false);
	assert_true(large - small < UINT64_C(60) * 131072);
	scene_end(&scene);
}

static void test_sparse(void **state)
{
	struct scene scene;
	uint64_t without, with;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 0, "\\Users\\mara\\Documents\\beds.dat", 3 * GIB);
	scene_settle(&scene);
	for (size_t i = 0; i < scene.forge.survey.volumes[0].volume->catalogue->n_streams; i++) {
		struct stream *stream =
		    &scene.forge.survey.volumes[0].volume->catalogue->streams[i];

		if (stream->size == 3 * GIB) {
			stream->flags |= STREAM_SPARSE;
			stream->allocated = 4096;
		}
	}
	scene_make(&scene, NULL);
	without = bytes_of(&scene.plan, FORMAT_FOLDER, 4096, false);
	with = bytes_of(&scene.plan, FORMAT_FOLDER, 4096, true);
	assert_true(without < GIB && with > 3 * GIB);
	assert_true(bytes_of(&scene.plan, FORMAT_TAR, 4096, true) < GIB);
	assert_true(bytes_of(&scene.plan, FORMAT_ZIP, 4096, true) < GIB);
	scene_end(&scene);
}

static void test_pieces(void **state)
{
	struct destination destination = {.cluster = 4096};
	struct need whole, cut;
	struct scene scene;

	(void)state;
	scene_start(&scene);
	forge_file(&scene.forge, 0, "\\Users\\mara\\Documents\\a.iso", FAT_LIMIT);
	forge_file(&scene.forge, 0, "\\Users\\mara\\Documents\\b.iso", FAT_LIMIT + 1);
	forge_file(&scene.forge, 0, "\\Users\\mara\\Documents\\c.iso", 9 * GIB);
	scene_settle(&scene);
	scene_make(&scene, NULL);
	assert_int_equal(need_pieces(&scene.plan, FAT_LIMIT), 2);
	assert_true(need_of(&scene.plan, FORMAT_ZIP, 0, &destination, &whole));
	assert_true(need_of(&scene.plan, FORMAT_ZIP, FAT_LIMIT, &destination, &cut));
	assert_true(cut.files >= whole.files + 4 && cut.bytes >= whole.bytes);
	scene_end(&scene);
}

static void test_room(void **state)
{
	struct destination destination = {.free = 1000, .files = 50};
	struct need need = {1000, 50};
	struct error error;

	(void)state;
	assert_true(destination_has_room(&destination, &need, &error));
	need.bytes++;
	assert_false(destination_has_room(&destination, &need, &error));
	assert_int_equal(error.status, STATUS_DESTINATION);
	assert_non_null(strstr(error.text, "1.0 kB"));
	need.bytes--;
	need.files++;
	assert_false(destination_has_room(&destination, &need, &error));
	assert_int_equal(error.status, STATUS_DESTINATION);
	destination.free = destination.files = UINT64_MAX; /* not told */
	assert_true(destination_has_room(&destination, &need, &error));
}

int main(void)
{
	static const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_clusters),
	    cmocka_unit_test(test_sparse),
	    cmocka_unit_test(test_pieces),
	    cmocka_unit_test(test_room),
	};

	return cmocka_run_group_tests_name("need", tests, NULL, NULL);
}
