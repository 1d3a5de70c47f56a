/*
 * Kinds of files: see kinds.h.
 *
 * Sources of beginnings and ends: ITU-T T.81 (JPEG: SOI, EOI), ISO/IEC 15948 (PNG signature, IEND),
 * GIF89a, ISO 32000-1 (PDF), PKWARE APPNOTE (zip and the documents based on it), ISO/IEC 14496-12
 * (boxes of MP4, HEIF, QuickTime), ISO/IEC 11172-3 (MPEG audio), RFC 1952 (gzip), RFC 9639 (FLAC),
 * RFC 3533 (Ogg), TIFF 6.0, [MS-CFB] (older office documents), RIFF (IBM/Microsoft 1991). For beginnings alone also: OpenDocument 1.2 part 3 and EPUB OCF (the
 * first file "mimetype"), ECMA-376 part 2 ("[Content_Types].xml", mostly the first), RFC 4155 (mbox),
 * RFC 5322 (mail), RFC 6350 and 5545 (cards, calendars), the SQLite file format; BMP, RTF: common practice.
 */
#include "base/kinds.h"

#include <string.h>
#include <strings.h>

#define MAGIC(text, at) {.bytes = (text), .length = sizeof(text) - 1, .offset = (at)}
#define COMPOUND "\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1"
#define PDF_WINDOW 1024 /* readers accept the header within the first 1,024 bytes */

static const struct kind kinds[] = {
    {"jpg jpeg jpe jfif", true, {MAGIC("\xFF\xD8\xFF", 0)}, MAGIC("\xFF\xD9", 0)},
    {"png", true, {MAGIC("\x89PNG\r\n\x1A\n", 0)}, MAGIC("IEND", 0)},
    {"gif", true, {MAGIC("GIF87a", 0), MAGIC("GIF89a", 0)}, {0}},
    {"pdf", true, {MAGIC("%PDF-", 0)}, MAGIC("%%EOF", 0)},
    {"zip docx xlsx pptx docm xlsm pptm dotx xltx odt ods odp odg epub jar", true,
	{MAGIC("PK\x03\x04", 0), MAGIC("PK\x05\x06", 0), MAGIC("PK\x07\x08", 0),
	    /* a document with a password is a compound file around the encrypted one */
	    MAGIC(COMPOUND, 0)},
	MAGIC("PK\x05\x06", 0)},
    {"7z", true, {MAGIC("7z\xBC\xAF\x27\x1C", 0)}, {0}},
    {"rar cbr", true, {MAGIC("Rar!\x1A\x07", 0), MAGIC("PK\x03\x04", 0)}, {0}},
    {"gz tgz", true, {MAGIC("\x1F\x8B", 0)}, {0}},
    {"bz2", true, {MAGIC("BZh", 0)}, {0}},
    {"xz", true, {MAGIC("\xFD" "7zXZ", 0)}, {0}},
    {"mp4 m4a m4v mov 3gp heic heif avif", true,
	{MAGIC("ftyp", 4), MAGIC("moov", 4), MAGIC("mdat", 4), MAGIC("wide", 4)}, {0}},
    {"flac", true, {MAGIC("fLaC", 0), MAGIC("ID3", 0)}, {0}},
    {"ogg oga ogv opus", true, {MAGIC("OggS", 0)}, {0}},
    {"webp", true, {MAGIC("RIFF", 0)}, {0}},
    {"avi", true, {MAGIC("RIFF", 0)}, {0}},
    {"wma wmv asf", true, {MAGIC("\x30\x26\xB2\x75\x8E\x66\xCF\x11", 0)}, {0}},
    {"mkv webm", true, {MAGIC("\x1A\x45\xDF\xA3", 0)}, {0}},
    {"mp3 aac mpg mpeg vob mts m2ts cab zst br lz4 woff woff2 apk msix appx", true, {{0}}, {0}},
    {"wav", false, {MAGIC("RIFF", 0), MAGIC("RF64", 0)}, {0}},
    {"tif tiff", false, {MAGIC("II*\0", 0), MAGIC("MM\0*", 0), MAGIC("II+\0", 0),
			    MAGIC("MM\0+", 0)}, {0}},
    {"msg", false, {MAGIC(COMPOUND, 0)}, {0}},
    {"pst ost", false, {MAGIC("!BDN", 0)}, {0}},
};

/* Is `word` (of `length` bytes) one of the words in `list`, ignoring case? */
static bool list_has(const char *list, const char *word, size_t length)
{
	while (*list != '\0') {
		size_t size = strcspn(list, " ");

		if (size == length && strncasecmp(list, word, length) == 0)
			return true;
		list += size;
		list += strspn(list, " ");
	}
	return false;
}

const struct kind *kind_of_name(const char *name)
{
	const char *dot = strrchr(name, '.');

	/* Owner files ("~$letter.docx") and resource forks ("._a.jpg") only borrow the ending. */
	if (strncmp(name, "~$", 2) == 0 || strncmp(name, "._", 2) == 0)
		return NULL;
	if (dot == NULL || dot == name || dot[1] == '\0' || strpbrk(dot, "/\\") != NULL)
		return NULL;
	for (size_t i = 0; i < sizeof(kinds) / sizeof(kinds[0]); i++)
		if (list_has(kinds[i].endings, dot + 1, strlen(dot + 1)))
			return &kinds[i];
	return NULL;
}

static bool stands_at(const struct magic *magic, const uint8_t *bytes, size_t length)
{
	return (size_t)magic->offset + magic->length <= length &&
	    memcmp(bytes + magic->offset, magic->bytes, magic->length) == 0;
}

bool kind_begins(const struct kind *kind, const uint8_t *bytes, size_t length)
{
	if (kind->begin[0].length == 0)
		return true;
	for (size_t i = 0; i < KIND_MAGICS && kind->begin[i].length > 0; i++)
		if (stands_at(&kind->begin[i], bytes, length))
			return true;
	/* Only PDF may have something in front of its header. */
	return kind->begin[0].bytes[0] == '%' &&
	    memmem(bytes, length < PDF_WINDOW ? length : PDF_WINDOW, kind->begin[0].bytes,
		kind->begin[0].length) != NULL;
}

/* --- by content --- */

/* Zip files and RIFF files say a little later what they are; texts begin with a word. */
static const struct {
	const char *ending;
	struct magic magic, also; /* the second, where it has a length, must be there too */
} contents[] = {
    {"jpg", MAGIC("\xFF\xD8\xFF", 0), {0}},
    {"png", MAGIC("\x89PNG\r\n\x1A\n", 0), {0}},
    {"gif", MAGIC("GIF8", 0), {0}},
    {"tif", MAGIC("II*\0", 0), {0}},
    {"tif", MAGIC("MM\0*", 0), {0}},
    {"bmp", MAGIC("BM", 0), MAGIC("\0\0\0\0", 6)},
    {"pdf", MAGIC("%PDF-", 0), {0}},
    {"rtf", MAGIC("{\\rtf", 0), {0}},
    {"docx", MAGIC("PK\x03\x04", 0), MAGIC("[Content_Types].xml", 30)},
    {"odt", MAGIC("PK\x03\x04", 0), MAGIC("mimetypeapplication/vnd.oasis.opendocument.text", 30)},
    {"ods", MAGIC("PK\x03\x04", 0),
	MAGIC("mimetypeapplication/vnd.oasis.opendocument.spreadsheet", 30)},
    {"epub", MAGIC("PK\x03\x04", 0), MAGIC("mimetypeapplication/epub+zip", 30)},
    {"zip", MAGIC("PK\x03\x04", 0), {0}},
    {"doc", MAGIC(COMPOUND, 0), {0}},
    {"wav", MAGIC("RIFF", 0), MAGIC("WAVE", 8)},
    {"avi", MAGIC("RIFF", 0), MAGIC("AVI ", 8)},
    {"webp", MAGIC("RIFF", 0), MAGIC("WEBP", 8)},
    {"heic", MAGIC("ftypheic", 4), {0}},
    {"m4a", MAGIC("ftypM4A", 4), {0}},
    {"mp4", MAGIC("ftyp", 4), {0}},
    {"mp3", MAGIC("ID3", 0), {0}},
    {"flac", MAGIC("fLaC", 0), {0}},
    {"ogg", MAGIC("OggS", 0), {0}},
    {"wmv", MAGIC("\x30\x26\xB2\x75\x8E\x66\xCF\x11", 0), {0}},
    {"mkv", MAGIC("\x1A\x45\xDF\xA3", 0), {0}},
    {"pst", MAGIC("!BDN", 0), {0}},
    {"7z", MAGIC("7z\xBC\xAF\x27\x1C", 0), {0}},
    {"rar", MAGIC("Rar!\x1A\x07", 0), {0}},
    {"gz", MAGIC("\x1F\x8B\x08", 0), {0}},
    {"sqlite", MAGIC("SQLite format 3\0", 0), {0}},
    {"exe", MAGIC("MZ", 0), {0}},
    {"mbox", MAGIC("From ", 0), {0}},
    {"eml", MAGIC("Return-Path: ", 0), {0}},
    {"eml", MAGIC("Received: ", 0), {0}},
    {"vcf", MAGIC("BEGIN:VCARD", 0), {0}},
    {"ics", MAGIC("BEGIN:VCALENDAR", 0), {0}},
    {"url", MAGIC("[InternetShortcut]", 0), {0}},
    {"html", MAGIC("<!DOCTYPE html", 0), {0}},
    {"html", MAGIC("<html", 0), {0}},
    {"xml", MAGIC("<?xml", 0), {0}},
};

const char *kind_of_content(const uint8_t *bytes, size_t length)
{
	for (size_t i = 0; i < sizeof(contents) / sizeof(contents[0]); i++)
		if (stands_at(&contents[i].magic, bytes, length) &&
		    (contents[i].also.length == 0 || stands_at(&contents[i].also, bytes, length)))
			return contents[i].ending;
	return NULL;
}
