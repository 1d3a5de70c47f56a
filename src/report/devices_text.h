/* Devices and connections of one old system as text for people, for a terminal of 80 columns. */
#ifndef REPORT_DEVICES_TEXT_H
#define REPORT_DEVICES_TEXT_H

#include "system/survey.h"

#include <stdio.h>

/* Prints about 25 lines at most; what does not fit is counted, and stands in devices.json. Nothing
 * when there is none. */
void devices_print(const struct old_system *system, FILE *out);

#endif
