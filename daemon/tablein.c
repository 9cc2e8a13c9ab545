#include "daemon/tablein.h"

#include <pwd.h>
#include <string.h>
#include <sys/stat.h>

#include "daemon/derive.h"
#include "daemon/store/tables.h"
#include "parsers/reader.h"
#include "rules/override.h"

/* Everything a row needs to become a stored one. */
struct taking {
	struct store      *s;
	struct reading    *r;
	struct tz_set     *zones;
	const struct tz   *fallback;
	struct arena       row;		/* texts of one row */
	struct table_file  file;
	bool               dry;
	const volatile sig_atomic_t *stop;
};

static const char *
text(struct taking *t, const struct row *row, enum column c)
{
	return row->cell[c].n ? arena_text(&t->row, row->cell[c]) : "";
}

static const struct tz *
zone_of(struct taking *t, const struct row *row)
{
	const struct tz *tz = reading_zone(t->r, text(t, row, COL_ACCOUNT));

	return tz ? tz : t->fallback;
}

static int64_t
instant(const struct stamp *s, const struct tz *tz)
{
	int32_t first = s->offset * 60, second;

	if (s->offset == OFFSET_LOCAL)
		tz_local(tz, s->wall, &first, &second);
	return (s->wall - first) * SECOND + s->ms;
}

/* The instant, or NO_TIME; a local one sets `bit`, so that it can be moved when sites
 * tells another zone. */
static int64_t
given(struct taking *t, bool has, const struct stamp *s, const struct tz *tz, int bit)
{
	if (!has)
		return NO_TIME;
	if (s->offset == OFFSET_LOCAL)
		t->file.local |= bit;
	t->file.read_as = tz_name(tz);
	return instant(s, tz);
}

/* Each takes one row: 0 stored or repeated, 1 set aside with *reason, -1 and *e. */

static int
take_roster(struct taking *t, const struct row *row, const char **reason, struct err *e)
{
	const struct tz *tz = zone_of(t, row);
	struct roster_row r = { .zone = text(t, row, COL_ZONE), .partition = text(t, row, COL_PARTITION),
	    .serial = text(t, row, COL_SERIAL), .name = text(t, row, COL_NAME),
	    .cell = text(t, row, COL_CELL), .kind = row->kind, .cells = (int)row->cells,
	    .installed = given(t, row->has_installed, &row->installed, tz, 1), .checkin = row->checkin,
	    .as_of = given(t, row->has_as_of, &row->as_of, tz, 2) };

	(void)reason;
	return table_roster(t->s, &t->file, row->line, text(t, row, COL_ACCOUNT), &r, e);
}

static int
take_site(struct taking *t, const struct row *row, const char **reason, struct err *e)
{
	struct err unknown;
	const struct tz *tz = tz_find(t->zones, row->cell[COL_TIMEZONE], &unknown);
	struct site_in r = { .account = text(t, row, COL_ACCOUNT), .name = text(t, row, COL_NAME),
	    .group = text(t, row, COL_GROUP), .was = text(t, row, COL_WAS) };

	if (!tz) {
		*reason = arena_fmt(&t->row, "%s", unknown.text);
		return 1;
	}
	r.timezone = tz_name(tz);
	r.since = given(t, row->has_since, &row->since, tz, 1);
	return table_site(t->s, &t->file, row->line, &r, e);
}

static int
take_plan(struct taking *t, const struct row *row, const char **reason, struct err *e)
{
	const struct tz *tz = zone_of(t, row);
	struct plan_row r = { .zone = text(t, row, COL_ZONE), .serial = text(t, row, COL_SERIAL),
	    .name = text(t, row, COL_NAME), .replaces = text(t, row, COL_REPLACES), .kind = row->kind,
	    .from = given(t, true, &row->visit_from, tz, 1),
	    .to = given(t, true, &row->visit_to, tz, 2),
	    .order = (int)row->order };

	(void)reason;
	return table_plan(t->s, &t->file, row->line, text(t, row, COL_ACCOUNT), &r, e);
}

static int
take_service(struct taking *t, const struct row *row, const char **reason, struct err *e)
{
	struct service_row r = { .at = given(t, true, &row->time, zone_of(t, row), 1),
	    .what = text(t, row, COL_WHAT), .zone = text(t, row, COL_ZONE),
	    .serial = text(t, row, COL_SERIAL), .who = text(t, row, COL_WHO) };

	(void)reason;
	return table_service(t->s, &t->file, row->line, text(t, row, COL_ACCOUNT), &r, e);
}

static int
take_setting(struct taking *t, const struct row *row, const char **reason, struct err *e)
{
	struct setting_in r = { .rule = text(t, row, COL_RULE), .setting = text(t, row, COL_SETTING),
	    .scope = row->cell[COL_SCOPE].n ? text(t, row, COL_SCOPE) : "*",
	    .value = text(t, row, COL_VALUE), .who = text(t, row, COL_WHO) };
	double value;

	*reason = override_read(row->cell[COL_RULE], row->cell[COL_SETTING], row->cell[COL_VALUE],
	    &value);
	if (!*reason)
		*reason = override_scope(row->cell[COL_RULE], row->cell[COL_SCOPE]);
	return *reason ? 1 : table_setting(t->s, &t->file, row->line, &r, e);
}

static int
take_decision(struct taking *t, const struct row *row, const char **reason, struct err *e)
{
	struct decision_in r = { .finding = text(t, row, COL_FINDING),
	    .decision = text(t, row, COL_DECISION), .who = text(t, row, COL_WHO),
	    .why = text(t, row, COL_WHY), .until = given(t, row->has_until, &row->until, t->fallback, 0) };
	int rc;

	if (t->dry) {		/* a store of its own holds no findings */
		t->file.rows++;
		t->file.stored++;
		return 0;
	}
	rc = table_decision(t->s, &t->file, &r, e);
	if (rc < 0 && e->code == ERR_USAGE) {
		*reason = arena_fmt(&t->row, "%s", e->text);
		return 1;
	}
	return rc;
}

static int (*const take[FILE_KINDS])(struct taking *, const struct row *, const char **,
    struct err *) = {
	[FILE_ROSTER] = take_roster, [FILE_SITES] = take_site, [FILE_PLAN] = take_plan,
	[FILE_SERVICE] = take_service, [FILE_SETTINGS] = take_setting,
	[FILE_DECISIONS] = take_decision,
};

static const void *
resolve_zone(void *zones, const char *name)
{
	struct err e;

	return tz_find(zones, span_of(name), &e);
}

static int64_t
move_instant(void *zones, const char *from, const char *to, int64_t at)
{
	const struct tz *old = resolve_zone(zones, from), *new = resolve_zone(zones, to);
	int64_t seconds = at / SECOND - (at % SECOND < 0);
	int32_t first, second;

	if (!old || !new)
		return at;
	seconds += tz_offset(old, seconds);
	tz_local(new, seconds, &first, &second);
	return (seconds - first) * SECOND + (at - at / SECOND * SECOND);
}

static int
take_rows(struct taking *t, struct reader *reader, struct arena *a, struct ingest_file *f,
    struct err *e)
{
	enum file_kind kind = reader_info(reader)->kind;
	enum read_result got;
	struct row row;
	struct err fault;
	int rc = 0;

	while (rc >= 0 && (got = reader_next(reader, &row, &fault)) > 0) {
		const char *reason = row.reason;

		if (t->stop && *t->stop)
			return err_set(e, ERR_IO, NULL, 0, "stopped; the list is undone");
		arena_reset(&t->row);
		t->file.local = 0;
		if (got == READ_ROW)
			rc = take[kind](t, &row, &reason, e);
		if (rc >= 0 && reason) {
			reading_reason(a, f, arena_text(a, span_of(reason)), row.line);
			rc = table_aside(t->s, &t->file, row.line, reason, row.raw, e);
		}
	}
	if (rc < 0)
		return -1;
	if (got == READ_ERR) {
		f->failed = true;
		f->later = fault.code == ERR_LATER;
		f->message = arena_text(a, span_of(fault.text));
	}
	return 0;
}

const char *
tablein_owner(struct arena *a, const char *place)
{
	struct passwd entry, *found = NULL;
	char buffer[4096];
	struct stat st;

	if (stat(place, &st) != 0)
		return "";
	if (getpwuid_r(st.st_uid, &entry, buffer, sizeof buffer, &found) == 0 && found)
		return arena_fmt(a, "%s", entry.pw_name);
	return arena_fmt(a, "user %ld", (long)st.st_uid);
}

int
table_take(struct store *s, struct reading *r, struct reader *reader, const char *place,
    const struct ingest_options *o, struct wordin *words, struct tz_set *zones, int64_t taken,
    struct arena *a, struct ingest_file *f, struct err *e)
{
	const struct reader_info *info = reader_info(reader);
	struct err none;
	struct taking t = { .s = s, .r = r, .zones = zones, .dry = o->dry, .stop = o->stop,
	    .file = { .name = f->name, .kind = f->kind, .place = place,
	        .header = arena_text(a, info->header), .ignored = arena_text(a, span_of(info->ignored)),
	        .separator = info->separator, .taken = taken,
	        .wordings = wordin_id(words, reader) } };
	int rc;

	t.fallback = o->timezone ? tz_find(zones, span_of(o->timezone), &none) : NULL;
	if (!t.fallback)
		t.fallback = tz_machine(zones);
	rc = table_begin(s, &t.file, e) || store_owner(s, t.file.id, tablein_owner(a, place), e) ? -1 : 0;
	if (rc == 0)
		rc = take_rows(&t, reader, a, f, e);
	if (rc == 0 && !f->failed)
		rc = table_end(s, &t.file, info->size, info->crc32, &(struct table_zones){
		    .ctx = zones, .resolve = resolve_zone, .move = move_instant,
		    .derive = derive_time }, e);
	if (rc || f->failed)
		table_abort(s);
	arena_release(&t.row);
	if (rc == 0 && !f->failed) {
		f->rows = t.file.rows;
		f->stored = t.file.stored;
		f->repeated = t.file.repeated;
		f->from = f->to = NO_TIME;
		f->note = arena_text(a, span_of(reader_note(reader)));
		wordin_told(words, reader, a, f);
		if (info->kind == FILE_SITES)
			rc = table_timezones(s, reading_timezone, r, e);
	}
	return rc;
}
