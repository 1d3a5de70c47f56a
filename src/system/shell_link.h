/*
 * Shell links: the old system's shortcuts (.lnk), also as parts of other files.
 *
 * Sources: [MS-SHLLINK] 2.1 to 2.5; for item lists libfwsi, "Windows Shell Item format" (volume,
 * file entry and network items, extension block 0xbeef0004).
 */
#ifndef SYSTEM_SHELL_LINK_H
#define SYSTEM_SHELL_LINK_H

#include "base/arena.h"
#include "base/guid.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define SHELL_LINK_LIMIT ((size_t)1 << 20) /* bytes of a file: usual ones have less than 4 KiB */

/* LinkInfo's kinds of drives, [MS-SHLLINK] 2.3.1; those that matter here. */
enum link_drive {
	LINK_DRIVE_UNKNOWN = 0,
	LINK_DRIVE_REMOVABLE = 2,
	LINK_DRIVE_FIXED = 3,
	LINK_DRIVE_REMOTE = 4,
	LINK_DRIVE_CDROM = 5,
};

/* Texts are inner text, "" where the link does not have them. */
struct shell_link {
	const char *target;    /* "C:\Fern\a.txt", "\\server\share\x": the best of those below */
	const char *from;      /* which of them it is: "LinkInfo", "items", "variables"; or "" */
	const char *link_info; /* local path, or share and what follows */
	const char *items;     /* path told by the item list */
	const char *variables; /* path with %VARIABLES%, EnvironmentVariableDataBlock */
	const char *device;    /* a mapped letter, "P:", where the share was */
	const char *name, *relative, *folder, *arguments, *icon; /* StringData */
	const char *machine; /* TrackerDataBlock: NetBIOS name of the PC the target lay on */
	const char *volume_label;
	const char *identity;          /* AppUserModelID of the program, PropertyStoreDataBlock */
	uint32_t volume_serial, drive; /* drive: enum link_drive */
	uint32_t attributes;           /* of the target, as its files' */
	int64_t created, accessed, modified; /* FILETIME of the target, 0: not set */
	uint32_t size;                       /* of the target, its lower half */
	bool is_on_share;
	size_t length; /* bytes that the link takes, end mark included */
};

/*
 * Reads the link at the start of `data`; what follows it does not matter. False when there is none,
 * or memory runs out. A part that is broken counts as not there.
 */
bool shell_link_read(
    const uint8_t *data, size_t length, struct arena *arena, struct shell_link *link);

/*
 * The path that a list of shell items names (`data` begins at the first item), in `arena`; NULL
 * when it starts nowhere known, an item is of an unknown kind, or memory runs out.
 */
char *shell_items_path(const uint8_t *data, size_t length, struct arena *arena);

/* The AppUserModelID in a link's store of properties; NULL when there is none. */
char *shell_link_identity(const uint8_t *store, size_t length, struct arena *arena);

/* Text in the old system's 8-bit code page as inner text: Windows-1252, its most common one. */
char *shell_text_8bit(struct arena *arena, const uint8_t *bytes, size_t length);

#endif
