/*
 * What a name's extension says about data in program-side folders.
 *
 * A person's data there can have any extension, so the lists name what it is not: code and its
 * helpers anywhere; in folders of programs also what programs bring along and replace when they are
 * brought up to date. Common practice, no source.
 */
#include "plan/inner.h"

#include "base/utf.h"

#include <string.h>

static const char *const code[] = {
    "386",
    "acm",
    "appx",
    "asi",
    "ax",
    "bat",
    "bpl",
    "cab",
    "cat",
    "class",
    "cmd",
    "cnt",
    "com",
    "cpl",
    "dll",
    "drv",
    "efi",
    "ocx",
    "exe",
    "gid",
    "inf",
    "ins",
    "jar",
    "lib",
    "lic",
    "lnk",
    "manifest",
    "mo",
    "msi",
    "msix",
    "msm",
    "msp",
    "mst",
    "mui",
    "nls",
    "node",
    "olb",
    "pdb",
    "pf",
    "pnf",
    "ps1",
    "psd1",
    "psm1",
    "pyc",
    "pyd",
    "scr",
    "so",
    "sys",
    "tlb",
    "vbs",
    "vxd",
    "winmd",
    "wsf",
    "xap",
    /* logs, locks and what goes with a restart */
    "etl",
    "lck",
    "lock",
    "log",
    "pid",
    "tmp",
};

static const char *const brought_along[] = {
    "ani",
    "asar",
    "aspx",
    "bmp",
    "chm",
    "config",
    "css",
    "cur",
    "fnt",
    "fon",
    "gif",
    "h",
    "hlp",
    "htm",
    "html",
    "icns",
    "ico",
    "inc",
    "js",
    "json",
    "map",
    "md",
    "pak",
    "php",
    "png",
    "po",
    "pri",
    "py",
    "qm",
    "qml",
    "rc",
    "resources",
    "rll",
    "sig",
    "svg",
    "swf",
    "tcl",
    "ttc",
    "ttf",
    "ts",
    "url",
    "wav",
    "woff",
    "woff2",
    "xaml",
    "xsd",
    "xsl",
    "xslt",
};

/* Written texts, tables, pictures, mail, addresses and dates, links. */
static const char *const own_making[] = {
    "doc", "docm", "docx", "dot", "dotx", "odt", "ott", "rtf", "txt", "md", "tex", "wpd", "wps",
    "wri", "pages", "pdf", "ps", "xps", "oxps", "htm", "html", "mht", "mhtml", "url", "website",
    "csv", "tsv", "xls", "xlsb", "xlsm", "xlsx", "ods", "ots", "numbers", "mdb", "accdb", "odb",
    "dbf", "ppt", "pptm", "pptx", "pps", "ppsx", "odp", "otp", "key", "pub", "vsd", "vsdx", "odg",
    "one", "onepkg", "mpp", "xmind", "mm", "tab", "bib", "epub", "djvu",
    "jpg", "jpeg", "jpe", "jfif", "png", "gif", "bmp", "tif", "tiff", "heic", "heif", "webp", "psd",
    "xcf", "kra", "ai", "eps", "svg", "indd", "cdr", "afphoto", "afdesign", "dwg", "dxf", "skp",
    "dng", "cr2", "cr3", "nef", "arw", "orf", "rw2", "raf", "pef", "srw",
    "eml", "msg", "mbox", "pst", "vcf", "vcard", "contact", "ics", "ldif", "abk",
    "gpx", "kml", "kmz", "mscz", "sib", "mus", "musicxml", "qif", "ofx", "qfx", "gnucash",
};

static bool is_among(const char *extension, const char *const *list, size_t count)
{
	for (size_t i = 0; i < count; i++)
		if (utf_equal_fold(extension, list[i]))
			return true;
	return false;
}

/* Texts that come with a program; they start like this in any language that has them. */
static bool is_programs_text(const char *name)
{
	static const char *const starts[] = {"changelog", "changes.", "copying", "desktop.ini",
	    "eula", "licen", "notice", "readme", "read me", "release notes", "third"};

	for (size_t i = 0; i < sizeof(starts) / sizeof(starts[0]); i++)
		if (utf_starts_fold(name, starts[i]))
			return true;
	return false;
}

bool kind_is_data(const char *name, bool in_programs)
{
	const char *dot = strrchr(name, '.');

	if (in_programs ? is_programs_text(name) : utf_equal_fold(name, "desktop.ini"))
		return false;
	if (!dot || dot == name)
		return true;
	if (is_among(dot + 1, code, sizeof(code) / sizeof(code[0])))
		return false;
	return !in_programs ||
	       !is_among(dot + 1, brought_along, sizeof(brought_along) / sizeof(brought_along[0]));
}

static const char *const documents[] = {
    "7z", "accdb", "csv", "doc", "docm", "docx", "eml", "epub", "key", "mbox", "mdb", "msg", "numbers",
    "odg", "odp", "ods", "odt", "one", "pages", "pdf", "ppt", "pptm", "pptx", "pst", "pub", "rar",
    "rtf", "tex", "vsd", "vsdx", "wpd", "wps", "xls", "xlsm", "xlsx", "zip",
};

static const char *const media_kinds[] = {
    "aac", "arw", "avi", "bmp", "cr2", "cr3", "dng", "flac", "gif", "heic", "jpeg", "jpg",
    "m4a", "m4v", "mkv",
    "mov", "mp3", "mp4", "mpeg", "mpg", "mts", "nef", "ogg", "opus", "orf", "png", "psd", "rw2", "tif",
    "tiff", "wma", "wmv",
};

static const char *const installers[] = {"appx", "exe", "img", "iso", "msi", "msix"};

bool kind_is_peoples(const char *name, bool media)
{
	const char *dot = strrchr(name, '.');

	if (!dot || dot == name)
		return false;
	return is_among(dot + 1, documents, sizeof(documents) / sizeof(documents[0])) ||
	       (media &&
		   is_among(dot + 1, media_kinds, sizeof(media_kinds) / sizeof(media_kinds[0])));
}

bool kind_is_installer(const char *name)
{
	const char *dot = strrchr(name, '.');

	return dot && dot != name &&
	       is_among(dot + 1, installers, sizeof(installers) / sizeof(installers[0]));
}

bool kind_is_document(const char *name)
{
	const char *dot = strrchr(name, '.');

	/* "~$" only says who has a document open. */
	return dot && dot != name && strncmp(name, "~$", 2) != 0 &&
	       is_among(dot + 1, own_making, sizeof(own_making) / sizeof(own_making[0]));
}
