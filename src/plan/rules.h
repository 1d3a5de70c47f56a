/*
 * The rules table: what is left (or taken after all) inside the areas, by name.
 *
 * A rule is a pattern of names relative to its scope. Some scopes are anchored: the pattern starts
 * at a certain folder (a profile, a volume's root). The others float: the pattern ends at any
 * folder or file inside areas of their kind. Case does not count; `*` and `?` stand within one
 * name, `**` for any folders. The first rule of the table that matches decides; a folder rule
 * decides for everything in the folder, until another area or an anchored rule deeper inside.
 */
#ifndef PLAN_RULES_H
#define PLAN_RULES_H

#include "plan/plan.h"

enum rule_scope {
	/* floating */
	SCOPE_ANY,      /* wherever things are taken, and in program folders */
	SCOPE_SETTINGS, /* in a person's program settings */
	SCOPE_SOFTWARE, /* there, in program folders and in the machine-wide program data */
	SCOPE_PROGRAMS, /* only in program folders and in the machine-wide program data */
	/* anchored */
	SCOPE_PROFILE, /* at a person's profile folder */
	SCOPE_ROOT,    /* at a volume's root, or at a folder that stood for an old system's root */
	SCOPE_WINDOWS, /* at an old system's Windows folder */
	SCOPE_PROGRAM_DATA, /* at ProgramData, in XP at the shared Application Data */
	SCOPE_COUNT,
};

enum rule_kind {
	RULE_FOLDER, /* a folder with all that is in it */
	RULE_FILE,   /* a file with all its streams */
	RULE_STREAM, /* one stream, by the stream's name, of a file or folder */
};

struct rule {
	uint8_t scope; /* enum rule_scope */
	uint8_t kind;  /* enum rule_kind */
	const char *pattern;
	uint8_t reason;             /* enum reason */
	const char *why;            /* one sentence */
	uint64_t at_least, at_most; /* bytes of the unnamed stream; 0: no limit */
	bool is_whole;              /* a folder that is taken: no floating rule counts inside */
	/* A person's registry: kept apart from the other settings, in a group of its own. */
	bool is_registry;
	const char *holds; /* a folder counts only if it holds something so named; NULL: always */
};

extern const struct rule plan_rules[];
extern const size_t n_plan_rules;

#endif
