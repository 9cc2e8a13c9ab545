/* help_view.h - views from text that reads like a log, and findings as text.
 *
 * One line each, words separated by blanks; a value with blanks stands in double
 * quotes (name="back door"). Empty lines and lines that begin with # are skipped.
 * A line that cannot be read fails the test with its text.
 *
 *   account A1 tz=+02:00 group=mill timezone=Some/Where name="Mill" since=TIME receiver=1 line=2
 *   now TIME                       default: end of the last cover, else the last event
 *   cover FROM TO                  any number; default: first event to now
 *   roster zone=5 serial=4A0071 kind=contact name="back door" cell=CR123A cells=2 checkin=60m
 *          installed=TIME as_of=TIME version=1 part=1       (on one line; version default 1,
 *          as_of default 1970, before all events)
 *   plan serial=4A0071 from=TIME to=TIME zone=5 kind=contact name=.. order=1 replaces=..
 *   service TIME what="cell changed" zone=5 serial=.. who=..
 *   setting chatter.bursts=3 kind=contact
 *   elsewhere SERIAL ACCOUNT ZONE
 *   TIME WORD zone=5 serial=.. part=1 user=3 text=".." cell=E131 received=TIME hint=smoke signal=-71dBm
 *          marks=still,coarse file=2 times=10 every=60s until=TIME
 *
 * TIME is 2026-10-01, 2026-10-01T08:00, 2026-10-01T08:00:00, 2026-10-01T08:00:00.250, each
 * with Z, with +02:00, or with neither (then in the account's tz). Without seconds an
 * event is marked coarse. `every` with `times` or `until` writes the event again and again,
 * its `received` as much later.
 * The cell defaults to the word. Marks: still reset skipped repeated ambiguous leap coarse
 * buffered life-code user panel. Another `account` line begins another view.
 */
#ifndef TESTS_UNIT_HELP_VIEW_H
#define TESTS_UNIT_HELP_VIEW_H

#include "rules/rule.h"

/* The view of a text with one account, finished. view_release() when done. */
void help_view(struct view *v, const char *text);
/* An instant as above, in UTC where it says nothing else. */
int64_t help_time(const char *text);

/* Judges the text (any number of accounts, then the fleet pass) by one rule or, with
 * NULL, by all. One finding is one line
 *   RULE LEVEL ACCOUNT SUBJECT [DEVICE] ONSET LAST COUNT life|- open|CLEARED | SUMMARY
 * followed by lines "  measure NAME VALUE UNIT", "  check TEXT", "  caution TEXT",
 * "  member SUBJECT", "  evidence TIME WORD". The text lives in `a`. */
const char *help_judge(struct arena *a, const char *text, const char *rule);
/* The same for findings that are there already. */
const char *help_findings(struct arena *a, const struct view *v, const struct findings *out);

#endif
