/*
 * Notes on what arrived. Beginnings and ends of formats: the specifications named in
 * src/extract/kinds.c; the bytes of the examples are made by hand after them.
 */
#include "unit.h"

#include "extract/checks.h"

#include <stdlib.h>
#include <string.h>

static enum note note_of(const char *name, const void *data, size_t length, size_t step)
{
	const uint8_t *bytes = data;
	struct check check;

	check_start(&check, name);
	for (size_t at = 0; at < length; at += step)
		check_data(&check, bytes + at, length - at < step ? length - at : step);
	return check_result(&check);
}

/* SOI, an APP1 segment of 18 bytes with a preview's EOI inside, SOS, data, EOI. */
static const uint8_t jpeg[] = {0xFF, 0xD8, 0xFF, 0xE1, 0x00, 0x10, 'E', 'x', 'i', 'f', 0, 0, 0xFF,
    0xD8, 1, 2, 3, 4, 0xFF, 0xD9, 0xFF, 0xDA, 0x00, 0x02, 0x11, 0xFF, 0x00, 0x22, 0xFF, 0xD9};

static void jpeg_ends(void **state)
{
	(void)state;
	assert_int_equal(note_of("a.jpg", jpeg, sizeof(jpeg), sizeof(jpeg)), NOTE_NONE);
	/* Without its own end, the end of the preview does not count. */
	assert_int_equal(note_of("a.jpg", jpeg, sizeof(jpeg) - 2, 100), NOTE_TRUNCATED);
	assert_int_equal(note_of("a.jpg", jpeg, sizeof(jpeg) - 1, 100), NOTE_TRUNCATED);
	/* A header that lies in two chunks says nothing for certain. */
	assert_int_equal(note_of("a.jpg", jpeg, sizeof(jpeg) - 2, 10), NOTE_NONE);
	assert_int_equal(note_of("a.jpg", "%PDF-1.4", 8, 8), NOTE_MISMATCH);
}

static void ends_across_chunks(void **state)
{
	static const char zip[] = "PK\3\4....................PK\5\6..................";
	static const char pdf[] = "%PDF-1.7 .......................... %%EOF\n";

	(void)state;
	for (size_t step = 9; step < sizeof(zip); step++) {
		assert_int_equal(note_of("x.DOCX", zip, sizeof(zip) - 1, step), NOTE_NONE);
		assert_int_equal(note_of("x.docx", zip, 20, step), NOTE_TRUNCATED);
		assert_int_equal(note_of("x.pdf", pdf, sizeof(pdf) - 1, step), NOTE_NONE);
		assert_int_equal(note_of("x.pdf", pdf, 30, step), NOTE_TRUNCATED);
	}
}

static void zeros_are_seen(void **state)
{
	static const uint8_t zeros[5000];
	struct check check;

	(void)state;
	assert_int_equal(note_of("a.txt", zeros, sizeof(zeros), 1000), NOTE_ZEROS);
	assert_int_equal(note_of("a.jpg", zeros, sizeof(zeros), 1000), NOTE_ZEROS);
	assert_int_equal(note_of("a.txt", zeros, 0, 1), NOTE_NONE);
	check_start(&check, "a.bin");
	check_zeros(&check, UINT64_C(5) << 30);
	assert_int_equal(check_result(&check), NOTE_ZEROS);
	check_data(&check, (const uint8_t *)"x", 1);
	assert_int_equal(check_result(&check), NOTE_NONE);
	check_start(&check, "a.png");
	check_zeros(&check, 65536);
	check_data(&check, (const uint8_t *)"x", 1);
	assert_int_equal(check_result(&check), NOTE_MISMATCH);
}

static void unknown_kinds_have_no_note(void **state)
{
	(void)state;
	assert_int_equal(note_of("README", "hello", 5, 5), NOTE_NONE);
	assert_int_equal(note_of(".jpg", "hello", 5, 5), NOTE_NONE);
	assert_int_equal(note_of("a.", "hello", 5, 5), NOTE_NONE);
	assert_int_equal(note_of(NULL, "hello", 5, 5), NOTE_NONE);
	assert_int_equal(note_of("song.mp3", "hello", 5, 5), NOTE_NONE);
	/* A PDF may have up to 1,024 bytes in front of its header. */
	assert_int_equal(note_of("a.pdf", "junk %PDF-1.4 %%EOF", 19, 19), NOTE_NONE);
	/* A document with a password is a compound file ([MS-OFFCRYPTO] 1.3). */
	assert_int_equal(note_of("a.xlsx", "\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1....", 12, 12),
	    NOTE_NONE);
}

static void compact_kinds(void **state)
{
	(void)state;
	assert_true(kind_of_name("A.JPG")->is_compact);
	assert_true(kind_of_name("a.mp3")->is_compact);
	assert_false(kind_of_name("a.wav")->is_compact);
	assert_null(kind_of_name("a.txt"));
	assert_null(kind_of_name("jpg"));
}

/* Beginnings as the formats' own specifications have them: see base/kinds.c. */
static void content_tells(void **state)
{
	static const struct {
		const char *bytes;
		size_t length;
		const char *ending;
	} rows[] = {{"\xFF\xD8\xFF\xE0....", 8, "jpg"}, {"%PDF-1.5", 8, "pdf"},
	    {"PK\x03\x04..........................[Content_Types].xml", 49, "docx"},
	    {"PK\x03\x04..........................mimetypeapplication/epub+zip", 58, "epub"},
	    {"PK\x03\x04..........................a.txt", 35, "zip"},
	    {"RIFF....WAVEfmt ", 16, "wav"}, {"RIFF....", 8, NULL},
	    {"SQLite format 3", 16, "sqlite"}, {"From a@b.example", 16, "mbox"},
	    {"Dear member", 11, NULL}, {"", 0, NULL}, {"\xFF\xD8", 2, NULL}};

	(void)state;
	for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
		const char *ending =
		    kind_of_content((const uint8_t *)rows[i].bytes, rows[i].length);

		if (rows[i].ending == NULL)
			assert_null(ending);
		else
			assert_string_equal(ending, rows[i].ending);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(jpeg_ends),
	    cmocka_unit_test(ends_across_chunks),
	    cmocka_unit_test(zeros_are_seen),
	    cmocka_unit_test(unknown_kinds_have_no_note),
	    cmocka_unit_test(compact_kinds),
	    cmocka_unit_test(content_tells),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
