/*
 * Seconds that pass on the terminal before something begins, and a key that stops it.
 */
#ifndef CONSOLE_COUNTDOWN_H
#define CONSOLE_COUNTDOWN_H

#include <stdbool.h>
#include <stdio.h>

/*
 * Shows "WHAT in N seconds. HOW" and counts down. True: the time has passed. False: a key was
 * pressed. What was typed before does not count; where `in` is no terminal nobody is there.
 */
bool countdown(FILE *in, FILE *out, unsigned seconds, const char *what, const char *how);

#endif
