/*
 * The letters that volumes had on the old PC, for the list of drives.
 *
 * Only an old system's hives know them, so the file tables are read for it, of all named drives
 * together: the drive with the system names the letters of the others too.
 */
#ifndef CMD_OLD_LETTERS_H
#define CMD_OLD_LETTERS_H

#include "report/drives_text.h"

#include <stddef.h>

/*
 * Fills in the letters of the views' volumes. Drives that are `faulty` or not readable are passed
 * by; what stays unknown stays 0. The drives must be closed.
 */
void old_letters_find(struct drive_view *views, size_t count);

#endif
