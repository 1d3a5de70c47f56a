/*
 * Times the two stages of a survey apart: the survey itself, and the traces of programs.
 *
 * usage: stages IMAGE...
 *
 * Prints wall and processor seconds of each stage, and how many traces, shortcuts and programs there are.
 */
#include "base/finding.h"
#include "system/survey.h"
#include "system/traces.h"

#include <stdio.h>
#include <time.h>

static double seconds(clockid_t clock)
{
	struct timespec now;

	clock_gettime(clock, &now);
	return (double)now.tv_sec + (double)now.tv_nsec / 1e9;
}

int main(int argc, char **argv)
{
	struct findings findings;
	struct survey survey;
	struct error error = {0};
	double wall[3], processor[3];
	size_t n_traces = 0, n_shortcuts = 0, n_programs = 0;
	bool good;

	findings_init(&findings);
	wall[0] = seconds(CLOCK_MONOTONIC);
	processor[0] = seconds(CLOCK_PROCESS_CPUTIME_ID);
	good = survey_run_unasked(&survey, (const char *const *)argv + 1, (size_t)argc - 1, NULL, &findings, &error);
	wall[1] = seconds(CLOCK_MONOTONIC);
	processor[1] = seconds(CLOCK_PROCESS_CPUTIME_ID);
	good = good && traces_read(&survey, &error);
	wall[2] = seconds(CLOCK_MONOTONIC);
	processor[2] = seconds(CLOCK_PROCESS_CPUTIME_ID);
	if (!good) {
		fprintf(stderr, "%s\n", error.text);
	} else {
		for (size_t i = 0; i < survey.n_systems; i++) {
			n_traces += survey.systems[i].n_traces;
			n_shortcuts += survey.systems[i].n_shortcuts;
			n_programs += survey.systems[i].n_programs;
		}
		printf("{\"survey\": [%.4f, %.4f], \"traces\": [%.4f, %.4f], \"found\": [%zu, %zu, %zu]}\n",
		    wall[1] - wall[0], processor[1] - processor[0], wall[2] - wall[1],
		    processor[2] - processor[1], n_traces, n_shortcuts, n_programs);
	}
	survey_free(&survey);
	findings_free(&findings);
	return good ? 0 : 1;
}
