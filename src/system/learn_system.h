/* One old system: loads the machine's hives and has everything learned from them. */
#ifndef SYSTEM_LEARN_SYSTEM_H
#define SYSTEM_LEARN_SYSTEM_H

#include "system/survey.h"

/*
 * Learns everything about one of survey->systems, whose volume, windows and container are filled.
 * The systems before it must have been learned already (names are unique among them). False: no
 * memory.
 */
bool learn_system(struct survey *survey, struct old_system *system, struct findings *findings);

#endif
