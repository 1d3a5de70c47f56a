/*
 * What the files of src/plan share while a plan is being made.
 *
 * areas.c marks anchor folders from the survey; match.c finds the rule for a name; walk.c goes
 * through every catalogue, folder by folder, and makes the items, asking decide.c about each;
 * twins.c and finish.c put the result in order.
 */
#ifndef PLAN_INNER_H
#define PLAN_INNER_H

#include "base/arena.h"
#include "base/buf.h"
#include "plan/pattern.h"
#include "plan/plan.h"
#include "plan/rules.h"

/* --- areas.c: whose a folder is, and what it is --- */

enum area_kind {
	AREA_OUTSIDE,
	AREA_SYSTEM,
	AREA_PROGRAM,      /* a folder of programs, or of one program */
	AREA_PROGRAM_DATA, /* ProgramData */
	AREA_PROFILE,
	AREA_SETTINGS,
	AREA_PLACE,
	AREA_SHARED,
	AREA_SERVICE,
	AREA_STRAY, /* where persons' files may lie in a profile that is nobody's */
	AREA_BIN, /* a person's recycle bin on one volume: base is its folder */
};

struct area {
	uint8_t kind;         /* enum area_kind */
	uint8_t reason;       /* of everything in it, when nothing else is said */
	uint8_t taken_reason; /* when the user asks for it after all */
	bool is_whole;        /* floating rules do not count inside */
	bool is_top;          /* program areas: the folder that holds the programs' folders */
	bool is_bulk;         /* much data of a program: what is left as a program is offered */
	bool is_asked;        /* whose it is was selected on the command line, or nobody was */
	uint32_t group, base; /* see struct item */
	uint32_t settings;    /* area of the same person's settings, NONE outside profiles */
	int64_t since;        /* program areas: when the top program folder was made */
	uint32_t origin;      /* of an area that a rule made: the one that it was made from */
	uint32_t next_made;   /* of areas made from the same one */
	uint32_t first_made;
};

/* A folder that something starts at. */
struct anchor {
	size_t volume;
	uint32_t node;
	uint32_t area;    /* NONE: only the scopes count */
	uint8_t priority; /* of the area; smaller wins */
	uint8_t scopes;   /* bit for each anchored enum rule_scope */
};

/* Of one volume. */
struct anchors {
	uint32_t *of_node; /* index in layout.anchors, 0: none; NULL: no catalogue */
	uint8_t *added;    /* bit for each node: see additions.c; NULL: none */
};

struct layout {
	struct plan *plan;
	const struct survey *survey;
	struct findings *findings;
	const bool *asked;    /* by person: see person_number(); NULL: everybody */
	size_t *first_person; /* by system: number of its first person */
	struct area *areas;
	size_t n_areas, areas_capacity;
	struct anchor *anchors; /* [0] is unused */
	size_t n_anchors, anchors_capacity;
	struct anchors *volumes; /* by volume */
	uint32_t *root_areas;    /* by volume */
	uint32_t *registries;    /* by person's number: the group of the hives; NONE: none yet */
	uint32_t *sealed;        /* by person's number: the group; NONE: none yet */
	bool no_memory;
};

bool layout_make(struct layout *layout, struct plan *plan, const struct survey *survey,
    const bool *asked, struct findings *findings, struct error *error);
void layout_free(struct layout *layout);

/* The anchor at a node, or NULL. */
const struct anchor *layout_anchor(const struct layout *layout, size_t volume, uint32_t node);

/*
 * The same area with what a folder rule says; `created` is the folder's time. NONE when memory runs
 * out.
 */
uint32_t area_by_rule(
    struct layout *layout, uint32_t area, const struct rule *rule, int64_t created);
/* The same area for a folder with much data of a program; NONE when memory runs out. */
uint32_t area_of_bulk(struct layout *layout, uint32_t area);
/* The same area for a program's own folder, made at `created`; NONE when memory runs out. */
uint32_t area_of_program(struct layout *layout, uint32_t area, int64_t created);

/* Is it one of the reasons for taking? */
static inline bool reason_takes(uint8_t reason)
{
	return reason <= REASON_KEYS;
}

static inline const struct catalogue *plan_catalogue(const struct survey *survey, size_t volume)
{
	const struct volume *of = survey->volumes[volume].volume;

	return of ? of->catalogue : NULL;
}

/* --- additions.c: what somebody added to folders that are left --- */

/* Marks the files that go with what the survey found (struct thing). False when memory runs out. */
bool additions_mark(struct layout *layout);
/* Is it such a file, and would it be left because of where it lies? */
bool addition_is_taken(
    const struct layout *layout, size_t volume, uint32_t node, uint8_t reason);

/* --- groups.c --- */

/* Adds a group; its key is made unique. NONE when memory runs out. */
uint32_t group_of_place(
    struct plan *plan, size_t system, size_t person, const char *place, const char *folder);
uint32_t group_of_volume(struct plan *plan, size_t volume);
uint32_t group_of_sealed(struct plan *plan, size_t system, size_t person);
/*
 * Puts the groups in the order in which people look for things (each person's places, the rest of
 * the profile, settings; then what is shared, then drives), and drops those that no item has.
 */
bool groups_sort(struct plan *plan, struct error *error);

/* --- persons.c: --person --- */

/*
 * Who was asked for, one flag per person of every system in order, in the plan's arena; *asked is
 * NULL for everybody. False with *error when a name is nobody's.
 */
bool persons_asked(struct plan *plan, const struct survey *survey,
    const struct plan_options *options, const bool **asked, struct error *error);

/* --- match.c: the rules, looked up by name --- */

struct rule_part {
	struct pattern pattern;
	const char *text;
	bool is_folders; /* `**` */
};

struct compiled {
	const struct rule *rule;
	struct rule_part *parts;
	size_t n_parts;
	uint32_t next; /* in the same chain */
};

#define RULE_BUCKETS 512
struct rule_index {
	struct compiled *rules;
	size_t count;
	uint32_t by_name[3][RULE_BUCKETS];      /* by kind: last part without a wildcard */
	uint32_t by_extension[3][RULE_BUCKETS]; /* last part is `*.ext` */
	uint32_t other[3];                      /* anything else */
};

bool rules_compile(
    struct rule_index *index, const struct rule *rules, size_t count, struct arena *arena);

/* A name to be looked up: a folder, file or stream called `name` in the folder `parent`. */
struct question {
	const struct layout *layout;
	size_t volume;
	uint32_t node;   /* of what is asked about */
	uint32_t parent; /* node of the folder; NONE: lost */
	const char *name;
	uint32_t hash;           /* utf_hash_fold(name) */
	const struct area *area; /* of the folder */
	uint64_t size;
};
/* The first rule of the table that applies, or NULL. */
const struct rule *rules_find(
    const struct rule_index *index, enum rule_kind kind, const struct question *question);

/* --- kinds.c: what a name's extension says --- */

/*
 * Can a file of this name be a person's data, in a folder of programs (`in_programs`) or in program
 * data? Not: code, and in folders of programs what programs usually bring along.
 */
bool kind_is_data(const char *name, bool in_programs);
/* Is it of a kind that people make or collect: documents, archives; with `media` pictures, films... */
bool kind_is_peoples(const char *name, bool media);
/* Does it install something? */
bool kind_is_installer(const char *name);

/*
 * Is a file of this name, or a web link, something that people write, photograph or keep in order, and of a
 * size that is easily taken along? Not: programs, archives, music and films.
 */
bool kind_is_document(const char *name);

/* --- strays.c: persons' files in profiles that are nobody's --- */

void strays_put(struct layout *layout, size_t system);
/* What an area of theirs says about a file in it. */
uint8_t strays_reason(const struct layout *layout, const struct area *area, const char *name,
    const struct node *node);

/* --- bins.c: recycle bins --- */

/* Lets an area start at each bin, and says how what was deleted is called in the archive. */
void bins_put(struct layout *layout);
/* What a bin's area says about an entry in it. */
uint8_t bins_reason(const struct layout *layout, size_t volume, uint32_t entry);
/* As plan_was(), for an entry that lies in a bin. */
bool bins_was(const struct survey *survey, size_t volume, uint32_t entry, struct buf *path);
/* The path of a thing itself, which number it has included; NULL: it is none. */
const struct bin_path *bins_path(const struct plan *plan, uint32_t volume, uint32_t entry);

/* --- choice.c: --take and --leave --- */

struct choices {
	struct pattern *takes, *leaves;
	size_t n_takes, n_leaves;
};
bool choices_compile(struct choices *choices, const struct plan_options *options,
    struct arena *arena, struct error *error);
/* `path` with the volume in front: "C:\Users\mara\x.txt". */
bool choices_match(const struct pattern *patterns, size_t count, const char *path);

/* --- decide.c --- */

struct decision {
	uint8_t state, reason;
	uint32_t group, base;
	uint8_t form; /* enum item_form */
};

struct decider {
	struct layout *layout;
	struct rule_index rules;
	struct choices choices;
};

/* What is known of a name before its streams are looked at. */
struct named {
	size_t volume;
	uint32_t entry;
	uint32_t area; /* of a folder: its own; of a file: its folder's */
	uint32_t hash;
	bool take, leave; /* by the command line */
};

/* The area of a folder called by `entry`, whose own folder has `area`. NONE: no memory. */
uint32_t decide_area(
    const struct decider *decider, size_t volume, uint32_t entry, uint32_t hash, uint32_t area);
/* A folder as such, before what is in it counts. */
struct decision decide_folder(const struct decider *decider, const struct named *named);
struct decision decide_link(const struct decider *decider, const struct named *named);
/* A stream (index in the catalogue, NONE: a file that has none). */
struct decision decide_stream(
    const struct decider *decider, const struct named *named, uint32_t stream);

/* --- walk.c --- */

/* Makes the items of every volume, folder by folder in the order of names. */
bool walk_all(struct decider *decider, struct error *error);

/* --- twins.c --- */

/* Remembers that a name is the `number`th of several. */
bool twins_add(
    struct plan *plan, uint32_t volume, uint32_t entry, uint32_t stream, uint32_t number);
/*
 * Finds streams, and files in another form, whose file in the archive would be called like
 * something else there.
 */
bool twins_of_streams(struct plan *plan, struct error *error);
void twins_sort(struct plan *plan);
unsigned twin_number(const struct plan *plan, uint32_t volume, uint32_t entry, uint32_t stream);

/* --- archive_path.c --- */

/*
 * What a stream is called in the archive behind the name of its file: nothing for a file's unnamed
 * stream, and for the key stream, which has an ending of its own. A folder has none; where damage
 * makes a folder of a file, or malice gives one a stream, it must not stand at the folder's own
 * path, so there it is called "$DATA" (its type, [MS-FSCC] 2.1.4).
 */
const char *plan_stream_name(const struct catalogue *catalogue, uint32_t entry, uint32_t stream);

/* --- opened.c --- */

/* Findings on documents that were opened lately and are left. */
void opened_report(const struct plan *plan, struct findings *findings);

/* --- nowhere.c --- */

/* Findings on documents that were opened and are nowhere here. */
void nowhere_report(const struct plan *plan, struct findings *findings);

/* --- finish.c --- */

/* Second names of one stream become `same`. */
bool finish_same(struct plan *plan, struct error *error);
/* By group, then in the order of the walk; what is left comes last. */
bool finish_order(struct plan *plan, struct error *error);
/* Sums, and what the user should know. */
void finish_sums(struct plan *plan, struct findings *findings);

#endif
