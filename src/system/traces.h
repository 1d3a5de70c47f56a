/*
 * Traces of use: what shows that a program was started, or a document opened, on the old system.
 *
 * Those in hives are collected while the old systems are learned; those in small files (run traces,
 * shortcuts, recent and jump lists) by traces_read(), a stage of its own behind the survey. Every
 * source has gaps, so a program without any is "no trace of recent use", never "unused".
 */
#ifndef SYSTEM_TRACES_H
#define SYSTEM_TRACES_H

#include "system/survey.h"

/*
 * Reads the files with traces, bounded in number and size and in the order of their place on the
 * drive; sorts the programs of every old system by all traces; adds programs that are only known
 * from them; and finds what lies on drives and shares that are not here. Not done, with a finding,
 * on a drive that is failing. False only when memory runs out or a stop is asked for.
 */
bool traces_read(struct survey *survey, struct error *error);

/* "start-count", "run-trace", ... */
const char *trace_source_name(enum trace_source source);
/* "used", "no-trace", "came-with", "part", "device"; NULL before traces_read(). */
const char *program_kind_name(enum program_kind kind);

#endif
