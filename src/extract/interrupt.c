/*
 * Being asked to stop: see interrupt.h.
 *
 * The one variable of the program that belongs to nobody: a signal handler can reach nothing else.
 */
#include "extract/interrupt.h"

#include <signal.h>

static volatile sig_atomic_t seen;

static void note(int number)
{
	(void)number;
	seen = 1;
}

void interrupt_watch(void)
{
	static const int numbers[] = {SIGINT, SIGTERM, SIGHUP};
	struct sigaction action = {.sa_handler = note, .sa_flags = SA_RESTART | SA_RESETHAND};

	sigemptyset(&action.sa_mask);
	for (unsigned i = 0; i < sizeof(numbers) / sizeof(numbers[0]); i++)
		sigaction(numbers[i], &action, NULL);
	signal(SIGXFSZ, SIG_IGN);
	signal(SIGPIPE, SIG_IGN);
}

bool interrupt_seen(void)
{
	return seen != 0;
}
