/* What the survey knows that matters before the old PC is wiped: see wipe_list.h. */
#include "extract/wipe_list.h"

#include "base/filetime.h"
#include "base/text.h"
#include "system/ties.h"

#include <string.h>

#define PROGRAMS_SHOWN 15u

/* "mara", with the PC behind it where there are several. */
static const char *who(const struct wipe_list *list, const struct old_system *system,
    size_t person, char words[200])
{
	const struct person *of = person < system->n_persons ? &system->persons[person] : NULL;
	const char *name = of == NULL ? "this PC" : *of->account ? of->account : of->folder;

	if (list->plan->survey->n_systems > 1)
		snprintf(words, 200, "%.120s (%.60s)", name, system->key);
	else
		snprintf(words, 200, "%.190s", name);
	return words;
}

static void add_cloud(struct wipe_list *list, const struct old_system *system)
{
	const struct ties *ties = system->ties;
	char words[200];

	for (size_t i = 0; i < ties->n_sync_roots; i++) {
		const struct sync_root *root = &ties->sync_roots[i];
		const struct sum *sum = &root->sum;

		if (sum->cloud_files > 0)
			wipe_fact(list, WIPE_CLOUD_ONLY, "%s: %s: %s %s, %s in %s",
			    who(list, system, root->person, words),
			    *root->address ? root->address : "address not known",
			    text_count(sum->cloud_files).text, sum->cloud_files == 1 ? "file" : "files",
			    text_size(sum->missing_bytes).text, root->path);
	}
	for (size_t i = 0; i < ties->n_cloud_drives; i++) {
		const struct cloud_drive *drive = &ties->cloud_drives[i];
		struct filetime_text day = filetime_to_text(drive->newest);

		if (drive->sum.files > 0)
			wipe_fact(list, WIPE_NOT_UPLOADED, "%s: %s %s, %s, the last of %.10s, in %s",
			    who(list, system, drive->person, words),
			    text_count(drive->sum.files).text, drive->sum.files == 1 ? "file" : "files",
			    text_size(drive->sum.bytes).text, *day.text ? day.text : "a day not told",
			    drive->path);
	}
}

static void add_bound(struct wipe_list *list, const struct old_system *system)
{
	static const enum wipe_code codes[] = {[BOUND_SIGN_IN] = WIPE_BOUND,
	    [BOUND_CHIP] = WIPE_BOUND, [BOUND_CERTIFICATES] = WIPE_KEYS, [BOUND_KEYS] = WIPE_KEYS,
	    [BOUND_AUTHENTICATOR] = WIPE_CODES, [BOUND_SESSION] = WIPE_CONVERSATIONS};
	const struct ties *ties = system->ties;
	char words[200];

	for (size_t i = 0; i < ties->n_bound; i++) {
		const struct bound *bound = &ties->bound[i];

		wipe_fact(list, codes[bound->kind], "%s: %s, in %s",
		    who(list, system, bound->person, words), bound_words(bound->kind), bound->path);
	}
}

static void add_ties(struct wipe_list *list, const struct old_system *system)
{
	const struct ties *ties = system->ties;
	struct buf text = {0};
	char words[200];

	for (size_t i = 0; i < ties->n_managed; i++) {
		buf_clear(&text);
		managed_to_text(&ties->managed[i], &text);
		wipe_fact(list, WIPE_ORGANISATION, "%s is %s", system->key, buf_text(&text));
	}
	for (size_t i = 0; i < ties->n_sign_ins; i++) {
		buf_clear(&text);
		if (sign_ins_to_text(ties, i, &text))
			wipe_fact(list, WIPE_SIGN_INS, "%s: %s",
			    who(list, system, ties->sign_ins[i].person, words), buf_text(&text));
	}
	buf_free(&text);
	add_cloud(list, system);
	add_bound(list, system);
}

/* Programs that were used and are no store apps; and the old system's own licence. */
static void add_programs(struct wipe_list *list, const struct old_system *system)
{
	size_t shown = 0;

	if (system->licence.kind == LICENCE_RETAIL)
		wipe_fact(list, WIPE_LICENCES, "%s itself: its licence may be used on another PC",
		    *system->product ? system->product : "The old system");
	for (size_t i = 0; i < system->n_programs && shown < PROGRAMS_SHOWN; i++) {
		const struct program *program = &system->programs[i];

		if (program->kind != PROGRAM_USED || program->origin != PROGRAM_RECORD)
			continue;
		wipe_fact(list, WIPE_LICENCES, "If it was bought: %s%s%s", program->name,
		    *program->publisher ? ", " : "", program->publisher);
		shown++;
	}
}

/* Where a licence is; the programs list says which is whose. */
static void add_licences(struct wipe_list *list, const struct old_system *system)
{
	for (size_t i = 0; i < system->n_licences; i++) {
		const struct program_licence *licence = &system->licences[i];

		wipe_fact(list, WIPE_LICENCES, "%s: %s %s",
		    licence->program < system->n_programs ? system->programs[licence->program].name :
							    "A program",
		    licence->is_value ? "serial number, in the registry at" : "licence file, most likely",
		    licence->where);
	}
}

/* --- what lies elsewhere --- */

static void add_places(struct wipe_list *list, const struct old_system *system)
{
	char words[200];

	for (size_t p = 0; p < system->n_persons; p++)
		for (size_t i = 0; i < system->persons[p].n_places; i++) {
			const struct place *place = &system->persons[p].places[i];

			if (place->status == PLACE_DRIVE_MISSING || place->status == PLACE_SHARE)
				wipe_fact(list, WIPE_ELSEWHERE, "%s: %s is %s: %s",
				    who(list, system, p, words), place->folder,
				    place->status == PLACE_SHARE ? "on a network share" :
								   "on a drive that is not attached",
				    place->path);
		}
}

static void add_findings(struct wipe_list *list, const struct findings *findings)
{
	static const char *const codes[] = {"used-on-missing-drive", "used-on-share",
	    "settings-point-elsewhere", "profile-drive-missing", "cloud-folder-away"};

	for (size_t i = 0; i < findings->count; i++)
		for (size_t k = 0; k < sizeof(codes) / sizeof(codes[0]); k++)
			if (strcmp(findings->items[i].code, codes[k]) == 0)
				wipe_fact(list, WIPE_ELSEWHERE, "%s%s%s", findings->items[i].subject,
				    *findings->items[i].subject ? ": " : "",
				    findings->items[i].sentence);
}

void wipe_list_survey(struct wipe_list *list, const struct findings *findings)
{
	const struct survey *survey = list->plan->survey;

	for (size_t i = 0; i < survey->n_systems; i++) {
		const struct old_system *system = &survey->systems[i];

		if (system->is_copy)
			continue;
		if (system->ties != NULL)
			add_ties(list, system);
		add_licences(list, system);
		add_programs(list, system);
		add_places(list, system);
	}
	add_findings(list, findings);
	for (size_t d = 0; d < survey->n_drives; d++)
		if (survey->drives[d].table.sealed != SEALED_NOT ||
		    survey->drives[d].faults.verdict == FAULTS_LOCKED)
			wipe_fact(list, WIPE_ENCRYPTED_DRIVES, "the whole drive %s %s, %s",
			    survey->drives[d].about.path, survey->drives[d].about.model,
			    text_size(survey->drives[d].about.size).text);
	for (size_t v = 0; v < survey->n_volumes; v++)
		if (survey->volumes[v].filesystem == FILESYSTEM_ENCRYPTED)
			wipe_fact(list, WIPE_ENCRYPTED_DRIVES, "%s, %s, on %s", survey->volumes[v].name,
			    text_size(survey->volumes[v].partition->length).text,
			    survey->drives[survey->volumes[v].drive].about.path);
}
