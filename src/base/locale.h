/*
 * A UTF-8 locale on any machine, also one without a single file.
 *
 * libarchive writes non-ASCII names rightly only in a UTF-8 locale, and a static binary on the live
 * stick or in an empty chroot finds none. So the program carries the character tables of C.UTF-8.
 */
#ifndef BASE_LOCALE_H
#define BASE_LOCALE_H

#include "base/error.h"

/*
 * Switches the process to C.UTF-8: the system's own, or else the carried copy, which needs a folder
 * that can be written to for the moment of loading. To be called once, before any thread starts.
 * False when neither works; names that are not ASCII would then be lost.
 */
bool locale_use_utf8(struct error *error);

#endif
