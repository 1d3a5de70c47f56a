/*
 * Text out of small XML files of the old system, tolerant of what is not quite XML: nothing is
 * checked that the answer does not need.
 *
 * Source: XML 1.0, 2.4 to 2.7 (comments, processing instructions, CDATA), 3.1 (tags).
 */
#ifndef SYSTEM_XML_ELEMENT_H
#define SYSTEM_XML_ELEMENT_H

#include "base/arena.h"

#include <stdbool.h>

/*
 * The text of the first element that is reached by this path of names from the root
 * ("Task/Actions/Exec/Command"; prefixes of names and attributes do not count), without white space
 * around it, up to its first child; in `arena`. NULL when there is none, or memory runs out; "" for
 * an element without text.
 */
char *xml_element(const char *xml, const char *path, struct arena *arena);
/* Is there such an element? */
bool xml_has(const char *xml, const char *path);

#endif
