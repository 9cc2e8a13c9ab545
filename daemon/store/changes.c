/* changes.c - what lists changed, one by one, with what held before. */
#include <stdlib.h>
#include <string.h>

#include "daemon/store/db.h"

/* The columns are: who, what, before, now, kind of device before, and now. ?1 is the file.
 * "Before" is the newest file that names the same account (setting; place of wordings);
 * where there is none all is new, and the count of rows says enough. */

#define NONE(x) "CASE " x " WHEN '' THEN 'none' ELSE " x " END"
#define WHEN(x) "strftime('%Y-%m-%d %H:%M', " x " / 1000, 'unixepoch')"
#define QUOTED(before, x) "CASE " x " WHEN '' THEN '' ELSE '" before " \"' || " x " || '\"' END"
#define NAMED(before, x) "CASE " x " WHEN '' THEN '' ELSE '" before " ' || " x " END"
#define PLACE(x) NAMED(" zone", x ".zone") " || " NAMED(" partition", x ".partition") \
	" || CASE " x ".zone WHEN '' THEN " NAMED(" serial", x ".serial") " ELSE '' END"

#define SETTINGS \
	"SELECT t.who, t.rule || '.' || t.setting ||" \
	"  CASE WHEN t.scope IN ('', '*') THEN '' ELSE ' for ' || t.scope END," \
	"  coalesce((SELECT o.value FROM setting o WHERE o.rule = t.rule AND o.setting = t.setting" \
	"    AND o.scope = t.scope AND o.file < t.file ORDER BY o.id DESC LIMIT 1), 'the default')," \
	"  t.value, '', '' FROM setting t WHERE t.file = ?1 ORDER BY t.id"

#define SITE(label, before, now) \
	"SELECT '', '" label " of ' || t.account, " before ", " now ", '', ''" \
	" FROM site t CROSS JOIN site o ON o.id =" \
	"  (SELECT max(p.id) FROM site p WHERE p.account = t.account AND p.file < t.file)" \
	" WHERE t.file = ?1 AND " before " <> " now
#define SINCE(x) "coalesce(" WHEN(x ".since") ", 'none')"
#define SITES \
	SITE("time zone", "o.timezone", "t.timezone") \
	" UNION ALL " SITE("name", NONE("o.name"), NONE("t.name")) \
	" UNION ALL " SITE("group", NONE("o.\"group\""), NONE("t.\"group\"")) \
	" UNION ALL " SITE("former number", NONE("o.was"), NONE("t.was")) \
	" UNION ALL " SITE("number given anew", SINCE("o"), SINCE("t"))

/* Rows of two versions of one account, paired by a key; unpaired ones came or went. */
#define VERSIONS(table, noun, key_o, key_t, text_o, text_t, place_o, place_t) \
	"WITH was AS MATERIALIZED (SELECT t.account, (SELECT max(p.file) FROM " table " p" \
	"   WHERE p.account = t.account AND p.file < ?1) AS file" \
	"  FROM " table " t WHERE t.file = ?1 GROUP BY t.account)" \
	" SELECT '', '" noun " ' || t.account || " place_t ", coalesce(" text_o ", 'none'), " text_t "," \
	"   coalesce(o.device, ''), t.device FROM was CROSS JOIN " table " t ON t.account = was.account" \
	"   AND t.file = ?1 LEFT JOIN " table " o ON o.account = t.account AND o.file = was.file" \
	"   AND " key_o " = " key_t " WHERE was.file IS NOT NULL" \
	"   AND (o.id IS NULL OR " text_o " <> " text_t ")" \
	" UNION ALL SELECT '', '" noun " ' || o.account || " place_o ", " text_o ", 'none', o.device, ''" \
	"  FROM was CROSS JOIN " table " o ON o.account = was.account AND o.file = was.file" \
	"  WHERE NOT EXISTS (SELECT 1 FROM " table " t WHERE t.account = o.account AND t.file = ?1" \
	"   AND " key_o " = " key_t ")"

#define DEVICE_KEY(x) "ltrim(" x ".zone, '0') || '/' || ltrim(" x ".partition, '0') || '/' ||" \
	" CASE " x ".zone WHEN '' THEN " x ".serial ELSE '' END"
#define DEVICE(x) "(" NONE(x ".device") " || " QUOTED("", x ".name") " || " \
	NAMED(" serial", x ".serial") " || " NAMED(" cell", x ".cell") \
	" || CASE WHEN " x ".cells > 1 THEN ' x ' || " x ".cells ELSE '' END" \
	" || coalesce(' installed ' || date(" x ".installed / 1000, 'unixepoch'), '')" \
	" || CASE WHEN " x ".checkin THEN ' check-in ' || " x ".checkin / 1000 || ' s' ELSE '' END)"
#define ROSTER VERSIONS("roster", "device of", DEVICE_KEY("o"), DEVICE_KEY("t"), DEVICE("o"), \
	DEVICE("t"), PLACE("o"), PLACE("t"))

#define VISIT(x) "(" WHEN(x ".from_at") " || ' to ' || " WHEN(x ".to_at") " || ' UTC' || " \
	NAMED(" zone", x ".zone") " || " NAMED("", "replace(" x ".device, 'unknown', '')") " || " QUOTED("", x ".name") " || " \
	NAMED(" replaces", x ".replaces") ")"
#define PLAN VERSIONS("plan", "plan of", "o.serial", "t.serial", VISIT("o"), VISIT("t"), \
	"' serial ' || o.serial", "' serial ' || t.serial")

#define SERVICE \
	"SELECT t.who, 'work at ' || t.account || " NAMED(" zone", "t.zone") " || " \
	NAMED(" serial", "t.serial") " || ' on ' || " WHEN("t.at") " || ' UTC', 'none', t.what, '', ''" \
	" FROM service t WHERE t.file = ?1 ORDER BY t.id"

#define WAS_WORDED "(SELECT max(g.id) FROM file f JOIN file g ON g.place = f.place AND g.kind = f.kind" \
	" AND g.id < f.id AND (g.stored > 0 OR g.rows = 0) WHERE f.id = ?1)"
#define WORDED(x) "'wording of ' || " x ".what || ' \"' || " x ".match || '\"'"
#define WORDINGS \
	"SELECT '', " WORDED("t") ", coalesce(o.gives, 'none'), t.gives, '', '' FROM wording t" \
	"  LEFT JOIN wording o ON o.file = " WAS_WORDED " AND o.what = t.what AND o.match = t.match" \
	"  WHERE t.file = ?1 AND o.gives IS NOT t.gives" \
	" UNION ALL SELECT '', " WORDED("o") ", o.gives, 'none', '', '' FROM wording o" \
	"  WHERE o.file = " WAS_WORDED " AND NOT EXISTS (SELECT 1 FROM wording t WHERE t.file = ?1" \
	"   AND t.what = o.what AND t.match = o.match)"

static const struct { const char *kind, *sql; } query[] = {
	{ "settings", SETTINGS }, { "sites", SITES }, { "roster", ROSTER }, { "plan", PLAN },
	{ "service", SERVICE }, { "wordings", WORDINGS },
};

static bool
is_life(const char *device)
{
	enum kind k;

	return *device && kind_find(span_of(device), &k) && kind_is_life(k);
}

struct list { struct night_change *one; size_t n, cap; };

static struct night_change *
more(struct list *l)
{
	l->one = x_grow(l->one, &l->cap, l->n + 1, sizeof *l->one);
	return &l->one[l->n++];
}

/* What one file changed; `f` names the file. */
static int
changes_of(struct store *s, int64_t id, const struct night_change *f, struct arena *a,
    struct list *out, struct err *e)
{
	sqlite3_stmt *st = NULL;
	int rc;

	for (size_t i = 0; i < sizeof query / sizeof *query; i++)
		if (strcmp(f->kind, query[i].kind) == 0 && !(st = db_stmt(s, query[i].sql, e)))
			return -1;
	if (!st)
		return 0;
	sqlite3_bind_int64(st, 1, id);
	while ((rc = db_step(s, st, e)) > 0) {
		struct night_change *c = more(out);

		*c = *f;
		c->who = db_text(st, 0, a);
		c->what = db_text(st, 1, a);
		c->before = db_text(st, 2, a);
		c->now = db_text(st, 3, a);
		c->life = is_life(db_text(st, 4, a)) || is_life(db_text(st, 5, a));
	}
	return rc;
}

int
store_night_changes(struct store *s, int64_t since, struct arena *a,
    struct night_change **out, size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT id, name, kind, owner, stored || ' of ' || rows ||"
	    " CASE rows WHEN 1 THEN ' row' ELSE ' rows' END || ' taken'"
	    " FROM file WHERE id > ?1 AND kind <> 'events'"
	    /* An empty file of wordings takes back those that stood there. */
	    " AND (stored > 0 OR (kind = 'wordings' AND rows = 0)) ORDER BY id", e);
	struct list list = { 0 };
	int rc = st ? 0 : -1;

	if (st)
		sqlite3_bind_int64(st, 1, since);
	while (st && (rc = db_step(s, st, e)) > 0) {
		struct night_change f = { .file = db_text(st, 1, a), .kind = db_text(st, 2, a),
		    .owner = db_text(st, 3, a), .who = "", .what = db_text(st, 4, a), .before = "",
		    .now = "" };

		if (strcmp(f.kind, "settings") != 0)
			*more(&list) = f;
		if (changes_of(s, sqlite3_column_int64(st, 0), &f, a, &list, e)) {
			rc = -1;
			break;
		}
	}
	sqlite3_reset(st);
	*n = list.n;
	*out = arena_keep(a, list.one, list.n, sizeof *list.one);
	return rc;
}
