/* intake.h - what `ingest` and `check` share: options, the account of rows, exit code. */
#ifndef DAEMON_INTAKE_H
#define DAEMON_INTAKE_H

#include "daemon/cmd.h"

extern const struct opt intake_options[], intake_check_options[];

/* Runs the whole command; `dry` stores nothing. */
int intake_run(const struct command *self, int argc, char **argv, bool dry);

#endif
