/* rule.h - the contract between the engine and one rule.
 *
 * A rule is one file with one `const struct rule`, named in rules/list.h. It is
 * a plain function of one account's view that appends findings; it does no I/O
 * and reads no clock. The same view gives the same findings, in any order of calls.
 * What needs more than one account is its `fleet` function: a second, small pass
 * over numbers that `judge` noted for each account.
 */
#ifndef RULES_RULE_H
#define RULES_RULE_H

#include "rules/view.h"

enum level { LEVEL_NOW, LEVEL_SOON, LEVEL_LATER, LEVEL_COUNT };
const char *level_text(enum level l);	/* "now", "soon", "later" */

/* One number in force, its limits and where it comes from. Durations are given in
 * the unit that people use; `unit` is "s", "min", "h", "d", "" or a word. */
struct setting {
	const char *name;
	double      value, min, max;
	const char *unit;
	const char *origin;	/* clause, paper, "common practice, no source", "from memory" */
};

struct measure {
	const char *name, *unit;
	double      value;
	const char *text;	/* non-NULL: a text value instead of the number */
};

/* Grows by the functions below; all memory is the list's arena. */
struct finding {
	const struct rule *rule;
	const char  *account;	/* NULL = the account of the view; "*" = the whole fleet */
	const char  *subject;	/* what the case is about: "serial:KEY", "zone:KEY", "site",
				 * "session:2026-10-01T08:00:00Z"; keeps its id by it */
	int32_t      device;	/* index in the view, -1 = the site or a session */
	const char  *zone, *serial, *device_text;	/* filled from `device` when left NULL */
	enum level   level;
	bool         life;	/* concerns life safety; device ones are set by the engine too */
	int64_t      onset, last;	/* every rule sets both */
	int64_t      cleared;	/* NO_TIME = open; else when the evidence cleared it */
	long         count;
	const char  *summary;	/* one plain sentence with its numbers */
	struct measure *measure;
	size_t       n_measure, cap_measure;
	uint32_t    *evidence;	/* event indices, each once, in time order */
	size_t       n_evidence, cap_evidence;
	const char **check;	/* what to check, in this order */
	size_t       n_check, cap_check;
	const char **caution;
	size_t       n_caution, cap_caution;
	const char **member;	/* subjects that this finding stands for ("zone:5") */
	size_t       n_member, cap_member;
	bool         pending;	/* a candidate: the rule's fleet pass decides whether it fires */
	double       number[8];	/* what the fleet pass needs of a candidate */
};

/* A number of one account that the fleet pass needs. */
struct summary {
	const char *rule;	/* filled by the engine: a fleet pass sees its own rule's only */
	const char *account;	/* filled by the engine */
	const char *key;	/* the rule's own, such as "exposure" or "onset:CR123A" */
	int64_t     at;
	double      a, b;
};

struct findings {
	struct arena     arena;
	struct finding **finding;	/* each stays where it is while the list grows */
	size_t           n, cap;
	struct summary  *summary;
	size_t           n_summary, cap_summary;
};

/* One candidate as the fleet pass sees it. */
struct candidate {
	const char *account;
	const char *subject;
	double      number[8];
	/* Answers: */
	bool        fires;
	const char *summary;		/* the final sentence; NULL keeps the candidate's own */
	struct measure *measure;	/* added to the candidate's own */
	size_t      n_measure;
	const char **check;		/* likewise */
	size_t      n_check;
};

/* A candidate of a rule earlier in rules/list.h that fires, so that later rules do not tell
 * the same cause again. */
struct fired {
	const char *rule, *account, *subject;
};

struct fleet {
	const struct summary *summary;	/* by account, then in the order noted */
	size_t                n_summary;
	size_t                n_account;	/* accounts judged */
	int64_t               now;		/* common as-of: the latest end of cover */
	struct candidate     *candidate;
	size_t                n_candidate;
	struct fired         *fired;		/* by the engine, after each rule; heap */
	size_t                n_fired, cap_fired;
	const struct override *override;	/* of scope "*" only */
	size_t                n_override;
};

struct rule {
	const char *id;		/* [a-z-]+, stored with findings: never renamed */
	const char *title;	/* one line, no final stop */
	const char *why;	/* what it means to the reader of a report */
	const char *quiet_on;	/* what it must not fire on, in words */
	const char *limits;	/* what the rule cannot know */
	const struct setting *setting;	/* ends with a row whose name is NULL */
	/* A finding whose measure "restored" is a time clears when a person has said `seen` of
	 * it as it stands, and by nothing else; nor when it is not found any more. */
	bool by_decision;
	void (*judge)(struct view *v, struct findings *out);
	/* NULL, or: decides candidates, may add findings with account "*". */
	void (*fleet)(struct fleet *f, struct findings *out);
};

#define X(name) extern const struct rule rule_##name;
#include "rules/list.h"
#undef X
extern const struct rule *const rule_table[];
extern const size_t rule_count;
const struct rule *rule_find(const char *id);	/* NULL if none */

/* The setting's value for a device of this view (-1: for the account). The name
 * must be one of the rule's own (asserted). Milliseconds for durations: setting_ms(). */
double setting_value(const struct view *v, const struct rule *r, const char *name, int32_t device);
int64_t setting_ms(const struct view *v, const struct rule *r, const char *name, int32_t device);
/* The rule's fleet pass over these candidates; what fires is added to f->fired. */
void rule_fleet(const struct rule *r, struct fleet *f, struct findings *out);
/* The same for the fleet pass. */
double setting_fleet(const struct fleet *f, const struct rule *r, const char *name);
/* Milliseconds of one unit of the setting, 0 if it is no duration. */
int64_t setting_unit_ms(const struct setting *s);
/* A finding of the same subject that comes back within this time (ms) is the same case: the
 * default of the rule's setting "rejoin" or "join", else 30 days. */
int64_t rule_rejoin(const struct rule *r);

/* What a case about a device is called; for the members of another finding. */
const char *finding_subject(struct arena *a, const struct view *v, int32_t device);
/* A new finding; subject is taken from the device when NULL (serial, else zone). */
struct finding *finding_add(struct findings *out, struct view *v, const struct rule *r,
    int32_t device, const char *subject);
void finding_measure(struct findings *out, struct finding *f, const char *name, double value,
    const char *unit);
void finding_measure_text(struct findings *out, struct finding *f, const char *name,
    const char *text);
void finding_evidence(struct findings *out, struct finding *f, uint32_t event);
void finding_check(struct findings *out, struct finding *f, const char *text);
void finding_caution(struct findings *out, struct finding *f, const char *text);
void finding_member(struct findings *out, struct finding *f, const char *subject);
void finding_summary(struct findings *out, struct finding *f, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));
/* A length of time for people: "45 s", "12 min", "3 h 10 min", "2 d 4 h". */
const char *rule_span_text(struct arena *a, int64_t ms);
void summary_add(struct findings *out, const char *key, int64_t at, double a, double b);
void findings_release(struct findings *out);

/* What the engine does with one account: every rule's judge(), then rules_complete().
 * `only` names one rule or is NULL. Of an account without events and cover, nothing. Where overrides reach the account, it is judged by the
 * defaults as well, and no finding on what is or may be life safety is lost or ranked down
 * by an override, whatever the rule makes of it. */
void rules_judge(struct view *v, const char *only, struct findings *out);
/* What holds for all findings, done to those from `first` on: texts of the device,
 * life-safety cautions, never below `soon` for a device of unknown kind, what limits the
 * proof (log cleared or overflowed, clock set or reset, gaps in the export inside the
 * finding's span), order. */
void rules_complete(struct view *v, struct findings *out, size_t first);

#endif
