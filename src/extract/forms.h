/*
 * What stands in the archive in another form than its bytes, as findings: who finds it there should
 * know what it is.
 */
#ifndef EXTRACT_FORMS_H
#define EXTRACT_FORMS_H

#include "base/finding.h"
#include "extract/outcome.h"

/* False when memory runs out. */
bool forms_report(const struct outcomes *outcomes, struct findings *findings);

#endif
