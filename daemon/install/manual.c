/* manual.c - prints what is installed beside the program, from the program's own tables,
 * so that page, completion and program never say different things.
 *
 *   manual page DATE       tripsift.1
 *   manual settings        of the rules, for tripsift-rules.7
 *   manual see             the end of the other two pages
 *   manual completion      for bash
 *
 * Used at build time only; it is no part of the program. The pages are man(7).
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/arena.h"
#include "daemon/cmd.h"
#include "daemon/report/settings.h"
#include "rules/care.h"
#include "rules/override.h"
#include "rules/rule.h"

/* ---- roff ------------------------------------------------------------------- */

/* One word: what roff would take for its own is escaped, and a dash stays what one types. */
static int
put_word(const char *p, size_t n, bool first)
{
	if (first && (*p == '.' || *p == '\''))
		fputs("\\&", stdout);
	for (size_t i = 0; i < n; i++) {
		if (p[i] == '\\')
			fputs("\\e", stdout);
		else if (p[i] == '-' && *p == '-')
			fputs("\\-", stdout);
		else
			putchar(p[i]);
	}
	return (int)n;
}

/* Running text, in lines of no more than 76 columns. */
static void
put_text(const char *text)
{
	enum { WIDTH = 76 };
	int at = 0;

	for (const char *p = text + strspn(text, " "); *p; p += strspn(p, " ")) {
		size_t n = strcspn(p, " ");

		if (at && at + 1 + (int)n > WIDTH) {
			putchar('\n');
			at = 0;
		} else if (at) {
			putchar(' ');
			at++;
		}
		at += put_word(p, n, at == 0);
		p += n;
	}
	putchar('\n');
}

/* As typed, each dash a dash. */
static void
put_typed(const char *p, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		if (i == 0 && (*p == '.' || *p == '\''))
			fputs("\\&", stdout);
		if (p[i] == '\\')
			fputs("\\e", stdout);
		else if (p[i] == '-')
			fputs("\\-", stdout);
		else
			putchar(p[i]);
	}
}

static void
put_lines(const char *lines)
{
	puts(".PP\n.RS 4\n.EX");
	for (const char *p = lines; *p;) {
		size_t n = strcspn(p, "\n");

		put_typed(p, n);
		putchar('\n');
		p += n + (p[n] == '\n');
	}
	puts(".EE\n.RE");
}

static void
put_option(const struct opt *o)
{
	fputs(".TP\n", stdout);
	if (o->letter)
		printf("\\fB\\-%c\\fR, ", o->letter);
	fputs("\\fB\\-\\-", stdout);
	put_typed(o->name, strlen(o->name));
	fputs("\\fR", stdout);
	if (o->arg)
		printf(" \\fI%s\\fR", o->arg);
	putchar('\n');
	put_text(o->help);
}

static bool
is_common(const struct opt *o)
{
	return o->offset < sizeof(struct opts_common);
}

static void
put_command(const struct command *c)
{
	printf(".SS tripsift %s", c->name);
	if (*c->operands)
		printf(" %s", c->operands);
	putchar('\n');
	put_text(c->about);
	for (const struct opt *o = c->opt; o->name; o++)
		if (o->help && !is_common(o))
			put_option(o);
	puts(".PP\nFor example");
	put_lines(c->examples);
	puts(".PP\nExit status:");
	put_text(c->exits);
}

static const struct opt common_options[] = {
	OPTS_COMMON(struct { struct opts_common common; }),
	OPTS_END
};

static void
page(const char *date)
{
	static const struct { const char *name, *what; } variable[] = {
		{ "TRIPSIFT_DB", "The store, where no --db names one." },
		{ "TRIPSIFT_WHO", "Who decides, where decide has no --who." },
		{ "NO_COLOR", "Set to anything: a terminal gets no bold and no reverse." },
		{ "NOTIFY_SOCKET, WATCHDOG_USEC", "Set by a service manager: watch tells it how it is." },
	};

	printf(".TH TRIPSIFT 1 \"%s\" \"tripsift %s\"\n", date, VERSION);
	puts(".SH NAME\ntripsift \\- which alarm sites and devices need a person, and why");
	puts(".SH SYNOPSIS\n.B tripsift\n\\fIcommand\\fR [\\fIoptions\\fR] [\\fIoperand ...\\fR]\n.br\n"
	    ".B tripsift \\-\\-help\n.br\n.B tripsift \\-\\-version");
	puts(".SH DESCRIPTION");
	put_text("tripsift reads exported event histories of intruder and life-safety alarm systems "
	    "and says which sites and devices need a person, why, on what evidence, and what to do "
	    "first. It keeps what it read in one SQLite file, the store. tripsift-formats(5) says "
	    "what the files look like, tripsift-rules(7) what is looked for.");
	puts(".PP\nThe commands:");
	for (const struct command *const *c = cmd_table; *c; c++) {
		printf(".TP 12\n.B %s\n", (*c)->name);
		put_text((*c)->purpose);
	}
	puts(".SH OPTIONS OF EVERY COMMAND");
	for (const struct opt *o = common_options; o->name; o++)
		put_option(o);
	puts(".SH COMMANDS");
	for (const struct command *const *c = cmd_table; *c; c++)
		put_command(*c);
	puts(".SH ENVIRONMENT");
	for (size_t i = 0; i < sizeof variable / sizeof *variable; i++) {
		printf(".TP\n.B %s\n", variable[i].name);
		put_text(variable[i].what);
	}
	puts(".SH FILES\n.TP\n.B tripsift.db");
	put_text("The store, with tripsift.db-wal and tripsift.db-shm beside it while it is open, and "
	    "tripsift.db.lock, which says who works on it.");
	puts(".SH EXIT STATUS");
	put_text("0 done; 1 done, and something needs a person; 2 wrong usage, unknown account, rule or "
	    "finding; 3 failed, or there is no store. Each command says what that means for it.");
	puts(".SH CAUTIONS");
	put_text(CARE_LIFE);
	puts(".SH SEE ALSO\n.BR tripsift\\-formats (5),\n.BR tripsift\\-rules (7),\n.BR sqlite3 (1)");
}

static void
settings(void)
{
	struct arena a = { 0 };

	puts(".SH SETTINGS");
	put_text("Each number, as it is when nobody changed it, with what is allowed and where it comes "
	    "from. The command \"tripsift rules\" shows what is in force.");
	for (size_t i = 0; i < rule_count || override_of_the_store(i - rule_count); i++) {
		const struct rule *r = i < rule_count ? rule_table[i] : override_of_the_store(i - rule_count);

		printf(".SS %s\n", r->id);
		for (const struct setting *s = r->setting; s && s->name; s++) {
			printf(".TP\n.B %s\n", s->name);
			put_text(arena_fmt(&a, "%s; allowed: %s. Origin: %s.",
			    settings_value(&a, s->value, s->unit), settings_allowed(&a, s), s->origin));
		}
	}
	arena_release(&a);
}

/* ---- completion ------------------------------------------------------------- */

static void
put_words(const char *words)	/* "text|csv" as "text csv" */
{
	for (; *words; words++)
		putchar(*words == '|' ? ' ' : *words);
}

/* What may stand behind an option: its words, rules, files or folders. */
static void
put_values(const struct opt *o)
{
	printf("\t\t--%s", o->name);
	if (o->letter)
		printf("|-%c", o->letter);
	fputs(") ", stdout);
	if (o->kind == OPT_CHOICE) {
		fputs("words='", stdout);
		put_words(o->words);
		puts("' ;;");
	} else if (strcmp(o->arg, "RULE") == 0) {
		puts("words=$rules ;;");
	} else if (strcmp(o->arg, "FILE") == 0) {
		puts("kind=file ;;");
	} else if (strcmp(o->arg, "FOLDER") == 0) {
		puts("kind=folder ;;");
	} else {
		puts("kind=none ;;");
	}
}

static void
put_completion_of(const struct command *c)
{
	const char *operands = c->operands;

	printf("\t%s)\n\t\tcase $before in\n", c->name);
	for (const struct opt *o = c->opt; o->name; o++)
		if (o->help && o->arg)
			put_values(o);
	puts("\t\t*) options='\\");
	for (const struct opt *o = c->opt; o->name; o++)
		if (o->help)
			printf("--%s ", o->name);
	fputs("'; ", stdout);
	if (strncmp(operands, "FILE", 4) == 0)
		fputs("kind=file ", stdout);
	else if (strncmp(operands, "FOLDER", 6) == 0)
		fputs("kind=folder ", stdout);
	else if (strstr(operands, "RULE"))
		fputs("words=$rules ", stdout);
	if (strchr(operands, '|')) {
		fputs("words='", stdout);
		put_words(operands);
		fputs("' ", stdout);
	}
	puts(";;\n\t\tesac ;;");
}

static void
completion(void)
{
	puts("# Completion for bash of tripsift " VERSION ".\n"
	    "_tripsift() {\n"
	    "\tlocal word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]}\n"
	    "\tlocal command=${COMP_WORDS[1]} words='' options='' kind=none");
	fputs("\tlocal rules='", stdout);
	for (size_t i = 0; i < rule_count; i++)
		printf("%s%s", i ? " " : "", rule_table[i]->id);
	puts("'\n\tCOMPREPLY=()\n\tif [ \"$COMP_CWORD\" = 1 ]; then");
	fputs("\t\twords='", stdout);
	for (const struct command *const *c = cmd_table; *c; c++)
		printf("%s ", (*c)->name);
	puts("help --help --version'\n\telse case $command in");
	fputs("\thelp) words='", stdout);
	for (const struct command *const *c = cmd_table; *c; c++)
		printf("%s%s", c == cmd_table ? "" : " ", (*c)->name);
	puts("' ;;");
	for (const struct command *const *c = cmd_table; *c; c++)
		put_completion_of(*c);
	puts("\tesac; fi\n"
	    "\t[[ $word == -* ]] && words=$words' '$options kind=none\n"
	    "\tcase $kind in\n"
	    "\tfile) compopt -o filenames 2>/dev/null; mapfile -t COMPREPLY < <(compgen -f -- \"$word\") ;;\n"
	    "\tfolder) compopt -o filenames 2>/dev/null; mapfile -t COMPREPLY < <(compgen -d -- \"$word\") ;;\n"
	    "\t*) mapfile -t COMPREPLY < <(compgen -W \"$words\" -- \"$word\") ;;\n"
	    "\tesac\n"
	    "}\n"
	    "complete -F _tripsift tripsift");
}

int
main(int argc, char **argv)
{
	const char *what = argc > 1 ? argv[1] : "";

	if (strcmp(what, "page") == 0 && argc == 3) {
		page(argv[2]);
	} else if (strcmp(what, "settings") == 0) {
		settings();
	} else if (strcmp(what, "see") == 0) {
		puts(".SH SEE ALSO\n.BR tripsift (1),\n.BR tripsift\\-formats (5),\n"
		    ".BR tripsift\\-rules (7)");
	} else if (strcmp(what, "completion") == 0) {
		completion();
	} else {
		fputs("usage: manual page DATE | settings | see | completion\n", stderr);
		return 2;
	}
	return ferror(stdout) || fflush(stdout) ? 1 : 0;
}
