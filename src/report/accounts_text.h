/* Accounts, the cloud and organisations of one old system, as text for people. */
#ifndef REPORT_ACCOUNTS_TEXT_H
#define REPORT_ACCOUNTS_TEXT_H

#include "system/survey.h"

#include <stdio.h>

/* A section of the survey; nothing where nothing is known. */
void accounts_print(const struct old_system *system, FILE *out);

/*
 * What must be known before anything is taken: PCs on these drives that belong to an organisation
 * or are managed by one. Nothing where there are none.
 */
void organisations_print(const struct survey *survey, FILE *out);

#endif
