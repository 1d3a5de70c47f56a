/*
 * Fuzz target: a whole small NTFS volume, read from end to end.
 *
 * The volume is sound at first (every kind of attribute and stream is on it). The input is a list
 * of edits of four bytes each: offset (16 bits), kind, value. Records get their fixups after the
 * edits, so that a changed record is still read, but for edits of kinds that come last.
 */
#include "base/bytes.h"
#include "memory_image.h"
#include "ntfs/data.h"
#include "ntfs/record.h"
#include "ntfs/reparse.h"
#include "ntfs/view.h"

#include <stdlib.h>
#include <string.h>

#define IMAGE 65536u
#define CLUSTER 512u
#define RECORD 1024u
#define TABLE_LCN 16u
#define RECORDS 24u
#define DATA_LCN 64u
#define EDIT_LATE 0x80u /* in the kind: after the fixups */

struct image {
	uint8_t bytes[IMAGE];
	uint8_t *record;
	size_t used;
};

static void start_record(struct image *image, unsigned number, unsigned flags)
{
	image->record = image->bytes + TABLE_LCN * CLUSTER + number * RECORD;
	memcpy(image->record, "FILE", 4);
	put_u16(image->record + 4, 0x30);
	put_u16(image->record + 6, 3);
	put_u16(image->record + 0x10, 1);
	put_u16(image->record + 0x14, 0x38);
	put_u16(image->record + 0x16, (uint16_t)flags);
	image->used = 0x38;
}

static void end_record(struct image *image)
{
	put_u32(image->record + image->used, 0xFFFFFFFF);
	put_u32(image->record + 0x18, (uint32_t)image->used + 8);
}

static uint8_t *add_resident(struct image *image, uint32_t type, const void *value, size_t length)
{
	uint8_t *at = image->record + image->used;

	put_u32(at, type);
	put_u32(at + 4, (uint32_t)(0x18 + length + 7) / 8 * 8);
	put_u32(at + 0x10, (uint32_t)length);
	put_u16(at + 0x14, 0x18);
	memcpy(at + 0x18, value, length);
	image->used += get_u32(at + 4);
	return at;
}

static uint8_t *add_runs(struct image *image, uint32_t type, const char *pairs, size_t length,
    uint64_t lowest, uint64_t clusters)
{
	uint8_t *at = image->record + image->used;

	put_u32(at, type);
	put_u32(at + 4, (uint32_t)(0x40 + length + 7) / 8 * 8);
	at[8] = 1;
	put_u64(at + 0x10, lowest);
	put_u64(at + 0x18, lowest + clusters - 1);
	put_u16(at + 0x20, 0x40);
	put_u64(at + 0x28, clusters * CLUSTER);
	put_u64(at + 0x30, clusters * CLUSTER - 3);
	put_u64(at + 0x38, clusters * CLUSTER - 3);
	memcpy(at + 0x40, pairs, length);
	image->used += get_u32(at + 4);
	return at;
}

static void add_name(struct image *image, unsigned parent, char letter, unsigned space)
{
	uint8_t value[0x44] = {0};

	put_u64(value, UINT64_C(1) << 48 | parent);
	value[0x40] = 1;
	value[0x41] = (uint8_t)space;
	value[0x42] = (uint8_t)letter;
	add_resident(image, ATTR_FILE_NAME, value, sizeof(value));
}

static void add_standard(struct image *image)
{
	uint8_t value[0x48] = {0};

	add_resident(image, ATTR_STANDARD_INFORMATION, value, sizeof(value));
}

/* A folder's index: one entry, and where its blocks lie. */
static void add_index(struct image *image, unsigned file, unsigned folder)
{
	uint8_t *at = image->record + image->used, *entry = at + 0x20 + 0x20;

	put_u32(at, ATTR_INDEX_ROOT);
	put_u32(at + 4, 0x20 + 0x20 + 0x58 + 0x10);
	at[9] = 4;
	put_u16(at + 10, 0x18);
	memcpy(at + 0x18, "$\0I\0003\0000", 8);
	put_u32(at + 0x10, 0x20 + 0x58 + 0x10);
	put_u16(at + 0x14, 0x20);
	put_u32(at + 0x20 + 8, 512);
	put_u32(at + 0x20 + 0x10, 0x10);
	put_u32(at + 0x20 + 0x14, 0x10 + 0x58 + 0x10);
	put_u64(entry, UINT64_C(1) << 48 | file);
	put_u16(entry + 8, 0x58);
	put_u16(entry + 10, 0x44);
	put_u64(entry + 0x10, UINT64_C(1) << 48 | folder);
	put_u64(entry + 0x10 + 0x30, 2000);
	entry[0x10 + 0x40] = 1;
	entry[0x10 + 0x42] = 'q';
	put_u16(entry + 0x58 + 12, 2);
	image->used += get_u32(at + 4);
}

static void make_boot(struct image *image)
{
	uint8_t *boot = image->bytes;

	memcpy(boot + 3, "NTFS    ", 8);
	put_u16(boot + 0x0B, 512);
	boot[0x0D] = 1;
	put_u64(boot + 0x28, IMAGE / 512 - 1);
	put_u64(boot + 0x30, TABLE_LCN);
	put_u64(boot + 0x38, 8);
	boot[0x40] = 2;
	memcpy(image->bytes + IMAGE - 512, boot, 512);
}

static void make_system(struct image *image)
{
	static const uint8_t information[12] = {[8] = 3, 1};

	start_record(image, 0, 1);
	add_standard(image);
	add_name(image, 5, '$', 3);
	add_runs(image, ATTR_DATA, "\x11\x30\x10", 4, 0, 2 * RECORDS);
	put_u64(image->record + image->used - 0x48 + 0x30, RECORDS * RECORD);
	put_u64(image->record + image->used - 0x48 + 0x38, RECORDS * RECORD);
	add_resident(image, ATTR_BITMAP, "\xFF\xFF\xFF", 3);
	end_record(image);
	start_record(image, 2, 1);
	add_runs(image, ATTR_DATA, "\x11\x10\x70", 4, 0, 16);
	end_record(image);
	start_record(image, 3, 1);
	add_resident(image, ATTR_VOLUME_NAME, "S\0h\0e\0d\0", 8);
	add_resident(image, ATTR_VOLUME_INFORMATION, information, sizeof(information));
	end_record(image);
	start_record(image, 5, 3);
	add_standard(image);
	add_name(image, 5, '.', 3);
	add_runs(image, ATTR_INDEX_ALLOCATION, "\x11\x04\x60", 4, 0, 4);
	end_record(image);
	start_record(image, 6, 1);
	add_resident(image, ATTR_DATA, "0123456789abcdef", 16);
	end_record(image);
	start_record(image, 11, 3);
	add_name(image, 5, 'e', 3);
	end_record(image);
}

static void make_files(struct image *image)
{
	uint8_t *at;

	start_record(image, 12, 1);
	add_standard(image);
	add_name(image, 20, 'a', 1);
	add_name(image, 20, 'b', 2);
	add_name(image, 11, 'c', 0);
	add_resident(image, ATTR_DATA, "resident", 8);
	end_record(image);
	start_record(image, 16, 1);
	add_standard(image);
	add_name(image, 5, 'z', 3);
	at = add_runs(image, ATTR_DATA, "\x11\x02\x40\x01\x0E\x11\x10\x04\x01\x10", 11, 0, 48);
	put_u16(at + 12, 1);
	at[0x22] = 4;
	end_record(image);
	start_record(image, 20, 3);
	add_standard(image);
	add_name(image, 5, 'd', 3);
	add_index(image, 22, 20); /* whose record is no record */
	end_record(image);
	start_record(image, 21, 1);
	add_name(image, 20, 's', 3);
	at = add_runs(image, ATTR_DATA, "\x11\x02\x50\x01\x20\x11\x02\x0A", 9, 0, 36);
	put_u16(at + 12, 0x8000);
	add_resident(image, ATTR_REPARSE_POINT,
	    "\x0C\0\0\xA0\x14\0\0\0\0\0\x04\0\x04\0\x04\0\1\0\0\0x\0y\0z\0w\0", 28);
	end_record(image);
}

/* A file in three records, the list itself on the volume. */
static void make_listed(struct image *image)
{
	uint8_t *list = image->bytes + DATA_LCN * CLUSTER + 40 * CLUSTER, *at;

	for (unsigned i = 0; i < 4; i++) {
		at = list + 0x20 * i;
		put_u32(at, i == 0 ? ATTR_FILE_NAME : ATTR_DATA);
		put_u16(at + 4, 0x20);
		at[7] = 0x1A;
		put_u64(at + 8, i > 1 ? 4 * (i - 1) : 0);
		put_u64(at + 0x10, UINT64_C(1) << 48 | (i < 2 ? 17 : 16 + i));
	}
	start_record(image, 17, 1);
	add_standard(image);
	at = add_runs(image, ATTR_LIST, "\x11\x01\x68", 4, 0, 1);
	put_u64(at + 0x30, 0x80);
	put_u64(at + 0x38, 0x80);
	add_name(image, 20, 'l', 3);
	at = add_runs(image, ATTR_DATA, "\x11\x04\x48", 4, 0, 4);
	put_u64(at + 0x30, 12 * CLUSTER);
	put_u64(at + 0x38, 12 * CLUSTER);
	end_record(image);
	for (unsigned i = 18; i < 20; i++) {
		start_record(image, i, 1);
		put_u64(image->record + 0x20, UINT64_C(1) << 48 | 17);
		add_runs(image, ATTR_DATA, i == 18 ? "\x11\x04\x58" : "\x11\x04\x50", 4,
		    4 * (i - 17), 4);
		end_record(image);
	}
}

/* An encrypted file with a gap, and its key stream. */
static void make_encrypted(struct image *image)
{
	static const uint8_t key[20] = {20, [8] = 2};
	uint8_t *at;

	start_record(image, 23, 1);
	add_standard(image);
	add_name(image, 5, 'k', 3);
	at = add_runs(image, ATTR_DATA, "\x11\x02\x44\x01\x03\x11\x01\x12", 9, 0, 6);
	put_u16(at + 12, 0xC000);
	at = image->record + image->used;
	put_u32(at, ATTR_LOGGED_UTILITY_STREAM);
	put_u32(at + 4, 0x38);
	at[9] = 4;
	put_u16(at + 10, 0x18);
	put_u32(at + 0x10, sizeof(key));
	put_u16(at + 0x14, 0x20);
	memcpy(at + 0x18, "$\0E\0F\0S\0", 8);
	memcpy(at + 0x20, key, sizeof(key));
	image->used += 0x38;
	end_record(image);
}

static void edit(struct image *image, const uint8_t *data, size_t size, bool late)
{
	for (; size >= 4; data += 4, size -= 4) {
		uint8_t *at = image->bytes + get_u16(data);

		if (((data[2] & EDIT_LATE) != 0) != late)
			continue;
		switch (data[2] & 3) {
		case 0:
			*at = data[3];
			break;
		case 1:
			*at ^= data[3];
			break;
		case 2:
			memset(at, data[3], (size_t)(image->bytes + IMAGE - at) < 8 ? 1 : 8);
			break;
		default: /* a record over another one */
			memcpy(image->bytes + TABLE_LCN * CLUSTER + data[3] % RECORDS * RECORD,
			    image->bytes + TABLE_LCN * CLUSTER + data[0] % RECORDS * RECORD,
			    data[3] % RECORDS == data[0] % RECORDS ? 0 : RECORD);
			break;
		}
	}
}

static void protect(struct image *image)
{
	for (unsigned i = 0; i < RECORDS; i++) {
		uint8_t *record = image->bytes + TABLE_LCN * CLUSTER + i * RECORD;

		if (get_u16(record + 4) != 0x30)
			continue;
		for (unsigned sector = 1; sector <= 2; sector++) {
			memcpy(record + 0x30 + 2 * sector, record + 512 * sector - 2, 2);
			memcpy(record + 512 * sector - 2, record + 0x30, 2);
		}
	}
	memcpy(image->bytes + 8 * CLUSTER, image->bytes + TABLE_LCN * CLUSTER, 4 * RECORD);
}

static void check(bool truth)
{
	if (!truth)
		abort();
}

static void read_stream(const struct catalogue *catalogue, const struct stream *stream)
{
	static uint8_t bytes[70000];
	struct data_reader *reader = data_open(catalogue, stream);
	struct holes holes = {0};
	uint64_t done = 0;

	check(reader != NULL);
	for (unsigned i = 0; i < 8 && done < stream->size; i++) {
		uint64_t sparse = data_sparse(reader, UINT64_MAX);
		size_t got;

		if (sparse > 0 && i % 2 == 0) {
			check(sparse <= stream->size - done);
			data_skip(reader, sparse);
			done += sparse;
			continue;
		}
		got = data_read(reader, bytes, 3000 + 9000 * i, &holes);
		check(got > 0);
		done += got;
	}
	check(done <= stream->size);
	for (size_t i = 0; i < holes.count; i++) {
		check(holes.items[i].length <= stream->size);
		check(holes.items[i].offset <= stream->size - holes.items[i].length);
	}
	data_content(catalogue, stream);
	data_close(reader);
	holes_clear(&holes);
	data_missing(catalogue, stream, &holes);
	holes_free(&holes);
}

/* Ascending, apart, and within so many bytes. */
static void check_ranges(const struct holes *ranges, uint64_t limit)
{
	uint64_t end = 0;

	for (size_t i = 0; i < ranges->count; i++) {
		check(ranges->items[i].offset >= end && ranges->items[i].length > 0);
		check(ranges->items[i].offset <= limit);
		check(ranges->items[i].length <= limit - ranges->items[i].offset);
		end = ranges->items[i].offset + ranges->items[i].length;
	}
}

static void read_view(
    const struct catalogue *catalogue, const struct stream *stream, enum view view)
{
	static uint8_t bytes[70000];
	enum view whole = (enum view)(view & ~VIEW_RANGES);
	uint64_t size = view_size(catalogue, stream, view), done = 0;
	struct view_reader *reader = view_open(catalogue, stream, view);
	struct holes holes = {0};

	check(reader != NULL);
	view_ranges(catalogue, stream, view, &holes);
	check_ranges(&holes, view_size(catalogue, stream, whole));
	check((view & VIEW_RANGES) == 0 || holes_total(&holes) == size);
	holes_clear(&holes);
	for (unsigned i = 0; i < 8 && done < size; i++) {
		size_t wanted = 3000 + 9000 * i, got;
		uint64_t sparse = view_sparse(reader, wanted);

		check(sparse <= wanted && sparse <= size - done);
		check(view_dense(reader, wanted) <= wanted);
		if (sparse > 0 && i % 2 == 0) {
			view_skip(reader, sparse);
			done += sparse;
			continue;
		}
		got = view_read(reader, bytes, wanted, &holes);
		check(got > 0 && got <= size - done);
		done += got;
	}
	check_ranges(&holes, view_size(catalogue, stream, whole));
	view_close(reader);
	holes_free(&holes);
}

static void read_node(const struct catalogue *catalogue, uint32_t number)
{
	const struct node *node = catalogue_node(catalogue, number);
	struct arena arena = {0};
	struct buf path = {0};
	const uint32_t *children;
	bool relative;

	if (node == NULL)
		return;
	for (uint32_t i = 0; i < node->n_entries; i++) {
		check(catalogue->entries[node->first_entry + i].node == number);
		catalogue_path(catalogue, node->first_entry + i, &path);
		catalogue_lookup(catalogue, NODE_ROOT, buf_text(&path));
		buf_clear(&path);
	}
	for (uint32_t i = 0; i < node->n_streams; i++) {
		check(catalogue->streams[node->first_stream + i].node == number);
		read_stream(catalogue, &catalogue->streams[node->first_stream + i]);
		for (int view = VIEW_CONTENT; view <= VIEW_RAW_RANGES; view++)
			read_view(catalogue, &catalogue->streams[node->first_stream + i],
			    (enum view)view);
	}
	for (size_t i = catalogue_children(catalogue, number, &children); i-- > 0;)
		check(catalogue->entries[children[i]].parent == number);
	catalogue_clusters(catalogue, number);
	reparse_target(catalogue, number, &arena, &relative);
	buf_free(&path);
	arena_free(&arena);
}

/* Without edits everything is found; of the encrypted file three clusters and its key are there. */
static void check_sound(const struct catalogue *catalogue)
{
	const struct node *node = catalogue_node(catalogue, 23);

	check(catalogue->n_entries >= 9);
	check(catalogue_lookup(catalogue, NODE_ROOT, "d\\q") == 22);
	check(node != NULL && node->n_streams == 2);
	for (uint32_t i = 0; i < 2; i++) {
		const struct stream *stream = &catalogue->streams[node->first_stream + i];

		if ((stream->flags & STREAM_KEY) != 0) {
			check(view_size(catalogue, stream, VIEW_CONTENT) == 20);
			continue;
		}
		check(data_content(catalogue, stream) == CONTENT_ENCRYPTED);
		check(view_size(catalogue, stream, VIEW_RAW) == (uint64_t)6 * CLUSTER);
		check(view_size(catalogue, stream, VIEW_RAW_RANGES) == (uint64_t)3 * CLUSTER);
	}
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static struct image image;
	static struct memory_image drive = {image.bytes, IMAGE, 90};
	static struct source
	    *source; /* opened once: a thread for every input would take most time */
	struct findings findings;
	struct volume *volume;
	struct error error;

	memset(&image, 0, sizeof(image));
	make_boot(&image);
	make_system(&image);
	make_files(&image);
	make_listed(&image);
	make_encrypted(&image);
	edit(&image, data, size, false);
	protect(&image);
	edit(&image, data, size, true);

	if (source == NULL)
		source = memory_image_open(&drive);
	check(source != NULL);
	findings_init(&findings);
	volume = volume_open(source, 0, IMAGE, "C:", &findings, &error);
	if (volume != NULL && catalogue_read(volume, "C:", &findings, &error)) {
		for (uint32_t i = 0; i < volume->catalogue->n_nodes; i++)
			read_node(volume->catalogue, i);
		if (size == 0)
			check_sound(volume->catalogue);
	} else {
		check(size > 0);
	}
	volume_close(volume);
	findings_free(&findings);
	return 0;
}
