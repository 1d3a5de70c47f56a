/* Run traces: see run_trace.h. */
#include "system/run_trace.h"

#include "base/bytes.h"
#include "base/utf.h"
#include "system/xpress.h"

#include <string.h>

#define HEADER 84u
#define NAME_AT 16u
#define NAME_UNITS 29u       /* without the NUL */
#define PACKED_FORMAT 4u     /* XPRESS with Huffman codes */
#define PACKED_CHECKED 0x80u /* a checksum stands before the packed bytes */
#define VOLUME_LIMIT 64u

/* Where the fields stand, from the file's start; `metrics` tells the two forms of version 30. */
struct layout {
	unsigned version;
	uint32_t metrics; /* 0: any */
	unsigned times, n_times, count, volume_size;
};

static const struct layout layouts[] = {
    {17, 0, 120, 1, 144, 40},
    {23, 0, 128, 1, 152, 104},
    {26, 0, 128, 8, 208, 104},
    {30, 296, 128, 8, 200, 96},
    {30, 0, 128, 8, 208, 96},
    {31, 304, 128, 8, 208, 96},
    {31, 0, 128, 8, 200, 96},
};

static const struct layout *find_layout(const uint8_t *data)
{
	unsigned version = get_u32(data);
	uint32_t metrics = get_u32(data + HEADER);

	for (size_t i = 0; i < sizeof(layouts) / sizeof(layouts[0]); i++)
		if (layouts[i].version == version &&
		    (layouts[i].metrics == 0 || layouts[i].metrics == metrics))
			return &layouts[i];
	return NULL;
}

/* UTF-16 up to a NUL, at most `limit` units of which *used are taken. */
static char *wide_text(struct arena *arena, const uint8_t *bytes, size_t limit, size_t *used)
{
	size_t units = 0;

	while (units < limit && get_u16(bytes + 2 * units) != 0)
		units++;
	if (used)
		*used = units;
	return utf_arena_from_utf16(arena, bytes, units, NULL);
}

/* Is the last name of the path the program's own? Long ones are cut in the header. */
static bool ends_in(const char *path, const char *name, bool is_cut)
{
	const char *last = strrchr(path, '\\');

	last = last ? last + 1 : path;
	return is_cut ? utf_starts_fold(last, name) : utf_equal_fold(last, name);
}

/* The program's own path in the list of the files that it used: a row of texts. */
static void find_path(
    const uint8_t *data, size_t length, struct arena *arena, struct run_trace *trace, bool is_cut)
{
	uint32_t at = get_u32(data + HEADER + 16), size = get_u32(data + HEADER + 20);
	struct arena one = {0};

	if (at > length || size > length - at || *trace->name == '\0')
		return;
	for (uint32_t from = 0; size - from >= 2;) {
		size_t used;
		char *path = wide_text(&one, data + at + from, (size - from) / 2, &used);

		if (path && ends_in(path, trace->name, is_cut)) {
			path = arena_strdup(arena, path);
			if (path)
				trace->path = path;
			break;
		}
		arena_free(&one);
		if (2 * (used + 1) > size - from)
			break;
		from += (uint32_t)(2 * (used + 1));
	}
	arena_free(&one);
}

static void find_volumes(const uint8_t *data, size_t length, struct arena *arena,
    struct run_trace *trace, size_t entry_size)
{
	uint32_t at = get_u32(data + HEADER + 24), count = get_u32(data + HEADER + 28);
	uint32_t size = get_u32(data + HEADER + 32);

	if (at > length || size > length - at || count > VOLUME_LIMIT || count == 0 ||
	    count > size / entry_size)
		return;
	trace->volumes = arena_array(arena, count, sizeof(*trace->volumes));
	for (uint32_t i = 0; trace->volumes && i < count; i++) {
		const uint8_t *entry = data + at + i * entry_size;
		uint32_t name = get_u32(entry), units = get_u32(entry + 4);
		struct run_trace_volume *volume = &trace->volumes[trace->n_volumes];

		if (name > size || units > (size - name) / 2)
			continue;
		volume->device = wide_text(arena, data + at + name, units, NULL);
		volume->created = (int64_t)get_u64(entry + 8);
		volume->serial = get_u32(entry + 16);
		if (volume->device)
			trace->n_volumes++;
	}
}

static bool read_plain(
    const uint8_t *data, size_t length, struct arena *arena, struct run_trace *trace)
{
	const struct layout *layout;
	size_t n_times = 0, used = 0;

	if (length < HEADER + 36 || memcmp(data + 4, "SCCA", 4) != 0)
		return false;
	layout = find_layout(data);
	if (!layout || length < layout->count + 4)
		return false;
	*trace = (struct run_trace){.version = layout->version, .path = ""};
	trace->name = wide_text(arena, data + NAME_AT, NAME_UNITS, &used);
	if (!trace->name)
		return false;
	trace->hash = get_u32(data + 76);
	trace->count = get_u32(data + layout->count);
	for (unsigned i = 0; i < layout->n_times; i++) {
		int64_t time = (int64_t)get_u64(data + layout->times + 8 * i);

		if (time > 0)
			trace->times[n_times++] = time;
	}
	find_path(data, length, arena, trace, used == NAME_UNITS);
	find_volumes(data, length, arena, trace, layout->volume_size);
	return true;
}

bool run_trace_read(
    const uint8_t *data, size_t length, struct arena *arena, struct run_trace *trace)
{
	struct arena unpacked = {0};
	size_t size, start = 8;
	uint8_t *plain;
	bool good;

	*trace = (struct run_trace){.name = "", .path = ""};
	if (length < 8 || memcmp(data, "MAM", 3) != 0)
		return read_plain(data, length, arena, trace);
	if ((data[3] & ~PACKED_CHECKED) != PACKED_FORMAT)
		return false;
	if (data[3] & PACKED_CHECKED)
		start += 4;
	size = get_u32(data + 4);
	/* No real trace packs to so little: do not ask for memory on such a claim. */
	if (start > length || size > RUN_TRACE_LIMIT || size / 256 > length)
		return false;
	plain = arena_alloc(&unpacked, size);
	good = plain && xpress_decode(data + start, length - start, plain, size) &&
	       read_plain(plain, size, arena, trace);
	arena_free(&unpacked);
	return good;
}
