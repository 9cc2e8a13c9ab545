/* main.c - finds the command, runs it, and makes sure that its output arrived. */
#include <errno.h>
#include <fcntl.h>
#include <locale.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/cmd.h"

static void
overview(FILE *f)
{
	fputs(
	    "tripsift " VERSION " reads exported event histories of intruder and life-safety\n"
	    "alarm systems and says which sites and devices need a person, why, on what\n"
	    "evidence, and what to do first.\n\n"
	    "Begin with: tripsift ingest FILE...    reads exports (CSV) into a store, then\n"
	    "  many accounts, which devices make the noise     tripsift triage\n"
	    "  one site, before the visit and before leaving   tripsift site ACCOUNT\n"
	    "                                                  tripsift visit ACCOUNT\n"
	    "  one finding, all of its evidence                tripsift explain FINDING\n\n"
	    "Commands, each with --help\n", f);
	for (const struct command *const *c = cmd_table; *c; c++)
		fprintf(f, "  %-9s%s\n", (*c)->name, (*c)->purpose);
	fputs("\ntripsift --version prints the version.\n", f);
}

static int
unknown(const char *word)
{
	const char *name[32];
	size_t n = 0;
	const char *near;

	for (const struct command *const *c = cmd_table; *c && n < 31; c++)
		name[n++] = (*c)->name;
	name[n] = NULL;
	near = opts_nearest(word, name);
	if (near)
		cmd_say("no command \"%s\"; nearest: %s", word, near);
	else
		cmd_say("no command \"%s\"; \"tripsift --help\" lists them", word);
	return OUT_USAGE;
}

static int
dispatch(int argc, char **argv)
{
	const struct command *c;

	if (argc < 2) {
		overview(stdout);
		return OUT_DONE;
	}
	if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "-h") == 0 ||
	    strcmp(argv[1], "help") == 0) {
		if (argc < 3)
			overview(stdout);
		else if ((c = cmd_find(argv[2])))
			cmd_help(c, stdout);
		else
			return unknown(argv[2]);
		return OUT_DONE;
	}
	if (strcmp(argv[1], "--version") == 0) {
		puts("tripsift " VERSION);
		return OUT_DONE;
	}
	c = cmd_find(argv[1]);
	return c ? c->run(c, argc - 2, argv + 2) : unknown(argv[1]);
}

/* A standard stream that is closed would be given to the next file that is opened, and
 * output would end up in it. */
static void
hold_standard_streams(void)
{
	for (int fd = 0; fd <= 2; fd++) {
		if (fcntl(fd, F_GETFD) == -1 && errno == EBADF)
			open("/dev/null", fd == 0 ? O_WRONLY : O_RDONLY);
	}
}

int
main(int argc, char **argv)
{
	int outcome;

	hold_standard_streams();
	setlocale(LC_CTYPE, "");
	umask(077);	/* stores and files hold people's habits */
	signal(SIGPIPE, SIG_IGN);
	outcome = dispatch(argc, argv);
	/* A full disk may show only now; who cuts a pipe short needs no message. */
	errno = 0;
	if (fflush(stdout) != 0 || ferror(stdout)) {
		if (errno != EPIPE)
			cmd_say("cannot write to standard output%s%s", errno ? ": " : "",
			    errno ? strerror(errno) : "");
		return OUT_FAILED;
	}
	return outcome;
}
