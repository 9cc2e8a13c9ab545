/* cmd_list.h - the one place that names every command, in the order of the help.
 * X(name) stands for daemon/cmd_name.c, which defines `const struct command cmd_name`. */
X(ingest)
X(check)
X(triage)
X(site)
X(visit)
X(explain)
X(decide)
X(rules)
X(nightly)
X(watch)
X(status)
X(export)
