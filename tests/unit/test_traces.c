/*
 * Tests of the readers for what speaks of a program's use: published examples, and inputs that end
 * anywhere. Comparing with independent readers: tests/run/traces_readers.py.
 *
 * Sources: [MS-XCA] 3.2; libwim's compressor; [MS-SHLLINK] 3.1 (its bytes from 0x00B0 on are from
 * memory, checked against published decodings of them); [MS-CFB] 3 for names; dtformats, "Jump
 * lists format" for the polynomial; "List of Jump List IDs" of the forensics wiki for Control
 * Panel's number, the other numbers: common practice, no source.
 */
#include "unit.h"

#include "base/bytes.h"
#include "system/compound.h"
#include "system/driver_packages.h"
#include "system/jump_list.h"
#include "system/openers.h"
#include "system/program_paths.h"
#include "system/run_trace.h"
#include "system/start_count.h"
#include "system/version_info.h"
#include "system/xpress.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <wimlib.h>

/* --- XPRESS --- */

static void test_xpress_example(void **state)
{
	static const uint8_t codes[] = {0xd8, 0x52, 0x3e, 0xd7, 0x94, 0x11, 0x5b, 0xe9, 0x19, 0x5f,
	    0xf9, 0xd6, 0x7c, 0xdf, 0x8d, 0x04, 0x00, 0x00, 0x00, 0x00};
	static const uint8_t thrice[] = {0xa8, 0xdc, 0x00, 0x00, 0xff, 0x26, 0x01};
	uint8_t packed[256 + sizeof(codes)] = {0}, out[300];

	(void)state;
	memcpy(packed + 0x30, "\x50\x55\x55\x55\x55\x55\x55\x55\x55\x55\x55\x45\x44\x04", 14);
	packed[0x80] = 0x04;
	memcpy(packed + 256, codes, sizeof(codes));
	assert_true(xpress_decode(packed, sizeof(packed), out, 26));
	assert_memory_equal(out, "abcdefghijklmnopqrstuvwxyz", 26);
	/* 100 times "abc" */
	memset(packed, 0, sizeof(packed));
	memcpy(packed + 0x30, "\x30\x23", 2);
	packed[0x80] = 0x02;
	packed[287 / 2] = 0x20;
	memcpy(packed + 256, thrice, sizeof(thrice));
	assert_true(xpress_decode(packed, 256 + sizeof(thrice), out, sizeof(out)));
	for (size_t i = 0; i < sizeof(out); i++)
		assert_int_equal(out[i], 'a' + i % 3);
	/* One more than the match has. */
	packed[256 + 5]--;
	assert_false(xpress_decode(packed, 256 + sizeof(thrice), out, 20));
}

/* What libwim's compressor packs, of every length up to its largest chunk. */
static void test_xpress_of_libwim(void **state)
{
	struct wimlib_compressor *compressor = NULL;
	uint8_t *in = malloc(65536), *packed = malloc(65536), *out = malloc(65536);

	(void)state;
	assert_int_equal(
	    wimlib_create_compressor(WIMLIB_COMPRESSION_TYPE_XPRESS, 65536, 0, &compressor), 0);
	srand(7);
	for (size_t i = 0; i < 65536; i++)
		in[i] = (uint8_t)(rand() % 9 == 0 ? rand() : "compost heap, bean rota "[i % 24]);
	for (size_t length = 600; length <= 65536; length += 1553) {
		size_t made = wimlib_compress(in, length, packed, length - 1, compressor);

		assert_true(made > 0);
		memset(out, 0, length);
		assert_true(xpress_decode(packed, made, out, length));
		assert_memory_equal(out, in, length);
		for (size_t cut = 0; cut < 200; cut += 7)
			xpress_decode(packed, cut, out, length);
	}
	wimlib_free_compressor(compressor);
	free(in);
	free(packed);
	free(out);
}

/* --- shell links --- */

static const uint8_t link_example[] = {0x4C, 0, 0, 0, 0x01, 0x14, 0x02, 0, 0, 0, 0, 0, 0xC0, 0, 0,
    0, 0, 0, 0, 0x46, 0x9B, 0x00, 0x08, 0x00, 0x20, 0, 0, 0, 0xD0, 0xE9, 0xEE, 0xF2, 0x15, 0x15,
    0xC9, 0x01, 0xD0, 0xE9, 0xEE, 0xF2, 0x15, 0x15, 0xC9, 0x01, 0xD0, 0xE9, 0xEE, 0xF2, 0x15, 0x15,
    0xC9, 0x01, 0, 0, 0, 0, 0, 0, 0, 0, 0x01, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0,
    /* item list */
    0xBD, 0, 0x14, 0, 0x1F, 0x50, 0xE0, 0x4F, 0xD0, 0x20, 0xEA, 0x3A, 0x69, 0x10, 0xA2, 0xD8, 0x08,
    0, 0x2B, 0x30, 0x30, 0x9D, 0x19, 0, 0x2F, 0x43, 0x3A, 0x5C, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0,
    0, 0, 0, 0, 0, 0, 0, 0x46, 0, 0x31, 0, 0, 0, 0, 0, 0x2C, 0x39, 0x69, 0xA3, 0x10, 0, 0x74, 0x65,
    0x73, 0x74, 0, 0, 0x32, 0, 0x07, 0, 0x04, 0, 0xEF, 0xBE, 0x2C, 0x39, 0x65, 0xA3, 0x2C, 0x39,
    0x69, 0xA3, 0x26, 0, 0, 0, 0x03, 0x1E, 0, 0, 0, 0, 0xF5, 0x1E, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0,
    0x74, 0, 0x65, 0, 0x73, 0, 0x74, 0, 0, 0, 0x14, 0, 0x48, 0, 0x32, 0, 0, 0, 0, 0, 0x2C, 0x39,
    0x69, 0xA3, 0x20, 0, 0x61, 0x2E, 0x74, 0x78, 0x74, 0, 0x34, 0, 0x07, 0, 0x04, 0, 0xEF, 0xBE,
    0x2C, 0x39, 0x69, 0xA3, 0x2C, 0x39, 0x69, 0xA3, 0x26, 0, 0, 0, 0x2D, 0x6E, 0, 0, 0, 0, 0x96,
    0x01, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0x61, 0, 0x2E, 0, 0x74, 0, 0x78, 0, 0x74, 0, 0, 0, 0x14, 0,
    0, 0,
    /* LinkInfo */
    0x3C, 0, 0, 0, 0x1C, 0, 0, 0, 0x01, 0, 0, 0, 0x1C, 0, 0, 0, 0x2D, 0, 0, 0, 0, 0, 0, 0, 0x3B, 0,
    0, 0, 0x11, 0, 0, 0, 0x03, 0, 0, 0, 0x81, 0x8A, 0x7A, 0x30, 0x10, 0, 0, 0, 0, 0x43, 0x3A, 0x5C,
    0x74, 0x65, 0x73, 0x74, 0x5C, 0x61, 0x2E, 0x74, 0x78, 0x74, 0, 0,
    /* StringData */
    0x07, 0, 0x2E, 0, 0x5C, 0, 0x61, 0, 0x2E, 0, 0x74, 0, 0x78, 0, 0x74, 0, 0x07, 0, 0x43, 0, 0x3A,
    0, 0x5C, 0, 0x74, 0, 0x65, 0, 0x73, 0, 0x74, 0,
    /* TrackerDataBlock and the end */
    0x60, 0, 0, 0, 0x03, 0, 0, 0xA0, 0x58, 0, 0, 0, 0, 0, 0, 0, 0x63, 0x68, 0x72, 0x69, 0x73, 0x2D,
    0x78, 0x70, 0x73, 0, 0, 0, 0, 0, 0, 0, 0x40, 0x78, 0xC7, 0x94, 0x47, 0xFA, 0xC7, 0x46, 0xB3,
    0x56, 0x5C, 0x2D, 0xC6, 0xB6, 0xD1, 0x15, 0xEC, 0x46, 0xCD, 0x7B, 0x22, 0x7F, 0xDD, 0x11, 0x94,
    0x99, 0, 0x13, 0x72, 0x16, 0x87, 0x4A, 0x40, 0x78, 0xC7, 0x94, 0x47, 0xFA, 0xC7, 0x46, 0xB3,
    0x56, 0x5C, 0x2D, 0xC6, 0xB6, 0xD1, 0x15, 0xEC, 0x46, 0xCD, 0x7B, 0x22, 0x7F, 0xDD, 0x11, 0x94,
    0x99, 0, 0x13, 0x72, 0x16, 0x87, 0x4A, 0, 0, 0, 0};

static void test_link_example(void **state)
{
	struct arena arena = {0};
	struct shell_link link;
	uint8_t *cut;

	(void)state;
	assert_true(shell_link_read(link_example, sizeof(link_example), &arena, &link));
	assert_string_equal(link.target, "C:\\test\\a.txt");
	assert_string_equal(link.from, "LinkInfo");
	assert_string_equal(link.items, "C:\\test\\a.txt");
	assert_string_equal(link.relative, ".\\a.txt");
	assert_string_equal(link.folder, "C:\\test");
	assert_string_equal(link.machine, "chris-xps");
	assert_int_equal(link.drive, LINK_DRIVE_FIXED);
	assert_int_equal(link.volume_serial, 0x307A8A81);
	assert_int_equal(link.attributes, 0x20);
	assert_true(link.created == 128657248371010000);
	assert_int_equal(link.length, sizeof(link_example));
	/* Whatever its end: no byte beyond is touched (malloc, for the sanitizers). */
	for (size_t length = 0; length < sizeof(link_example); length++) {
		cut = malloc(length + 1);
		memcpy(cut, link_example, length);
		cut = realloc(cut, length ? length : 1);
		assert_int_equal(shell_link_read(cut, length, &arena, &link), length >= 0x4C);
		if (length >= 0x4C)
			assert_true(link.length <= length);
		free(cut);
	}
	arena_free(&arena);
}

/* A share with a mapped letter, in 8-bit and in wide text ([MS-SHLLINK] 2.3.2). */
static void test_link_to_share(void **state)
{
	static const char name[] = "\\\\HUT-SERVER\\papers", device[] = "P:", tail[] = "rota.txt";
	uint8_t bytes[0x4C + 200] = {0}, *info = bytes + 0x4C, *share = info + 28;
	struct arena arena = {0};
	struct shell_link link;
	uint32_t size = 20 + sizeof(name) + sizeof(device);

	(void)state;
	memcpy(bytes, link_example, 0x4C);
	put_u32(bytes + 20, 2);
	put_u32(info, 28 + size + sizeof(tail) + 1);
	put_u32(info + 4, 28);
	put_u32(info + 8, 2);
	put_u32(info + 20, 28);
	put_u32(info + 24, 28 + size);
	put_u32(share, size);
	put_u32(share + 4, 1);
	put_u32(share + 8, 20);
	put_u32(share + 12, 20 + sizeof(name));
	memcpy(share + 20, name, sizeof(name));
	memcpy(share + 20 + sizeof(name), device, sizeof(device));
	memcpy(info + 28 + size, tail, sizeof(tail));
	assert_true(shell_link_read(bytes, sizeof(bytes), &arena, &link));
	assert_string_equal(link.target, "\\\\HUT-SERVER\\papers\\rota.txt");
	assert_string_equal(link.device, "P:");
	assert_true(link.is_on_share);
	put_u32(share + 8, 4000);
	assert_true(shell_link_read(bytes, sizeof(bytes), &arena, &link));
	assert_false(link.is_on_share);
	arena_free(&arena);
}

static void test_8bit_text(void **state)
{
	struct arena arena = {0};

	(void)state;
	assert_string_equal(
	    shell_text_8bit(&arena, (const uint8_t *)"Zo\xEB \x80\x81", 6), "Zoë €\xEF\xBF\xBD");
	arena_free(&arena);
}

/* --- jump lists --- */

static void test_jump_list_numbers(void **state)
{
	(void)state;
	assert_true(
	    jump_list_number("Microsoft.Windows.ControlPanel") == UINT64_C(0x7e4dca80246863e3));
	assert_true(
	    jump_list_number("Microsoft.InternetExplorer.Default") == UINT64_C(0x28c8b86deab549a1));
	assert_true(jump_list_number("{1AC14E77-02E7-4E5D-B744-2EB1AE5198B7}\\notepad.exe") ==
		    UINT64_C(0x9b9cdc69c1c24e2b));
	assert_true(jump_list_number("{1AC14E77-02E7-4E5D-B744-2EB1AE5198B7}\\mspaint.exe") ==
		    UINT64_C(0x12dc1ea8e34b5a6));
	assert_true(jump_list_number("{6D809377-6AF0-444B-8957-A3773F02200E}\\Windows NT\\"
				     "Accessories\\wordpad.exe") == UINT64_C(0x469e4a7982cea4d4));
	assert_true(
	    jump_list_number("Microsoft.Windows.Explorer") == UINT64_C(0xf01b4d95cf55d32a));
}

struct forms {
	size_t count;
	char texts[8][200];
};

static void take_form(void *context, const char *form)
{
	struct forms *forms = context;

	assert_true(forms->count < 8);
	snprintf(forms->texts[forms->count++], sizeof(forms->texts[0]), "%s", form);
}

/* A path as it stands, and with each folder that is known by role: KNOWNFOLDERID. */
static void test_path_forms(void **state)
{
	struct person person = {.path = "C:\\Users\\mara"};
	struct old_system system = {.letter = 'C', .persons = &person, .n_persons = 1};
	struct arena arena = {0};
	struct forms forms = {0};

	(void)state;
	program_path_forms(&system, "c:\\windows\\system32\\MSPaint.exe", &arena, take_form, &forms);
	assert_int_equal(forms.count, 3);
	assert_string_equal(
	    forms.texts[1], "{1AC14E77-02E7-4E5D-B744-2EB1AE5198B7}\\MSPaint.exe");
	forms.count = 0;
	program_path_forms(&system, "C:\\Users\\mara\\AppData\\Local\\Programs\\x\\x.exe", &arena,
	    take_form, &forms);
	assert_int_equal(forms.count, 3);
	assert_string_equal(forms.texts[1], "{5CD7AEE2-2219-4A67-B85D-6C9CE15660CB}\\x\\x.exe");
	forms.count = 0;
	program_path_forms(&system, "D:\\Program Files\\x.exe", &arena, take_form, &forms);
	assert_int_equal(forms.count, 1);
	arena_free(&arena);
}

static void test_command_programs(void **state)
{
	static const char *const commands[][2] = {{"\"C:\\a b\\p.exe\" \"%1\"", "C:\\a b\\p.exe"},
	    {"C:\\a b\\P.EXE %1", "C:\\a b\\P.EXE"}, {"p.exe", "p.exe"},
	    {"C:\\a.exe.old\\p.exe /x", "C:\\a.exe.old\\p.exe"}, {"\"\" x", NULL}, {"\"", NULL},
	    {"", NULL}, {"rundll32 x.dll", NULL}};
	struct arena arena = {0};

	(void)state;
	for (size_t i = 0; i < sizeof(commands) / sizeof(commands[0]); i++) {
		char *program = command_program(commands[i][0], &arena);

		if (commands[i][1])
			assert_string_equal(program, commands[i][1]);
		else
			assert_null(program);
	}
	arena_free(&arena);
}

/* A store as [MS-PROPSTORE] 2.2 to 2.4 has it: another set first, another number first; cut anywhere. */
static void test_identity(void **state)
{
	static const uint8_t store[] = {28, 0, 0, 0, '1', 'S', 'P', 'S', 1, 1, 1, 1, 1, 1, 1, 1, 1, 1,
	    1, 1, 1, 1, 1, 1, 0, 0, 0, 0, /* */
	    66, 0, 0, 0, '1', 'S', 'P', 'S', 0x55, 0x28, 0x4C, 0x9F, 0x79, 0x9F, 0x39, 0x4B, 0xA8,
	    0xD0, 0xE1, 0xD4, 0x2D, 0xE1, 0xD5, 0xF3, /* */
	    17, 0, 0, 0, 2, 0, 0, 0, 0, 0x13, 0, 0, 0, 1, 0, 0, 0, /* */
	    21, 0, 0, 0, 5, 0, 0, 0, 0, 0x1F, 0, 0, 0, 2, 0, 0, 0, 'F', 0, 0, 0, /* */
	    0, 0, 0, 0, 0, 0, 0, 0};
	struct arena arena = {0};

	(void)state;
	assert_string_equal(shell_link_identity(store, sizeof(store), &arena), "F");
	for (size_t length = 0; length < sizeof(store) - 4; length++) {
		uint8_t *cut = malloc(length + 1);

		memcpy(cut, store, length);
		assert_null(shell_link_identity(cut, length, &arena));
		free(cut);
	}
	arena_free(&arena);
}

/* One category of each kind, two links in all. */
static void test_custom_list(void **state)
{
	uint8_t bytes[2 * sizeof(link_example) + 200] = {2, 0, 0, 0, 3}, *at = bytes + 12;
	struct arena arena = {0};
	struct jump_list list;

	(void)state;
	put_u32(at, 1); /* known: recent */
	put_u32(at + 4, 2);
	put_u32(at + 8, 0xBABFFBAB);
	at += 12;
	put_u32(at, 0); /* made by the program: "AB" */
	memcpy(at + 4, "\2\0A\0B\0\1\0\0", 10);
	at += 14;
	memcpy(at, link_example + 4, 16);
	memcpy(at + 16, link_example, sizeof(link_example));
	at += 16 + sizeof(link_example);
	put_u32(at, 0xBABFFBAB);
	put_u32(at + 4, 2); /* tasks */
	put_u32(at + 8, 1);
	at += 12;
	memcpy(at, link_example + 4, 16);
	memcpy(at + 16, link_example, sizeof(link_example));
	at += 16 + sizeof(link_example);
	put_u32(at, 0xBABFFBAB);
	at += 4;
	assert_true(jump_list_read_custom(bytes, (size_t)(at - bytes), &arena, &list));
	assert_int_equal(list.n_entries, 2);
	assert_string_equal(list.entries[1].path, "C:\\test\\a.txt");
	for (size_t length = 12; length < (size_t)(at - bytes); length += 3)
		assert_true(jump_list_read_custom(bytes, length, &arena, &list));
	assert_false(jump_list_read_custom(bytes, 11, &arena, &list));
	arena_free(&arena);
}

/* --- start counts --- */

static void test_start_counts(void **state)
{
	uint8_t data[72] = {0};
	struct arena arena = {0};
	struct start_count count;

	(void)state;
	put_u32(data + 4, 9);
	put_u64(data + 8, 131000000000000000);
	assert_true(
	    start_count_read("HRZR_EHACNGU:P:\\Sreauvyy\\yrqtre.rkr", data, 16, 0, &arena, &count));
	assert_string_equal(count.name, "C:\\Fernhill\\ledger.exe");
	assert_int_equal(count.count, 4); /* the first start is number 6 */
	assert_true(count.last == 131000000000000000);
	assert_false(start_count_read("HRZR_PGYFRFFVBA", data, 16, 3, &arena, &count));
	assert_false(start_count_read("HRZR_EHACNGU:P:\\n", data, 15, 3, &arena, &count));
	put_u64(data + 60, 132000000000000000);
	assert_true(start_count_read("P:\\n.rkr", data, 72, 5, &arena, &count));
	assert_string_equal(count.name, "C:\\a.exe");
	assert_int_equal(count.count, 9);
	assert_true(count.last == 132000000000000000);
	assert_false(start_count_read("P:\\n.rkr", data, 72, 3, &arena, &count));
	arena_free(&arena);
}

/* --- compound files and programs that are none --- */

static void test_not_a_compound(void **state)
{
	uint8_t bytes[1536] = {0xD0, 0xCF, 0x11, 0xE0, 0xA1, 0xB1, 0x1A, 0xE1};
	struct arena arena = {0};
	struct compound file;

	(void)state;
	assert_false(compound_open(bytes, sizeof(bytes), &arena, &file));
	put_u16(bytes + 30, 9);
	put_u16(bytes + 32, 6);
	memset(bytes + 76, 0xFF, 436);
	/* The directory is its own successor, and every entry empty. */
	put_u32(bytes + 76, 0);
	put_u32(bytes + 48, 1);
	put_u32(bytes + 512 + 4, 1);
	assert_false(compound_open(bytes, sizeof(bytes), &arena, &file));
	assert_false(compound_open(bytes, 511, &arena, &file));
	arena_free(&arena);
}

static size_t read_nothing(void *context, uint64_t offset, uint8_t *buffer, size_t length)
{
	(void)context;
	(void)offset;
	(void)buffer;
	(void)length;
	return 0;
}

static void test_not_a_program(void **state)
{
	struct version_reader reader = {read_nothing, NULL};
	struct arena arena = {0};
	struct version_info info;
	struct run_trace trace;
	uint8_t packed[300] = {'M', 'A', 'M', 4, 0xFF, 0xFF, 0xFF, 0xFF};

	(void)state;
	assert_false(version_info_read_program(&reader, &arena, &info));
	assert_string_equal(info.product, "");
	assert_false(version_info_read_package((const uint8_t *)"", 0, &arena, &info));
	/* No memory is asked for because of a length in the file alone. */
	assert_false(run_trace_read(packed, sizeof(packed), &arena, &trace));
	assert_false(run_trace_read(packed, 3, &arena, &trace));
	arena_free(&arena);
}

/* "INF Version Section" (Windows driver documentation): quotes, remarks, a text from [Strings]. */
static void test_setup_file(void **state)
{
	static const char text[] = "; class = none\r\n[Manufacturer]\nClass=Net\n[version]\n"
				   " class = Image ; scanners\nProvider= %Maker%\n"
				   "DriverVer=09/04/2018,2.4\n[Strings]\nMaker = \"Meadow\"\n";
	struct setup_info info;

	(void)state;
	setup_info_read((const uint8_t *)text, sizeof(text) - 1, &info);
	assert_string_equal(info.device_class, "Image");
	assert_string_equal(info.provider, "Meadow");
	assert_string_equal(info.version, "09/04/2018,2.4");
	setup_info_read((const uint8_t *)"\xff\xfe[", 3, &info);
	assert_string_equal(info.device_class, "");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_xpress_example),
	    cmocka_unit_test(test_xpress_of_libwim),
	    cmocka_unit_test(test_link_example),
	    cmocka_unit_test(test_link_to_share),
	    cmocka_unit_test(test_8bit_text),
	    cmocka_unit_test(test_jump_list_numbers),
	    cmocka_unit_test(test_path_forms),
	    cmocka_unit_test(test_command_programs),
	    cmocka_unit_test(test_identity),
	    cmocka_unit_test(test_custom_list),
	    cmocka_unit_test(test_start_counts),
	    cmocka_unit_test(test_not_a_compound),
	    cmocka_unit_test(test_not_a_program),
	    cmocka_unit_test(test_setup_file),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
