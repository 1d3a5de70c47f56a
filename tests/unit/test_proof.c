/*
 * Hash lists. Sources: RFC 8493 section 2.1.3 (CR, LF and % in a path are percent-encoded);
 * `sha256sum` of GNU coreutils for its own escapes.
 */
#include "unit.h"

#include "extract/proof.h"
#include "extract/pieces.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static void bag_lines(void **state)
{
	struct digest digest = digest_of("abc", 3);
	struct buf out = {0};

	(void)state;
	proof_bag_line(&out, &digest, "data/50% off\r\n.txt");
	assert_string_equal(buf_text(&out),
	    "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad  "
	    "data/50%25 off%0D%0A.txt\n");
	buf_free(&out);
}

/* What sha256sum prints for a file of that name, taken from a run of it. */
static void sum_lines_equal_sha256sum(void **state)
{
	static const char *const names[] = {
	    "plain.txt", "back\\slash", "new\nline", "Zoë 🍎", "50%"};
	char folder[] = "/tmp/coldlift-proof-XXXXXX";
	char cwd[4096];

	(void)state;
	assert_non_null(getcwd(cwd, sizeof(cwd)));
	assert_non_null(mkdtemp(folder));
	assert_int_equal(chdir(folder), 0);
	for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++) {
		struct digest digest = digest_of("abc", 3);
		struct buf out = {0};
		char line[1000] = "";
		FILE *file = fopen(names[i], "w");
		size_t got;

		assert_non_null(file);
		fputs("abc", file);
		fclose(file);
		file = popen("sha256sum -- *", "r");
		assert_non_null(file);
		got = fread(line, 1, sizeof(line) - 1, file);
		assert_true(got > 0);
		assert_int_equal(pclose(file), 0);
		proof_sum_line(&out, &digest, names[i]);
		assert_string_equal(buf_text(&out), line);
		buf_free(&out);
		assert_int_equal(unlink(names[i]), 0);
	}
	assert_int_equal(chdir(cwd), 0);
	assert_int_equal(rmdir(folder), 0);
}

static void pieces_are_named(void **state)
{
	struct buf path = {0};

	(void)state;
	buf_add_text(&path, "data/x.iso");
	piece_ending(&path, 1, 3);
	assert_string_equal(buf_text(&path), "data/x.iso.piece-01-of-03");
	buf_clear(&path);
	piece_ending(&path, 7, 250);
	assert_string_equal(buf_text(&path), ".piece-007-of-250");
	/* A name that leaves no room is cut at a character and marked. */
	buf_clear(&path);
	buf_add_text(&path, "data/");
	for (int i = 0; i < 127; i++)
		buf_add_text(&path, "ë");
	piece_shorten(&path, 0);
	piece_ending(&path, 1, 99999);
	assert_true(path.length - 5 <= 255);
	assert_memory_equal(path.data + 5, "ëë", 4);
	assert_non_null(strstr(buf_text(&path), "ë~"));
	buf_free(&path);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(bag_lines),
	    cmocka_unit_test(sum_lines_equal_sha256sum),
	    cmocka_unit_test(pieces_are_named),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
