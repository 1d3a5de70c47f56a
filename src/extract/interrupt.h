/*
 * Being asked to stop (Ctrl-C, or the system going down): the work ends at the next chunk, cleanly.
 */
#ifndef EXTRACT_INTERRUPT_H
#define EXTRACT_INTERRUPT_H

#include <stdbool.h>

/*
 * From now on SIGINT, SIGTERM and SIGHUP only leave a note; a second one of the same kind ends the
 * program at once. Files that grow too large and closed pipes become errors instead of signals.
 */
void interrupt_watch(void);

/* Was there one since? */
bool interrupt_seen(void);

#endif
