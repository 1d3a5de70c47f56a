/* Signals that wait: see stop.h. */
#include "base/stop.h"

#include <pthread.h>
#include <stddef.h>

void stop_hold(sigset_t *before)
{
	sigset_t held;

	sigemptyset(&held);
	sigaddset(&held, SIGINT);
	sigaddset(&held, SIGTERM);
	sigaddset(&held, SIGHUP);
	sigaddset(&held, SIGPIPE);
	pthread_sigmask(SIG_BLOCK, &held, before);
}

void stop_release(const sigset_t *before)
{
	pthread_sigmask(SIG_SETMASK, before, NULL);
}

bool stop_is_asked(void)
{
	sigset_t waiting;

	return sigpending(&waiting) == 0 &&
	       (sigismember(&waiting, SIGINT) == 1 || sigismember(&waiting, SIGTERM) == 1 ||
		   sigismember(&waiting, SIGHUP) == 1);
}
