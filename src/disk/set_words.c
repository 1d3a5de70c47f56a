/* What sets mean for their owner, as findings; and which copy of a mirror is read. See sets.h. */
#include "disk/sets.h"

#include "base/buf.h"
#include "base/text.h"
#include "disk/ldm.h"

#include <string.h>

static const struct {
	const char *name, *words;
} kinds[] = {
    [SET_NONE] = {"none", "no set"},
    [SET_RST] = {"rst", "Intel RST"},
    [SET_DDF] = {"ddf", "a RAID controller in the DDF format"},
    [SET_NVIDIA] = {"nvidia-raid", "an NVIDIA controller"},
    [SET_PROMISE] = {"promise-raid", "a Promise controller"},
    [SET_SILICON] = {"silicon-raid", "a Silicon Image controller"},
    [SET_VIA] = {"via-raid", "a VIA controller"},
    [SET_JMICRON] = {"jmicron-raid", "a JMicron controller"},
    [SET_LSI] = {"lsi-raid", "an LSI controller"},
    [SET_HIGHPOINT] = {"highpoint-raid", "a HighPoint controller"},
    [SET_ADAPTEC] = {"adaptec-raid", "an Adaptec controller"},
    [SET_LINUX] = {"linux-raid", "Linux software RAID"},
    [SET_DYNAMIC] = {"dynamic-disk", "dynamic disks of the old system"},
    [SET_POOL] = {"storage-pool", "storage pool of the old system"},
};

static const char *const levels[] = {
    [SET_UNKNOWN] = "unknown",
    [SET_MIRROR] = "mirror",
    [SET_STRIPE] = "stripe",
    [SET_PARITY] = "parity",
    [SET_SPAN] = "span",
    [SET_SPARE] = "spare",
    [SET_SINGLE] = "single",
};

const char *set_kind_name(enum set_kind kind)
{
	return kinds[kind].name;
}

const char *set_level_name(enum set_level level)
{
	return levels[level];
}

/* --- words ------------------------------------------------------------------------------------ */

static const char keep_together[] =
    "Connect all drives of the set together to the old PC's own controller, or give all of them to "
    "a workshop. Let no program initialise, rebuild or repair them. Do not change the storage mode "
    "in the PC's firmware: that can break the set, keep the old system from starting, and make it "
    "ask for its recovery key.";

static const char *level_words(enum set_level level)
{
	switch (level) {
	case SET_STRIPE:
		return "striped set";
	case SET_PARITY:
		return "set with parity";
	case SET_SPAN:
		return "spanned set";
	case SET_MIRROR:
		return "mirror";
	default:
		return "set";
	}
}

/* "the striped set 'Fernhill' (Intel RST)". */
static void add_set(struct buf *out, const struct set *set)
{
	buf_printf(out, "the %s ", level_words(set->level));
	if (set->name[0] != '\0')
		buf_printf(out, "'%s' ", set->name);
	buf_printf(out, "(%s)", kinds[set->kind].words);
}

static bool is_same_set(const struct set *one, const struct set *other)
{
	return one->kind == other->kind && one->level == other->level && one->id[0] != '\0' &&
	       strcmp(one->id, other->id) == 0;
}

/* How many drives of this one's set are looked at, itself included. */
static unsigned count_here(const struct set_member *members, size_t count, const struct set *set)
{
	unsigned here = 0;

	for (size_t i = 0; i < count; i++)
		here += members[i].set == set || is_same_set(members[i].set, set);
	return here;
}

/* --- sets of which one drive is not enough ---------------------------------------------------- */

static void say_spread(const struct set_member *member, unsigned here, struct findings *findings)
{
	const struct set *set = member->set;
	struct buf line = {0};

	add_set(&line, set);
	if (set->members > 1 && here > 1)
		buf_printf(&line, ", of whose %u drives %u are here", set->members, here);
	else if (set->members > 1)
		buf_printf(&line, ", of whose %u drives only this one is here", set->members);
	findings_add(findings, WEIGHT_LOSS, "set-not-read", member->path, keep_together,
	    "This drive belongs to %s. The files lie spread over the drives of the set, and "
	    "coldlift does not put sets together: what does not lie whole on this drive is not "
	    "read.",
	    buf_text(&line));
	buf_free(&line);
}

static void say_pool(const struct set_member *member, struct findings *findings)
{
	findings_add(findings, WEIGHT_LOSS, "set-not-read", member->path,
	    "Connect all drives of the pool together to a PC with Windows 8 or newer, which shows "
	    "the pool's volumes, and save the files from there; or give all of them to a workshop. "
	    "Let no program initialise or repair them.",
	    "This drive belongs to a storage pool of the old system. The files lie spread over the "
	    "drives of the pool, and coldlift does not put pools together: they are not read.");
}

static void say_unknown(const struct set_member *member, struct findings *findings)
{
	findings_add(findings, WEIGHT_LOSS, "set-not-read", member->path, keep_together,
	    "This drive belongs to a set made by %s; of what kind cannot be told. What does not "
	    "lie whole on this drive is not read.",
	    kinds[member->set->kind].words);
}

static void say_leftover(const struct set_member *member, struct findings *findings)
{
	struct buf line = {0};

	/* Then it may be a mirror, too; which drive holds the other copy is not known. */
	if (member->set->level == SET_UNKNOWN) {
		findings_add(findings, WEIGHT_CAUTION, "set-leftover", member->path,
		    "If another drive shows the same persons and folders, the two are copies: name "
		    "only one of them. Open some large files of the result before the old drive is "
		    "given away.",
		    "This drive carries the mark of a set made by %s; of what kind cannot be told. "
		    "Its volumes lie whole on it, so it is read as a plain drive.",
		    kinds[member->set->kind].words);
		return;
	}
	add_set(&line, member->set);
	findings_add(findings, WEIGHT_CAUTION, "set-leftover", member->path,
	    "Open some large files of the result before the old drive is given away.",
	    "This drive carries the mark of %s, but its volumes lie whole on it, so the mark seems "
	    "to be left over from earlier times. The drive is read as a plain one.",
	    buf_text(&line));
	buf_free(&line);
}

/* --- mirrors ---------------------------------------------------------------------------------- */

static void say_copy(const struct set_member *member, struct findings *findings)
{
	const struct set *set = member->set;
	struct buf line = {0};

	add_set(&line, set);
	if (set->behind)
		findings_add(findings, WEIGHT_CAUTION, "set-copy-behind", member->path,
		    "Use another drive of the mirror if there is one.",
		    "This drive is one copy of %s, but its copy was not up to date when the set "
		    "was last used.",
		    buf_text(&line));
	else
		findings_add(findings, WEIGHT_NOTE, "set-mirror", member->path, "",
		    "This drive is one copy of %s. One healthy copy is enough; the other drives of "
		    "the mirror hold the same.",
		    buf_text(&line));
	buf_free(&line);
}

/* A volume that reaches over the mirror's end is not what the set describes. */
static void check_inside(const struct set_member *member, struct findings *findings)
{
	const struct set *set = member->set;

	for (size_t i = 0; set->data_size > 0 && i < member->table->count; i++) {
		const struct partition *partition = &member->table->items[i];

		if (partition->offset <= set->data_size &&
		    partition->length <= set->data_size - partition->offset)
			continue;
		findings_add(findings, WEIGHT_CAUTION, "set-outside", member->path,
		    "Open some large files of the result before the old drive is given away.",
		    "Partition %u reaches over the end of the set, which uses %s of the drive.",
		    partition->number, text_size(set->data_size).text);
	}
}

/* Why is `one` the better copy than `other`? NULL: it is not. */
static const char *better(const struct set_member *one, const struct set_member *other)
{
	if (one->failing != other->failing)
		return one->failing ? NULL : "the other one has faults";
	if (one->set->behind != other->set->behind)
		return one->set->behind ? NULL : "the other one was not up to date";
	if (one->set->generation != other->set->generation)
		return one->set->generation > other->set->generation
			   ? "its description of the set is newer"
			   : NULL;
	return NULL;
}

static void say_left_out(
    const struct set_member *kept, const struct set_member *left, struct findings *findings)
{
	const char *why = better(kept, left);
	struct buf line = {0};

	add_set(&line, left->set);
	findings_add(findings, WEIGHT_NOTE, "set-copy-left", left->path,
	    "To read this copy instead, name it as the SOURCE.",
	    "This drive is a further copy of %s and is not read; %s is, because %s.",
	    buf_text(&line), kept->path, why != NULL ? why : "it comes first");
	buf_free(&line);
}

/* Several copies of the mirror of members[first]: one is kept. */
static void keep_one(
    struct set_member *members, size_t count, size_t first, struct findings *findings)
{
	const struct set *set = members[first].set;
	size_t best = first;

	for (size_t i = first + 1; i < count; i++)
		if (is_same_set(members[i].set, set) && better(&members[i], &members[best]) != NULL)
			best = i;
	for (size_t i = first; i < count; i++) {
		if (i == best || !is_same_set(members[i].set, set))
			continue;
		members[i].left_out = true;
		say_left_out(&members[best], &members[i], findings);
	}
}

static void say_copies(
    const struct set_member *members, size_t count, size_t first, struct findings *findings)
{
	struct buf line = {0};

	add_set(&line, members[first].set);
	for (size_t i = 0; i < count; i++)
		if (i != first && is_same_set(members[i].set, members[first].set))
			findings_add(findings, WEIGHT_CAUTION, "set-copies-both", members[i].path,
			    "Name only one of them as SOURCE, the healthier one.",
			    "This drive and %s are copies of %s and both are read: every file "
			    "appears twice.",
			    members[first].path, buf_text(&line));
	buf_free(&line);
}

/* Is there an earlier member of the same set? */
static bool is_first(const struct set_member *members, size_t index)
{
	for (size_t i = 0; i < index; i++)
		if (is_same_set(members[i].set, members[index].set))
			return false;
	return true;
}

static void say_mirror(struct set_member *members, size_t count, size_t index, enum set_use use,
    struct findings *findings)
{
	if (is_first(members, index) && count_here(members, count, members[index].set) > 1) {
		if (use == SETS_CHOSEN)
			keep_one(members, count, index, findings);
		else if (use == SETS_NAMED && members[index].set->kind != SET_DYNAMIC)
			say_copies(members, count, index, findings);
	}
	if (members[index].left_out || members[index].set->kind == SET_DYNAMIC)
		return;
	say_copy(&members[index], findings);
	check_inside(&members[index], findings);
}

/* --- dynamic disks ---------------------------------------------------------------------------- */

static const char keep_group[] = "Connect all drives of the group together to the old PC, or give "
				 "all of them to a workshop. Let no program initialise, convert or "
				 "repair them.";

/* Of a volume that is one copy of a mirror, is another copy on an earlier drive? */
static const char *earlier_copy(
    const struct set_member *members, size_t index, const struct ldm_volume *volume)
{
	const char *group = members[index].table->dynamic->group_id;

	for (size_t i = 0; i < index; i++) {
		const struct ldm *ldm = members[i].table->dynamic;

		if (ldm == NULL || members[i].left_out || strcmp(ldm->group_id, group) != 0)
			continue;
		for (size_t v = 0; v < ldm->count; v++)
			if (ldm->volumes[v].object == volume->object && ldm->volumes[v].is_whole)
				return members[i].path;
	}
	return NULL;
}

static void say_volume_copy(const struct set_member *members, size_t index,
    const struct ldm_volume *volume, enum set_use use, struct findings *findings)
{
	const char *earlier = earlier_copy(members, index, volume);

	if (earlier != NULL && use != SETS_LISTED)
		findings_add(findings, WEIGHT_CAUTION, "set-copies-both", members[index].path, "",
		    "The volume '%s' is on this drive and on %s, as two copies of a mirror, and "
		    "both are read: its files appear twice.",
		    volume->name, earlier);
	else
		findings_add(findings, WEIGHT_NOTE, "set-mirror", members[index].path, "",
		    "The volume '%s' is one copy of a mirror; the other copy holds the same.",
		    volume->name);
}

/* Drives of one group of dynamic disks have one group, whatever lies on each. */
static unsigned count_group(const struct set_member *members, size_t count, const struct ldm *ldm)
{
	unsigned here = 0;

	for (size_t i = 0; i < count; i++)
		here += members[i].table->dynamic != NULL &&
			strcmp(members[i].table->dynamic->group_id, ldm->group_id) == 0;
	return here;
}

static void say_dynamic(const struct set_member *members, size_t count, size_t index,
    enum set_use use, struct findings *findings)
{
	const struct set_member *member = &members[index];
	const struct ldm *ldm = member->table->dynamic;
	unsigned here = count_group(members, count, ldm);

	if (ldm->drives == 0 || ldm->count == 0) {
		findings_add(findings, WEIGHT_LOSS, "set-not-read", member->path, keep_group,
		    "This is a dynamic disk of the old system, and its own table of volumes %s. "
		    "What does not lie whole on this drive is not read.",
		    ldm->drives == 0 ? "cannot be read" : "names no volume on this drive");
		return;
	}
	for (size_t i = 0; i < ldm->count; i++) {
		const struct ldm_volume *volume = &ldm->volumes[i];

		if (!volume->is_whole)
			findings_add(findings, WEIGHT_LOSS, "set-not-read", member->path,
			    keep_group,
			    "The volume '%s' (%s) is a %s over %u of the old system's dynamic "
			    "disks; of the %u drives of their group, %u %s here. coldlift does not "
			    "put such volumes together: it is not read.",
			    volume->name, text_size(volume->size).text, level_words(volume->level),
			    volume->drives, ldm->drives, here, here == 1 ? "is" : "are");
		else if (volume->level == SET_MIRROR)
			say_volume_copy(members, index, volume, use, findings);
	}
}

/* --- all -------------------------------------------------------------------------------------- */

static void say_one(struct set_member *members, size_t count, size_t index, enum set_use use,
    struct findings *findings)
{
	const struct set_member *member = &members[index];
	const struct set *set = member->set;

	if (set->leftover)
		say_leftover(member, findings);
	else if (set->kind == SET_POOL)
		say_pool(member, findings);
	else if (set->level == SET_MIRROR && set->readable_alone)
		say_mirror(members, count, index, use, findings);
	else if (set->kind == SET_DYNAMIC)
		; /* each volume has its own finding */
	else if (set->level == SET_SPARE)
		findings_add(findings, WEIGHT_NOTE, "set-spare", member->path, "",
		    "This drive is a spare of a set (%s): as long as it never stepped in, it holds "
		    "nobody's files.",
		    kinds[set->kind].words);
	else if (set->level == SET_UNKNOWN)
		say_unknown(member, findings);
	else if (!set->readable_alone)
		say_spread(member, count_here(members, count, set), findings);
	if (set->kind == SET_DYNAMIC && !member->left_out)
		say_dynamic(members, count, index, use, findings);
	if (set->others[0] != '\0' && !set->leftover)
		findings_add(findings, WEIGHT_LOSS, "set-not-read", member->path, keep_together,
		    "The drives of this set hold further volumes that are not read: %s.",
		    set->others);
}

void sets_say(struct set_member *members, size_t count, enum set_use use, struct findings *findings)
{
	for (size_t i = 0; i < count; i++)
		if (members[i].set->kind != SET_NONE)
			say_one(members, count, i, use, findings);
}
