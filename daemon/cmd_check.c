#include "daemon/intake.h"

static int
run(const struct command *self, int argc, char **argv)
{
	return intake_run(self, argc, argv, true);
}

const struct command cmd_check = {
	.name = "check",
	.operands = "FILE...",
	.purpose = "read exports the same way and store nothing",
	.about = "Reads files as \"tripsift ingest\" would and says what it would take, what it "
	    "would set aside and why. Nothing is stored, and no store is looked at: rows are "
	    "told as repeats of one another, and local times follow the sites files named along. "
	    "Of files that are read by wordings it shows what was mapped, which pattern decided "
	    "how many rows, and the texts that none matched.",
	.examples = "tripsift check events-2026-10.csv\n"
	    "tripsift check --wordings words.csv history.csv\n"
	    "zcat old.csv.gz | tripsift check --timezone Europe/Vienna -\n",
	.exits = "0 done; 1 rows would be set aside; 2 wrong usage; 3 a file or the store "
	    "failed.",
	.opt = intake_check_options,
	.run = run,
};
