/*
 * Files in which programs note where a person's folders are: library definitions, lists of
 * profiles, preferences.
 *
 * Sources: Microsoft, "Library Description Schema" (simpleLocation, url); RFC 8259, 7 (escapes in
 * texts); what the browsers' files hold: common practice, no source.
 */
#ifndef SYSTEM_LIBRARY_FILE_H
#define SYSTEM_LIBRARY_FILE_H

#include "base/arena.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define LIBRARY_FILE_LIMIT ((size_t)4 << 20) /* bytes */
#define LIBRARY_FOLDERS 64

/* XML's references in a text of `length` bytes replaced, in `arena`; NULL: no memory. */
char *xml_text(const char *text, size_t length, struct arena *arena);
/*
 * The file as clean UTF-8, from UTF-8 or UTF-16 with a byte order mark; "" for one that is too
 * large, or when memory ran out. `text` owns it.
 */
struct buf;
const char *file_text(const uint8_t *data, size_t length, struct buf *text);

/*
 * The folders that a library definition (.library-ms) holds, as it has them: "D:\Committee",
 * "\\server\share", "knownfolder:{guid}". Inner text, in `arena`. Returns their number.
 */
size_t library_file_folders(
    const uint8_t *data, size_t length, struct arena *arena, const char *folders[LIBRARY_FOLDERS]);

/* The paths of profiles that a profiles.ini gives in full. */
size_t profile_list_folders(
    const uint8_t *data, size_t length, struct arena *arena, const char *folders[LIBRARY_FOLDERS]);

/*
 * Quoted texts that are paths in full, in preferences that are JSON (Chromium family) or a script
 * (Mozilla family). Not those whose name says that they are about what was opened last.
 */
size_t preferences_folders(
    const uint8_t *data, size_t length, struct arena *arena, const char *folders[LIBRARY_FOLDERS]);

/*
 * Quoted texts in such preferences whose name says that they are the address of an account: that the browser
 * is synchronised with, or, with `of_mail`, that mail is sent from.
 */
size_t preferences_addresses(const uint8_t *data, size_t length, bool of_mail, struct arena *arena,
    const char *addresses[LIBRARY_FOLDERS]);

#endif
