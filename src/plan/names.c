/* One mapping of names for every format and destination: see names.h. */
#include "plan/names.h"

#include "base/utf.h"

#include <nettle/sha2.h>
#include <string.h>

#define EXTENSION_LIMIT 20 /* bytes with the dot: what is longer is no extension worth keeping */
#define CUT_MARK 17        /* "~" and 16 hex digits */

static const char hex[] = "0123456789ABCDEF";

static void add_escaped(struct buf *out, const char *bytes, size_t length)
{
	for (size_t i = 0; i < length; i++) {
		uint8_t byte = (uint8_t)bytes[i];

		buf_add_byte(out, '%');
		buf_add_byte(out, (uint8_t)hex[byte >> 4]);
		buf_add_byte(out, (uint8_t)hex[byte & 15]);
	}
}

static int hex_digit(char c)
{
	if (c >= '0' && c <= '9')
		return c - '0';
	if (c >= 'A' && c <= 'F')
		return c - 'A' + 10;
	return -1;
}

static bool is_hex_of_any_case(char c)
{
	return hex_digit(c) >= 0 || (c >= 'a' && c <= 'f');
}

/* Is the stem of `length` bytes one of COM and LPT with a digit, or one of the other devices? */
static bool is_device(const char *stem, size_t length)
{
	static const char *const devices[] = {"CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$"};
	static const char *const ports[] = {"COM", "LPT"};

	for (size_t i = 0; i < sizeof(devices) / sizeof(devices[0]); i++)
		if (length == strlen(devices[i]) && utf_starts_fold(stem, devices[i]))
			return true;
	for (size_t i = 0; i < 2; i++) {
		if (length < 4 || !utf_starts_fold(stem, ports[i]))
			continue;
		if (length == 4 && stem[3] >= '0' && stem[3] <= '9')
			return true;
		/* Superscript one, two and three: U+00B9, U+00B2, U+00B3. */
		if (length == 5 &&
		    (memcmp(stem + 3, "\xC2\xB9", 2) == 0 || memcmp(stem + 3, "\xC2\xB2", 2) == 0 ||
			memcmp(stem + 3, "\xC2\xB3", 2) == 0))
			return true;
	}
	return false;
}

/* The old system takes a device name for the device whatever follows its first dot. */
static bool is_device_name(const char *name)
{
	size_t length = strcspn(name, ".:");

	while (length > 0 && name[length - 1] == ' ')
		length--;
	return length >= 3 && length <= 7 && is_device(name, length);
}

static bool must_escape(uint32_t point, size_t length)
{
	if (point < 0x20 || point == 0x7F || (point >= 0xD800 && point < 0xE000))
		return true;
	/* A broken sequence: one byte, though the character that stands for it has three. */
	if (point == UTF_REPLACEMENT)
		return length == 1;
	return point < 0x80 && strchr("<>:\"/\\|?*", (int)point) != NULL;
}

/* Maps the characters; `at_end`: the name ends where this text ends, `at_start` likewise. */
static void map_characters(struct buf *out, const char *text, bool at_start, bool at_end)
{
	const char *end = text + strlen(text);
	bool is_reserved = at_start && is_device_name(text);

	for (const char *next = text; text < end; text = next) {
		uint32_t point = utf_next(&next, end);
		size_t length = (size_t)(next - text);
		bool is_last = at_end && next == end;

		if (point == 0)
			buf_add_text(out, "%00");
		else if (must_escape(point, length) || is_reserved ||
			 (is_last && (point == '.' || point == ' ')))
			add_escaped(out, text, length);
		else if (point == '%' && is_hex_of_any_case(text[1]) && is_hex_of_any_case(text[2]))
			buf_add_text(out, "%25");
		else
			buf_add(out, text, length);
		is_reserved = false;
	}
}

/* Where the extension of a mapped name starts; its end when it has none. */
static size_t extension_of(const char *mapped, size_t length)
{
	size_t at = length;

	while (at > 1 && length - at < EXTENSION_LIMIT) {
		at--;
		if (mapped[at] == '.')
			return at;
	}
	return length;
}

/* The largest length up to `limit` that cuts neither a character nor an escape. */
static size_t cut_at(const char *text, size_t limit)
{
	while (limit > 0 && ((uint8_t)text[limit] & 0xC0) == 0x80)
		limit--;
	if (limit > 0 && text[limit - 1] == '%')
		limit--;
	else if (limit > 1 && text[limit - 2] == '%')
		limit -= 2;
	return limit;
}

static void hash_number(struct sha256_ctx *hash, unsigned number)
{
	uint8_t bytes[5] = {0, (uint8_t)(number >> 24), (uint8_t)(number >> 16),
	    (uint8_t)(number >> 8), (uint8_t)number};

	sha256_update(hash, sizeof(bytes), bytes);
}

/* A lone name is hashed by itself; what tells it from others counts where there is something. */
static void hash_name(
    uint8_t digest[SHA256_DIGEST_SIZE], const char *name, const struct name_more *more)
{
	struct sha256_ctx hash;

	sha256_init(&hash);
	sha256_update(&hash, strlen(name), (const uint8_t *)name);
	if (more->number >= 2 || *more->stream)
		hash_number(&hash, more->number);
	if (*more->stream) {
		sha256_update(&hash, strlen(more->stream), (const uint8_t *)more->stream);
		hash_number(&hash, more->stream_number);
	}
	if (more->ending)
		sha256_update(&hash, strlen(more->ending), (const uint8_t *)more->ending);
	sha256_digest(&hash, SHA256_DIGEST_SIZE, digest);
}

static void add_cut(
    struct buf *out, const struct buf *mapped, const char *name, const struct name_more *more)
{
	const char *text = buf_text(mapped);
	size_t extension = extension_of(text, mapped->length);
	size_t room = NAME_LIMIT - CUT_MARK - (mapped->length - extension);
	uint8_t digest[SHA256_DIGEST_SIZE];

	hash_name(digest, name, more);
	buf_add(out, text, cut_at(text, room));
	buf_add_byte(out, '~');
	for (size_t i = 0; i < 8; i++) {
		buf_add_byte(out, (uint8_t)hex[digest[i] >> 4]);
		buf_add_byte(out, (uint8_t)hex[digest[i] & 15]);
	}
	buf_add_text(out, text + extension);
}

/* The file's own name, with its number before its extension. */
static void map_file(struct buf *out, const char *name, unsigned number, bool at_end)
{
	struct buf plain = {0};
	size_t extension;

	map_characters(&plain, name, true, at_end);
	extension = extension_of(buf_text(&plain), plain.length);
	buf_add(out, buf_text(&plain), number >= 2 ? extension : plain.length);
	if (number >= 2) {
		buf_printf(out, "%%7E%u", number);
		buf_add_text(out, buf_text(&plain) + extension);
	}
	out->failed = out->failed || plain.failed;
	buf_free(&plain);
}

/* A short way for most names: printable ASCII that the mapping leaves as it is. */
static bool is_plain(const char *name)
{
	size_t length = 0;

	for (; name[length]; length++)
		if (name[length] < 0x20 || name[length] > 0x7E ||
		    strchr("<>:\"/\\|?*%", name[length]))
			return false;
	return length > 0 && length <= NAME_LIMIT && name[length - 1] != '.' &&
	       name[length - 1] != ' ' && !is_device_name(name);
}

void name_map_more(struct buf *out, const char *name, const struct name_more *more)
{
	bool is_beside = *more->stream || more->ending;
	struct buf mapped = {0};

	if (more->number < 2 && !is_beside && is_plain(name)) {
		buf_add_text(out, name);
		return;
	}
	/* No name is empty; a hostile one must still not vanish from its path. */
	if (!*name)
		buf_add_text(&mapped, "%7E0");
	map_file(&mapped, name, more->number, !is_beside);
	if (*more->stream) {
		buf_add_text(&mapped, ".stream-");
		map_characters(&mapped, more->stream, false, !more->ending);
	}
	if (more->ending)
		buf_printf(&mapped, ".%s", more->ending);
	if (is_beside && more->stream_number >= 2)
		buf_printf(&mapped, "%%7E%u", more->stream_number);
	if (mapped.length > NAME_LIMIT)
		add_cut(out, &mapped, name, more);
	else
		buf_add_text(out, buf_text(&mapped));
	out->failed = out->failed || mapped.failed;
	buf_free(&mapped);
}

void name_map(struct buf *out, const char *name)
{
	name_map_more(out, name, &(struct name_more){1, "", 1, NULL});
}

void name_unmap(struct buf *out, const char *mapped)
{
	while (*mapped) {
		int high = mapped[0] == '%' ? hex_digit(mapped[1]) : -1;
		int low = high >= 0 ? hex_digit(mapped[2]) : -1;

		if (low < 0) {
			buf_add_byte(out, (uint8_t)*mapped++);
			continue;
		}
		/* U+0000 stands in inner text as two bytes. */
		if (high == 0 && low == 0)
			buf_add(out, "\xC0\x80", 2);
		else
			buf_add_byte(out, (uint8_t)(high << 4 | low));
		mapped += 3;
	}
}
