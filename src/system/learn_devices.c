/* Things of the machine and of one person, from the hives: who learns what is in learn_devices.h.
 */
#include "system/learn_devices.h"

void learn_machine_devices(struct learn *learn)
{
	learn_printers(learn);
	learn_paired(learn);
	learn_shares(learn);
	learn_networks(learn);
	learn_fonts(learn);
	learn_machine_settings(learn);
	learn_power(learn);
}

void learn_person_devices(struct learn *learn, const struct person *person, const struct hive *hive,
    const struct environment *environment)
{
	size_t index = (size_t)(person - learn->system->persons);
	struct hive *classes = NULL;

	if (person->profile.node != NONE && !traces_spare(learn->survey, person->profile.volume))
		classes = load_classes_hive(learn, person);
	learn_person_printers(learn, hive, index);
	learn_mapped_drives(learn, hive, index);
	learn_default_programs(learn, hive, classes, index);
	learn_looks(learn, hive, index, environment);
	learn_person_settings(learn, hive, index);
	learn_person_power(learn, hive, index);
	hive_close(classes);
}
