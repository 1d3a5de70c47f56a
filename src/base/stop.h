/*
 * Being asked to stop (Ctrl-C, the system going down, a closed pipe) while drives are open.
 *
 * A program that a signal ends leaves the kernel's read-only mark on the drives that it had open.
 * So these signals wait from before the first drive is opened until the last is closed; long work
 * looks now and then whether one is waiting.
 */
#ifndef BASE_STOP_H
#define BASE_STOP_H

#include <signal.h>
#include <stdbool.h>

/*
 * From now on SIGINT, SIGTERM, SIGHUP and SIGPIPE wait; *before is for stop_release(), with which
 * they take effect. To be called before any thread starts.
 */
void stop_hold(sigset_t *before);
void stop_release(const sigset_t *before);

/* Is SIGINT, SIGTERM or SIGHUP waiting? */
bool stop_is_asked(void);

#endif
