#include "daemon/intake.h"

static int
run(const struct command *self, int argc, char **argv)
{
	return intake_run(self, argc, argv, false);
}

const struct command cmd_ingest = {
	.name = "ingest",
	.operands = "FILE...",
	.purpose = "read exports into the store and judge what is due",
	.about = "Reads exported event histories, rosters, sites, plans, service records, "
	    "settings, decisions and wordings (CSV, also gzip) into the store, then judges the "
	    "accounts that changed. What a file holds is read off its header. A folder stands "
	    "for the files in it (not for folders in it); - is standard input. Each row is stored, told as a repeat, or "
	    "set aside with its reason; reading a file twice changes nothing. A file that "
	    "cannot be read as a whole stays outside, the others are taken.",
	.examples = "tripsift ingest sites.csv roster.csv events-2026-10.csv.gz\n"
	    "tripsift ingest --covers all exports/\n",
	.exits = "0 done; 1 done, but rows were set aside; 2 wrong usage; 3 a file or the "
	    "store failed.",
	.opt = intake_options,
	.run = run,
};
