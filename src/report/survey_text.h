/* The survey as text for people, for a terminal of 80 columns. */
#ifndef REPORT_SURVEY_TEXT_H
#define REPORT_SURVEY_TEXT_H

#include "system/survey.h"

#include <stdio.h>

/* Prints everything found, findings last in the order that they have. */
void survey_print(const struct survey *survey, FILE *out);

/* Findings as people read them: weight, subject, sentence, and what to do. */
void findings_print(const struct findings *findings, FILE *out);

#endif
