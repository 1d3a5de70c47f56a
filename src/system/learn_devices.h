/*
 * What the files that learn things (devices.h) share: learn_*.c of the devices. Private to
 * src/system.
 */
#ifndef SYSTEM_LEARN_DEVICES_H
#define SYSTEM_LEARN_DEVICES_H

#include "base/utf.h"
#include "system/devices.h"
#include "system/inner.h"

#define KEYS_LIMIT 1000u /* subkeys or values of one list: no honest hive has that many */
#define PICTURE_LIMIT (UINT64_C(256) << 20)

/*
 * Begins a thing with the usual advice of its kind; the name is copied. NULL when the name is empty
 * or too long, there are too many, or memory ran out. The pointer holds until the next call.
 */
struct thing *learn_thing(
    struct learn *learn, enum thing_kind kind, size_t person, const char *name);
/* Adds what is known; a value that is NULL or empty adds nothing, and a thing that is NULL gets
 * nothing. */
void thing_add(struct learn *learn, struct thing *thing, const char *name, const char *value);
/* The same from a text of a key. */
void thing_add_text(struct learn *learn, struct thing *thing, const char *name,
    const struct hive *hive, hive_cell key, const char *value);
/* The one that was begun before with this name, or NULL. */
struct thing *learned_thing(
    struct learn *learn, enum thing_kind kind, size_t person, const char *name);
/* Adds what was learned to the old system's things. False when memory runs out. */
bool keep_things(struct learn *learn);

/* The subkeys of a path, at most KEYS_LIMIT; 0 when the hive is NULL or the path is not there. */
size_t keys_below(const struct hive *hive, hive_cell key, const char *path, struct arena *arena,
    hive_cell **cells);
bool name_ends_in(const char *name, const char *ending);
/* Where a file lies by its old path; NO_LOCATION when it is not there. */
struct location file_at(const struct learn *learn, const char *path);
/*
 * Where a picture lies that a hive names by an old path. NO_LOCATION when it is not there, or no
 * picture: a hive could name anything, and what it names is taken.
 */
struct location picture_at(const struct learn *learn, const char *path);

/* --- of the machine --- */

void learn_printers(struct learn *learn);
void learn_paired(struct learn *learn);
void learn_shares(struct learn *learn);
void learn_networks(struct learn *learn);
void learn_power(struct learn *learn);
void learn_machine_settings(struct learn *learn); /* time zone, environment variables */
void learn_fonts(struct learn *learn);

/* --- of one person: `person` is an index; the hive is there --- */

void learn_person_printers(struct learn *learn, const struct hive *hive, size_t person);
void learn_mapped_drives(struct learn *learn, const struct hive *hive, size_t person);
void learn_person_settings(struct learn *learn, const struct hive *hive, size_t person);
void learn_person_power(struct learn *learn, const struct hive *hive, size_t person);
/* `classes` is the person's UsrClass.dat, or NULL. */
void learn_default_programs(
    struct learn *learn, const struct hive *hive, const struct hive *classes, size_t person);
void learn_looks(struct learn *learn, const struct hive *hive, size_t person,
    const struct environment *environment);

#endif
