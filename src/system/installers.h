/*
 * Installers that lie among a person's downloads or on the desktop, matched to programs by what the
 * files say of themselves, not by their names.
 */
#ifndef SYSTEM_INSTALLERS_H
#define SYSTEM_INSTALLERS_H

#include "system/survey.h"

/*
 * Reads the version resources of at most a few hundred such files, in the order of their place on
 * the drive, and sets struct program's `installer`. False when memory runs out or a stop is asked
 * for.
 */
bool installers_find(struct survey *survey, struct old_system *system, struct error *error);

#endif
