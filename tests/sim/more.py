"""More of what goes wrong, and of what only looks like it: the stories of an extended town.

As in stories.py: a cause makes the panel say what it would make it say, in three
strengths, and is noted in the truth. "Weak" is what a person just sees in the log.
"""
from stories import bursts, empty, session, shade, story, stranger
from world import DAY, HOME_ZONE, HOUR, Device, change_cell

MORE = []		# names of these stories, in order


def more(**needs):
    def put(f):
        MORE.append(f.__name__)
        return story(**needs)(f)
    return put


def ago(t, a, **hours):
    """A strength, and an instant so many hours (weak, plain, strong) before the end."""
    strength = shade(a.rng)
    return strength, t.end - int(hours[strength] * HOUR) - a.rng.randrange(20 * 60)


def of(strength, weak, plain, strong):
    return {"weak": weak, "plain": plain, "strong": strong}[strength]


def spread(a, first, last, n):
    """n instants from first to last, each in a stretch of its own, well apart."""
    step = (last - first) // n
    return [first + i * step + a.rng.randrange(step // 2) for i in range(n)]


# -- cells ------------------------------------------------------------------------
@more(sort="house")
def tired_cell(t, a):
    """The cell of one contact runs down and nobody comes."""
    d = a.find("contact", n=1)
    strength, at = ago(t, a, weak=40, plain=9 * 24, strong=20 * 24)
    d.low = True
    for n in range(of(strength, 1, 2, 19)):
        a.say(at + n * DAY, "low-battery", d)
    t.truth(a, "low-battery", d, at, of(strength, "later", "soon", "soon"), strength,
            "a contact's cell is low")


@more(sort="house", must_have=("smoke",))
def tired_smoke(t, a):
    """The same at a smoke detector."""
    d = a.find("smoke")
    strength, at = ago(t, a, weak=20, plain=5 * 24, strong=14 * 24)
    d.low = True
    for n in range(of(strength, 1, 1, 10)):
        a.say(at + n * DAY, "low-battery", d)
    t.truth(a, "low-battery", d, at, of(strength, "soon", "now", "now"), strength,
            "a smoke detector's cell is low")


@more(sort="shop")
def marginal_cell(t, a):
    """Low in cold nights, good again by day; nobody changes it."""
    d, strength = a.find("contact", n=1), shade(a.rng)
    d.low = True
    first = None
    for back in sorted(a.rng.sample(range(2, 16), of(strength, 2, 5, 12)), reverse=True):
        at = a.local(t.days - back, 4) + a.rng.randrange(HOUR)
        first = first or at
        a.say(at, "low-battery", d)
        a.say(at + a.rng.randrange(3, 9) * HOUR, "battery-restore", d)
    t.truth(a, "low-battery", d, first, "any", strength, "a flag that flips; the cell is due")


@more(sort="works", must_have=("smoke",))
def cells_changed(t, a):
    """Two cells were low, and changed within days, cover off and on."""
    t.past(a, "battery-cluster", None, t.end - 30 * DAY, "two within nine days, changed")
    for n, d in enumerate((a.find("contact"), a.find("smoke"))):
        d.low = True
        at = t.end - (30 - 9 * n) * DAY
        a.say(at, "low-battery", d)
        change_cell(a, d, at + 2 * DAY + a.rng.randrange(9 * HOUR))
        t.quiet(a, "low-battery", d, "low, and its cell was changed two days later")
        t.past(a, "low-battery", d, at, "until its cell was changed")


# -- trouble ----------------------------------------------------------------------
@more(sort="house", checkin=0)
def cover_off(t, a):
    """A cover was left off, or a wire broke: the report holds to the end."""
    d = a.find("contact", n=2)
    thing = a.rng.choice(("tamper", "trouble"))
    strength, at = ago(t, a, weak=27, plain=5 * 24, strong=18 * 24)
    a.say(at, thing, d)
    t.truth(a, "trouble-left", d, at, "soon", strength, f"{thing} of a contact that holds")


@more(sort="shop", must_have=("smoke",))
def dirty_chamber(t, a):
    """A smoke detector tells of trouble."""
    d = a.find("smoke")
    strength, at = ago(t, a, weak=1, plain=50, strong=10 * 24)
    a.say(at, "trouble", d)
    t.truth(a, "trouble-left", d, at, "now", strength, "trouble of a smoke detector that holds")


@more(sort="works", calm=True)
def second_path(t, a):
    """The wire to the station is down; what the panel says comes by radio."""
    strength, at = ago(t, a, weak=2, plain=30, strong=8 * 24)
    a.say(at, "comm-loss")
    t.truth(a, "trouble-left", None, at, "now", strength, "communication lost on one path")


@more(sort="house", calm=True)
def old_accumulator(t, a):
    """The panel's own battery no longer takes its charge."""
    strength, at = ago(t, a, weak=28, plain=6 * 24, strong=20 * 24)
    for n in range(of(strength, 1, 1, 18)):
        a.say(at + n * DAY, "panel-battery-low")
    t.truth(a, "trouble-left", None, at, "any", strength, "the panel's battery stays low")


@more(sort="shop", calm=True)
def mended(t, a):
    """Troubles that were put right, one in so many words, and one of this evening."""
    one, two, three = a.find("contact"), a.find("contact", n=1), a.find("motion")
    a.say(t.end - 9 * DAY, "trouble", one)
    a.say(t.end - 9 * DAY + 19 * HOUR, "trouble-restore", one)
    a.say(t.end - 5 * DAY, "tamper", two)
    a.say(t.end - 5 * DAY + 3 * HOUR, "restore", two)
    a.say(t.end - 8 * HOUR, "trouble", three)
    a.say(t.end - 4 * DAY, "comm-loss")
    a.say(t.end - 4 * DAY + 9 * HOUR, "comm-restore")
    t.quiet(a, "trouble-left", one, "trouble restored the same day")
    t.quiet(a, "trouble-left", two, "tamper ended by a restore that says not of what")
    t.quiet(a, "trouble-left", three, "trouble of this morning")
    t.quiet(a, "trouble-left", None, "communication lost for nine hours, days ago")
    t.past(a, "trouble-left", None, t.end - 4 * DAY, "for nine hours")


# -- left out -----------------------------------------------------------------------
def left_out(a, d, span, back=None):
    """Bypassed before one armed span, and taken in again after it or not at all."""
    a.say(span[0] - 25, "bypass", d, user="1")
    if back:
        a.say(span[1] + back, "unbypass", d, user="1")


@more(sort="shop", calm=True)
def window_left_out(t, a):
    """A window is bypassed while its frame is mended, and forgotten."""
    d, strength = a.find("contact", n=1), shade(a.rng)
    spans = [s for s in a.away if t.start + DAY < s[0] and s[1] < t.end]
    left_out(a, a.find("contact"), spans[0], 40)	# this log shows how one ends
    span = [s for s in spans if s[0] < t.end - of(strength, 4, 9, 25) * DAY][-1]
    left_out(a, d, span)
    t.truth(a, "bypass-left", d, span[0], "soon", strength, "a bypass that was never taken off")


@more(sort="house", must_have=("smoke",))
def smoke_bypassed(t, a):
    """A smoke detector is bypassed because of dust."""
    d = a.find("smoke")
    strength, at = ago(t, a, weak=2, plain=50, strong=12 * 24)
    a.say(at, "bypass", d, user="1")
    t.truth(a, "bypass-left", d, at, "now", strength, "a smoke detector is bypassed")


@more(sort="works", calm=True)
def every_night(t, a):
    """A hatch that no longer shuts is bypassed at each arming, and taken in each morning."""
    d, strength = a.find("contact", n=2), shade(a.rng)
    spans = [s for s in a.away if t.start + DAY < s[0]][-of(strength, 3, 6, 15):]
    for s in spans:
        left_out(a, d, s, 40)	# the last night goes on beyond the end
    t.truth(a, "bypass-left", d, spans[0][0], "later", strength,
            f"bypassed anew for {len(spans)} nights")


@more(sort="works", calm=True, must_have=("smoke",))
def one_night(t, a):
    """One night's bypass, and a smoke detector that was out for an hour of sanding."""
    d, smoke = a.find("contact", n=1), a.find("smoke")
    spans = [s for s in a.away if t.start + DAY < s[0] and s[1] < t.end - 8 * DAY]
    left_out(a, d, spans[-1], 300)
    at = a.local(t.days - 6, 10)
    a.say(at, "bypass", smoke, user="1")
    a.say(at + 70 * 60, "unbypass", smoke, user="1")
    t.past(a, "bypass-left", smoke, at, "for an hour")
    t.quiet(a, "bypass-left", d, "one night's bypass")
    t.quiet(a, "bypass-left", smoke, "out for an hour, and in again")


# -- tests ------------------------------------------------------------------------
@more(sort="shop", must_have=("smoke",))
def test_forgotten(t, a):
    """The account was put on test with the station, and nobody took it off."""
    strength, at = ago(t, a, weak=6, plain=50, strong=10 * 24)
    a.say(at, "on-test-begin", text="work on site")
    t.truth(a, "test-left", None, at, "now", strength, "on test, never ended")


@more(sort="house")
def walk_test_forgotten(t, a):
    """A walk test that was never ended."""
    strength, at = ago(t, a, weak=6, plain=30, strong=6 * 24)
    a.say(at, "walk-test-begin", user="9")
    t.truth(a, "test-left", None, at, "any", strength, "a walk test, never ended")


@more(sort="school", must_have=("smoke",))
def fire_test_forgotten(t, a):
    """A fire test whose end was forgotten; the school went on living."""
    strength, at = ago(t, a, weak=5, plain=40, strong=9 * 24)
    a.say(at, "fire-test-begin", user="9")
    t.truth(a, "test-left", None, at, "now", strength, "a fire test, never ended")


@more(sort="works", must_have=("smoke",))
def tests_ended(t, a):
    """Tests that were ended, one after a whole day; the last began two hours ago."""
    for back, hours in ((20, 2), (9, 23)):
        a.say(t.end - back * DAY, "on-test-begin")
        a.say(t.end - back * DAY + hours * HOUR, "on-test-end")
        if hours > 4:
            t.past(a, "test-left", None, t.end - back * DAY, "for a whole day")
    a.say(t.end - 2 * HOUR, "walk-test-begin", user="9")
    t.quiet(a, "test-left", None, "two tests that ended, and one that began two hours ago")


# -- open -------------------------------------------------------------------------
@more(sort="shop", activity="doors", checkin=0)
def window_open(t, a):
    """A window stays open, and the shop is armed over it."""
    d = a.find("contact", n=2)
    strength, at = ago(t, a, weak=28, plain=5 * 24, strong=16 * 24)
    at = max(s[0] for s in a.home if s[0] < at) + 600
    a.say(at, "zone-open", d)
    d.taken.append((at - 1800, 1 << 40))
    t.truth(a, "standing", d, at, "any", strength, "open since, while armed and disarmed")


@more(sort="works", must_have=("water",), checkin=0)
def pit_full(t, a):
    """Water in the pit: the pump failed. A month ago it stood in it for an hour."""
    d = a.find("water")
    strength, at = ago(t, a, weak=30, plain=4 * 24, strong=12 * 24)
    a.alarm(t.start + 5 * DAY, d, HOUR)
    a.alarm(at, d, None)
    t.truth(a, "standing", d, at, "soon", strength, "water alarm that holds")


@more(sort="house", activity="doors", checkin=0)
def aired(t, a):
    """A window aired for most of a day; another closed while the panel was without power."""
    one, two = a.find("contact", n=2), a.find("contact", n=3)
    at = t.end - 4 * DAY
    a.opening(at, one, 20 * HOUR)
    one.taken.append((at - 1800, at + 21 * HOUR))
    at = t.end - 9 * DAY
    a.say(at, "zone-open", two)
    a.dark.append((at + 300, at + 2 * HOUR))
    two.taken.append((at - 1800, t.end - 3 * DAY))
    a.opening(t.end - 3 * DAY, two, 300)
    t.quiet(a, "standing", one, "aired for most of a day")
    t.past(a, "standing", two, at, "until it was heard to open and close again")
    t.quiet(a, "standing", two, "its closing was not heard; it opened and closed since")


# -- alarms -------------------------------------------------------------------------
@more(sort="works", calm=True)
def draught(t, a):
    """The heating moves a banner before a detector in the empty hall, most nights."""
    d, strength = a.find("motion"), shade(a.rng)
    spans = [s for s in a.away if s[1] < t.end and s[1] - s[0] > 6 * HOUR][-9:]
    times = [f + (to - f) // 2 + a.rng.randrange(HOUR)
             for f, to in sorted(a.rng.sample(spans, of(strength, 4, 6, 9)))]
    for at in times:
        a.alarm(at, d, 4)
    t.truth(a, "repeat-alarm", d, times[0], "soon", strength,
            f"the same detector alone, {len(times)} of the last 9 nights")


@more(sort="shop", calm=True)
def burglars(t, a):
    """Three break-ins within a week, each seen by door and detector; a lone alarm long ago."""
    door, hall = a.find("contact"), a.find("motion")
    for f, to in empty(a, t, 3, 9, 6):
        a.alarm(f + 4 * HOUR, door, 200)
        a.alarm(f + 4 * HOUR + 25, hall, 5)
        a.alarm(f + 4 * HOUR + 160, hall, 5)
    f, _ = [s for s in a.away if s[0] > t.start + DAY][0]
    a.alarm(f + HOUR, hall, 5)
    for d in (door, hall):
        t.quiet(a, "repeat-alarm", d, "a second device along each time")
    t.quiet(a, "alarm-flood", None, "three alarms in some minutes")


@more(sort="school", calm=True)
def lightning(t, a):
    """Lightning: the zones of the house go into alarm one after another."""
    strength = shade(a.rng)
    n = of(strength, 13, 25, 60)
    (f, _), = empty(a, t, 1, 20, 6)
    at = first = f + 3 * HOUR
    pool = [d for d in a.devices if d.kind in ("contact", "motion")]
    gap = max(75 // len(pool), of(strength, 35, 18, 10))
    for i in range(n):
        a.alarm(at, pool[i % len(pool)], 9)
        at += gap + a.rng.randrange(4)
    t.truth(a, "alarm-flood", None, first, "soon", strength, f"{n} alarms in a thunderstorm")


@more(sort="school", calm=True)
def tried_all(t, a):
    """Every burglary zone tried twice, on test; the week after, seven alarms in an hour."""
    pool = [d for d in a.devices if d.kind in ("contact", "motion")]
    at = a.local(t.days - 12, 10)
    a.say(at, "on-test-begin")
    for i in range(2 * len(pool)):
        at += 22
        a.alarm(at, pool[i % len(pool)], 4)
    a.say(at + 300, "on-test-end")
    (f, _), = empty(a, t, 1, 6, 6)
    for i in range(7):
        a.alarm(f + HOUR + i * 500, pool[i % len(pool)], 9)
    t.quiet(a, "alarm-flood", None, "alarms in an open test; seven in an hour")
    t.quiet(a, "repeat-alarm", pool[0], "alarms in an open test")


# -- noise ------------------------------------------------------------------------
@more(sort="house", must_have=("keyfob",), activity="none")
def impatient(t, a):
    """Somebody presses the keyfob again and again when the gate is slow."""
    fob = a.find("keyfob")
    for at in spread(a, t.end - 20 * DAY, t.end - DAY, 6):
        for n in range(a.rng.randrange(3, 8)):
            a.say(at + 6 * n, "trip", fob)
    t.quiet(a, "chatter", fob, "a button pressed some times in a row")


@more(sort="shop", activity="doors", way="words", calm=True)
def at_work(t, a):
    """A fitter sets a contact on two days and tries it each time; he writes it down."""
    d = a.find("contact", n=1)
    for back in (12, 5):
        at = a.local(t.days - back, 13)
        bursts(a, d, at, 9)
        a.service.append((at + 900, "set the yard door's contact", d.zone, "", ""))
    t.quiet(a, "chatter", d, "tried while somebody worked on it")


@more(sort="works", activity="none", way="words", calm=True)
def sun_on_gate(t, a):
    """The gate warps in the sun and its contact swims, every few days for weeks."""
    d, strength = a.find("contact"), shade(a.rng)
    step = of(strength, 14, 6, 3)
    days = list(range(t.days - 2, 2, -step))[::-1]
    times = [bursts(a, d, a.local(day, 11) + a.rng.randrange(5 * HOUR), of(strength, 4, 6, 9))
             for day in days]
    t.truth(a, "chatter", d, a.local(days[0], 12), "soon", strength,
            f"in the warm hours of {len(times)} days")


@more(sort="house", way="words", checkin=0, calm=True)
def lid_shut_unnamed(t, a):
    """A panel that tells whose lid was opened, but not whose was shut."""
    for back in (20, 11, 4):
        at = t.end - back * DAY
        a.say(at, "tamper", a.find("contact", n=1))
        a.say(at + 300, "tamper-restore")
    t.quiet(a, "trouble-left", a.find("contact", n=1), "a tamper restore that names no zone")


# -- going out -----------------------------------------------------------------------
def late_out(a, spans, twice=False):
    for f, _ in spans:
        a.say(f + 50, "exit-error", a.find("contact"))
        if twice:
            a.say(f + 52, "exit-error", user="1")


@more(sort="house", calm=True)
def slow_leavers(t, a):
    """An old couple takes longer to leave than the panel allows."""
    strength = shade(a.rng)
    spans = empty(a, t, of(strength, 3, 5, 10), 26, 1)
    late_out(a, spans)
    t.truth(a, "exit-error", None, spans[0][0], "later", strength, f"{len(spans)} exit errors",
            also=f"zone:{a.find('contact').zone}")


@more(sort="house", calm=True)
def left_late_once(t, a):
    """Two exit errors, each told by its zone and by its user; three others weeks ago."""
    spans = [s for s in a.away if s[0] > t.start + DAY]
    late_out(a, spans[:3])
    late_out(a, empty(a, t, 2, 9, 1), twice=True)
    t.past(a, "exit-error", None, spans[0][0], "three errors, weeks ago")
    t.quiet(a, "exit-error", None, "two errors of late, each told twice; three others weeks ago")


# -- covers -------------------------------------------------------------------------
@more(sort="works", calm=True)
def loose_cover(t, a):
    """A lid that no longer snaps shut moves when lorries pass."""
    d, strength = a.find("contact", n=1), shade(a.rng)
    times = spread(a, t.end - of(strength, 6, 6, 12) * DAY, t.end - 9 * HOUR, of(strength, 3, 6, 24))
    for at in times:
        a.say(at, "tamper", d)
        a.say(at + a.rng.randrange(20, 400), "tamper-restore", d)
    t.truth(a, "tamper-repeat", d, times[0], "soon", strength, f"a loose lid, {len(times)} times")


@more(sort="shop", calm=True)
def painter(t, a):
    """A painter takes a contact off and on all afternoon; another opened thrice in a month."""
    one, two = a.find("contact"), a.find("contact", n=1)
    at = a.local(t.days - 8, 13)
    for n in range(5):
        a.say(at + n * 240, "tamper", one)
        a.say(at + n * 240 + 90, "tamper-restore", one)
    for back in (31, 19, 4):
        a.say(t.end - back * DAY, "tamper", two)
        a.say(t.end - back * DAY + 60, "tamper-restore", two)
    t.quiet(a, "tamper-repeat", one, "one occasion, five times in twenty minutes")
    t.quiet(a, "tamper-repeat", two, "three times in a month")


# -- power ------------------------------------------------------------------------
@more(sort="works", calm=True)
def fuse_blown(t, a):
    """The panel's fuse blew; it runs on its battery, while that lasts."""
    strength, at = ago(t, a, weak=5, plain=16, strong=30)
    a.say(at, "power-loss")
    if strength == "strong":
        a.say(at + 20 * HOUR, "panel-battery-low")
        t.truth(a, "trouble-left", None, at + 20 * HOUR, "any", strength, "battery after 20 h",
                state="maybe")
    t.truth(a, "power-loss", None, at, "now" if strength == "strong" else "soon", strength,
            "mains away to the end")


@more(sort="house", calm=True)
def bad_contact(t, a):
    """A plug with a bad contact: short losses again and again."""
    strength = shade(a.rng)
    times = spread(a, t.end - 6 * DAY, t.end - 6 * HOUR, of(strength, 3, 5, 12))
    for at in times:
        a.say(at, "power-loss")
        a.say(at + a.rng.randrange(60, 2400), "power-restore")
    t.truth(a, "power-loss", None, times[0], "soon", strength, f"{len(times)} losses in six days")


@more(sort="shop", calm=True)
def two_cuts(t, a):
    """Two short cuts in one week, and one of three hours."""
    for back, lasts in ((25, 3 * HOUR), (5, 900), (2, 1500)):
        a.say(t.end - back * DAY, "power-loss")
        a.say(t.end - back * DAY + lasts, "power-restore")
    t.quiet(a, "power-loss", None, "two short cuts in a week, restored")


@more(sort="cabin", group="lake", calm=True, timezone=HOME_ZONE, checkin=12 * HOUR)
def cut_before_gap(t, a):
    """The power came back in the four days that are missing between two exports."""
    at = t.start + int(t.days * .42) * DAY - 2 * HOUR
    a.say(at, "power-loss")
    a.say(at + 9 * HOUR, "power-restore")
    t.past(a, "power-loss", None, at, "until the exports go on")
    t.quiet(a, "power-loss", None, "restored in a gap of the exports")


def quarter_dark(t, accounts):
    """A transformer fails: everybody on one street loses the mains within minutes."""
    at = t.end - 7 * HOUR
    for a in accounts:
        a.say(at + a.rng.randrange(240), "power-loss")
    t.truth("*", "power-loss", None, at, "soon", "plain", f"{len(accounts)} sites of one street",
            also="group:hillside")
    for a in accounts:
        t.quiet(a, "power-loss", None, "its whole street is dark")


# -- silence ------------------------------------------------------------------------
@more(sort="house", calm=True, report_every=DAY)
def reports_stop(t, a):
    """The daily test report does not come any more; the panel still speaks."""
    strength, at = ago(t, a, weak=2.7 * 24, plain=6 * 24, strong=15 * 24)
    a.unsaid.append((at, 1 << 40, "test-report"))
    t.truth(a, "test-report-missed", None, at, "soon", strength, "the daily report stopped")


@more(sort="shop", calm=True, report_every=DAY)
def report_lost(t, a):
    """One report did not come, twice in the month."""
    for back in (20, 6):
        a.unsaid.append((t.end - back * DAY, t.end - (back - 1) * DAY, "test-report"))
    t.quiet(a, "test-report-missed", None, "one report that did not come, twice")


@more(sort="house", calm=True, report_every=DAY)
def report_weekly(t, a):
    """Somebody set the daily report to weekly, nineteen days before the end; the log tells that
    the panel was programmed."""
    a.say(t.end - 19 * DAY + 60, "programming-changed")
    for back in (19, 12, 5):
        a.unsaid.append((t.end - back * DAY, t.end - (back - 6) * DAY, "test-report"))
    t.past(a, "test-report-missed", None, t.end - 19 * DAY, "until it is seen to be weekly")
    t.quiet(a, "test-report-missed", None, "set from daily to weekly")


@more(sort="house", calm=True, checkin=12 * HOUR, report_every=DAY, timezone=HOME_ZONE)
def panel_dead(t, a):
    """Nothing comes any more from a panel that checked in and reported daily."""
    strength, at = ago(t, a, weak=40, plain=4 * 24, strong=12 * 24)
    a.dark.append((at, 1 << 40))
    t.truth(a, "account-silent", None, at, "now", strength, "nothing comes any more")
    t.truth(a, "test-report-missed", None, at, "any", strength, "nor its reports", state="maybe")


@more(sort="shop", calm=True, report_every=DAY)
def line_cut(t, a):
    """The same without check-ins; its last word is that it lost the line."""
    strength, at = ago(t, a, weak=50, plain=5 * 24, strong=9 * 24)
    a.say(at - 60, "comm-loss")
    a.dark.append((at, 1 << 40))
    t.truth(a, "trouble-left", None, at, "now", strength, "communication lost, and nothing since")
    t.truth(a, "test-report-missed", None, at, "any", strength, "nor its reports", state="maybe")
    t.quiet(a, "account-silent", None, "the log tells of lost communication")


@more(sort="cabin", calm=True, group="hillside", timezone=HOME_ZONE, report_every=1 << 30, checkin=0)
def shut_for_winter(t, a):
    """A cabin where only people's doings speak; they come at weekends, and then no more."""
    a.dark.append((t.end - 11 * DAY, 1 << 40))
    t.quiet(a, "account-silent", None, "weekends only, and none of late")


# -- clocks -----------------------------------------------------------------------
@more(sort="works", clock="local", calm=True)
def clock_runs(t, a):
    """The panel's clock loses or gains some seconds every day."""
    strength = shade(a.rng)
    a.received, a.lag = True, (1, 4)
    rate = of(strength, 4, 20, 120) * a.rng.choice((-1, 1))
    a.clock_error.append((t.start, 1 << 40, 0, rate))
    t.truth(a, "clock-drift", None, t.start + DAY, "any", strength, f"{rate} s a day")


@more(sort="shop", clock="local", calm=True)
def clock_set_wrong(t, a):
    """Somebody set the clock by a bad watch."""
    strength = shade(a.rng)
    a.received = True
    off = of(strength, 7, 25, 180) * 60
    at = t.end - a.rng.randrange(6, 20) * DAY
    a.say(at, "clock-set", user="1")
    a.clock_error.append((at, 1 << 40, off, 0))
    t.truth(a, "clock-drift", None, at, "soon" if off > HOUR else "later", strength,
            f"set {off // 60} min fast")


@more(sort="house", clock="local", calm=True, timezone=HOME_ZONE, checkin=12 * HOUR)
def summer_forever(t, a):
    """A panel that does not know of the end of summer time."""
    a.received = True
    at = a.local(41, 3)
    a.clock_error.append((at, 1 << 40, HOUR, 0))
    t.truth(a, "clock-drift", None, at, "any", "plain", "not set back on 25 October")


@more(sort="works", clock="local", calm=True)
def clock_mended(t, a):
    """Twelve minutes slow for a week, and set right; a slow line all along."""
    a.received, a.lag = True, (5, 40)
    at = t.end - 20 * DAY
    a.clock_error.append((at, at + 7 * DAY, -12 * 60, 0))
    a.say(at + 7 * DAY, "clock-set", user="1")
    t.past(a, "clock-drift", None, at, "until it was set right")
    t.quiet(a, "clock-drift", None, "slow for a week, and set right")


@more(sort="house", clock="local", calm=True)
def came_late(t, a):
    """The line was down for two days; the buffer came at once."""
    a.received = True
    at = t.end - 3 * DAY
    a.say(at, "comm-loss")
    a.say(at + 50 * HOUR, "comm-restore")
    a.offline.append((at, at + 50 * HOUR))
    t.past(a, "trouble-left", None, at, "for two days")
    t.quiet(a, "clock-drift", None, "two days that came late, from the buffer")
    t.quiet(a, "alarm-flood", None, "two days that came within a minute")


# -- the air ------------------------------------------------------------------------
@more(sort="house", must_have=("smoke",), calm=True)
def jammed(t, a):
    """A faulty charger next door drowns the receiver, and goes on."""
    strength, at = ago(t, a, weak=.7, plain=6, strong=30)
    a.say(at, "jam")
    t.truth(a, "jam", None, at, "now", strength, "interference without an end")


@more(sort="shop", must_have=("smoke",), calm=True)
def jammed_often(t, a):
    """It comes and goes."""
    strength = shade(a.rng)
    times = spread(a, t.end - 6 * DAY, t.end - 5 * HOUR, of(strength, 3, 6, 15))
    for at in times:
        a.say(at, "jam")
        a.say(at + a.rng.randrange(30, 500), "jam-clear")
    t.truth(a, "jam", None, times[0], "now", strength, f"interference, {len(times)} times")


@more(sort="works", must_have=("smoke",), calm=True)
def jammed_briefly(t, a):
    """Three short spells in a month, one of half an hour."""
    for back, lasts in ((27, 1800), (15, 40), (2, 60)):
        a.say(t.end - back * DAY, "jam")
        a.say(t.end - back * DAY + lasts, "jam-clear")
    t.past(a, "jam", None, t.end - 27 * DAY, "for half an hour")
    t.quiet(a, "jam", None, "three spells in a month, all over")


@more(sort="house", must_have=("smoke", "co"))
def worn_out(t, a):
    """A detector reaches the end of its life, and says so."""
    d = a.find("smoke" if a.rng.random() < .5 else "co")
    strength, at = ago(t, a, weak=20, plain=5 * 24, strong=20 * 24)
    for n in range(of(strength, 1, 1, 3)):
        a.say(at + n * 6 * DAY, "end-of-life", d)
    t.truth(a, "end-of-life", d, at, of(strength, "soon", "soon", "now"), strength,
            f"{d.kind} detector at the end of its life")


@more(sort="house", must_have=("smoke",), tells="both", way="words", calm=True)
def renewed(t, a):
    """It was replaced by the plan a week later."""
    day = t.days - 14
    old = a.find("smoke")
    a.say(a.local(day - 7, 3), "end-of-life", old)
    t.past(a, "end-of-life", old, a.local(day - 7, 3), "until it was replaced")
    new = t.planned(a, day, old.kind, old.name, zone=old.zone, replaces=old.serial)
    end = session(a, a.local(day, 10), [("unlearn", old), ("heard", new), ("learn", new)])
    a.say(end + 200, "check-in", new)
    a.relist = day + 1
    t.quiet(a, "end-of-life", old, "replaced on its zone")
    t.quiet(a, "end-of-life", new, "replaced on its zone")


def heard(a, serial, times):
    for at in times:
        a.say(at, "extra-device", serial=serial)


@more(sort="house", tells="both")
def neighbour_heard(t, a):
    """The panel hears a device of another site again and again."""
    strength = shade(a.rng)
    other = a.rng.choice([x for x in t.accounts if x is not a and x.roster])
    theirs = other.find("contact")
    times = spread(a, t.end - 24 * DAY, t.end - DAY, of(strength, 3, 8, 30))
    heard(a, theirs.serial, times)
    t.truth(a, "extra-device", stranger(theirs), times[0], "later", strength,
            f"a device of {other.number}, heard {len(times)} times")


@more(sort="shop", tells="both", must_have=("smoke",), checkin=0)
def fitted_not_known(t, a):
    """A detector hangs on the ceiling, stands in the list, and the panel does not know it."""
    d, strength = a.find("smoke"), shade(a.rng)
    times = spread(a, t.end - 20 * DAY, t.end - DAY, of(strength, 1, 4, 18))
    d.taken.append((0, 1 << 40))
    heard(a, d.serial, times)
    t.truth(a, "extra-device", d, times[0], "now", strength, "a listed detector nobody watches")


@more(sort="works", tells="both", way="words", calm=True)
def old_one_sends(t, a):
    """A contact was replaced by the plan; the old one was left in its place and still sends."""
    day, strength = t.days - 15, shade(a.rng)
    old = a.find("contact", n=1)
    new = t.planned(a, day, old.kind, old.name, zone=old.zone, replaces=old.serial)
    end = session(a, a.local(day, 10), [("unlearn", old), ("heard", new), ("learn", new)])
    a.opening(end + 200, new, 5)
    a.relist = day + 1
    times = spread(a, a.local(day + 1, 8), t.end - HOUR, of(strength, 1, 5, 30))
    heard(a, old.serial, times)
    t.truth(a, "extra-device", stranger(old), times[0], "soon", strength,
            "taken out of the panel, and still sends")


@more(sort="house", tells="both", way="words", calm=True)
def passing_by(t, a):
    """A stranger heard twice; a new device heard on the days before it was learned."""
    stray = Device("", "contact", "", t.serial(a, "van"), "", 0)
    heard(a, stray.serial, (t.end - 12 * DAY, t.end - 3 * DAY))
    day = t.days - 9
    new = t.planned(a, day, "contact", "loft hatch")
    at = a.local(day, 10)
    heard(a, new.serial, [at - n * 5 * HOUR for n in range(1, 6)])
    end = session(a, at, [("heard", new), ("learn", new)])
    a.opening(end + 200, new, 5)
    t.quiet(a, "extra-device", stray, "a stranger, heard twice")
    t.quiet(a, "extra-device", new, "heard before it was learned")


# -- in step -----------------------------------------------------------------------
@more(sort="works", activity="none", calm=True)
def wires_crossed(t, a):
    """A joint bridges two inputs: what opens one opens the other."""
    one, two, strength = a.find("contact", n=1), a.find("contact", n=2), shade(a.rng)
    n, days = of(strength, (11, 6), (30, 12), (90, 26))
    times = spread(a, t.end - days * DAY, t.end - HOUR, n)
    for at in times:
        lasts = a.rng.randrange(4, 40)
        a.opening(at, one, lasts)
        a.opening(at + a.rng.randrange(2), two, lasts)
    if strength == "weak":
        a.opening(times[4] + 1800, one, 9)	# before the joint got wet again
    t.truth(a, "twin", one, times[0], "soon", strength, f"in step {n} times",
            also=f"zone:{two.zone} serial:{two.serial}")


@more(sort="house", activity="none", calm=True)
def door_and_hall(t, a):
    """Who comes in by the door is seen in the hall; the hall sees others too."""
    door, hall = a.find("contact"), a.find("motion")
    for at in spread(a, t.end - 20 * DAY, t.end - HOUR, 40):
        a.opening(at, door, 8)
        at += a.rng.randrange(1, 7)
        for _ in range(a.rng.randrange(1, 4)):
            a.say(at, "trip", hall)
            a.say(at + 3, "clear", hall)
            at += a.rng.randrange(90, 900)
    for d in (door, hall):
        t.quiet(a, "twin", d, "company, not lockstep")


@more(sort="shop", activity="none", tells="both", calm=True)
def two_inputs(t, a):
    """One transmitter with two inputs, listed on both zones: shutter and its frame."""
    one, two = a.find("contact", n=1), a.find("contact", n=2)
    two.serial = one.serial
    for at in spread(a, t.end - 20 * DAY, t.end - HOUR, 30):
        a.opening(at, one, 8)
        a.opening(at, two, 8)
    t.quiet(a, "twin", one, "one transmitter with two inputs")
    t.quiet(a, "twin", two, "one transmitter with two inputs")


# -- two things at once -----------------------------------------------------------------
@more(sort="house", must_have=("smoke",), checkin=12 * HOUR, calm=True)
def low_then_lost(t, a):
    """Two cells ran down until their devices fell silent: a contact's and a smoke detector's."""
    strength, lost = ago(t, a, weak=20, plain=3 * 24, strong=9 * 24)
    for d in (a.find("contact", n=1), a.find("smoke")):
        low = lost - 8 * DAY
        d.low = True
        a.say(low, "low-battery", d)
        a.say(lost, "supervision-loss", d)
        d.taken.append((lost - 12 * HOUR, 1 << 40))
        t.truth(a, "supervision-loss", d, lost, "now" if d.life else "soon", strength,
                "lost with a low cell")
        t.truth(a, "low-battery", d, low, "now" if d.life else "any", strength,
                "low, and lost since", state="open" if d.life else "maybe")
    t.truth(a, "battery-cluster", None, low, "any", strength, "two cells on one day",
            state="maybe")


@more(sort="school", must_have=("smoke",), contact_cell="CR123A", calm=True)
def one_age(t, a):
    """Cells of one age, a smoke detector's among them."""
    strength, smoke = shade(a.rng), a.find("smoke")
    pool = [d for d in a.devices if d.cell == "CR123A" and d is not smoke]
    pool = [smoke] + pool[:of(strength, 3, 4, 6)]
    first = t.end - 13 * DAY
    for n, d in enumerate(pool):
        at = first + n * 9 * DAY // len(pool)
        d.low = True
        a.say(at, "low-battery", d)
        t.truth(a, "low-battery", d, at, "now" if d.life else "any", strength, "one of many",
                state="open" if d.life else "maybe")
    t.truth(a, "battery-cluster", None, first, "soon", strength, f"{len(pool)} cells of one age")


@more(sort="house", checkin=12 * HOUR, must_have=("smoke",), calm=True)
def receiver_mute(t, a):
    """The radio receiver died and the panel does not notice; the keypad goes on working."""
    strength, at = ago(t, a, weak=50, plain=5 * 24, strong=14 * 24)
    for d in a.devices:
        d.taken.append((at, 1 << 40))
        if d.life and d.supervised:
            t.truth(a, "supervision-loss", d, at, "now", strength, "life safety keeps its own")
    t.truth(a, "supervision-loss", None, at, "now", strength,
            "no device checks in any more, while people arm and disarm")


@more(sort="house", checkin=12 * HOUR, activity="doors", calm=True)
def checkins_left_out(t, a):
    """From some day on the export carries no check-ins; doors are opened as ever."""
    a.unsaid.append((t.end - a.rng.randrange(4, 12) * DAY, t.end, "check-in"))
    t.quiet(a, "supervision-loss", None, "the export carries no check-ins any more")


@more(sort="school", checkin=12 * HOUR, activity="none", must_have=("smoke",), calm=True)
def repeater_mute(t, a):
    """The repeater of the larger wing died unnoticed; the near devices check in as ever."""
    strength, at = ago(t, a, weak=64, plain=5 * 24, strong=14 * 24)
    far = [d for d in a.devices if d.supervised][2:]
    for d in far:
        d.taken.append((at, 1 << 40))
        if d.life:
            t.truth(a, "supervision-loss", d, at, "now", strength, "life safety keeps its own")
    t.truth(a, "supervision-loss", None, at, "now", strength,
            f"{len(far)} of {len(far) + 2} devices check in no more")


@more(sort="works", checkin=HOUR, activity="none", tells="both", calm=True)
def path_fades(t, a):
    """Shelves fill up in front of a contact: its signal falls from week to week, more and more
    of its check-ins are not heard, and then none. The panel tells the loss."""
    strength, lost = ago(t, a, weak=9, plain=3 * 24, strong=8 * 24)
    rng, d = a.rng, a.find("contact", n=2)
    d.taken.append((0, 1 << 40))
    at, first = t.start + rng.randrange(HOUR), lost - 20 * DAY
    while at < lost - 4 * HOUR:
        faded = max(0., (at - first) / (lost - first))
        if rng.random() > .01 + .3 * faded:
            e = a.say(at, "check-in", d)
            e.signal = f"{round(-64 - 22 * faded + rng.gauss(0, 1.5))} dBm"
        at += HOUR
    a.say(lost, "supervision-loss", d)
    t.truth(a, "supervision-loss", d, lost, "soon", strength, "its signal fell until it was lost")


@more(sort="school", activity="none", tells="both", must_have=("smoke",), calm=True)
def wing_lost(t, a):
    """The supply of one wing's repeater was pulled: three devices are lost within minutes."""
    strength, lost = ago(t, a, weak=9, plain=3 * 24, strong=8 * 24)
    for d in [d for d in a.devices if d.kind in ("contact", "motion")][:3]:
        at = lost + a.rng.randrange(1200)
        d.taken.append((lost - HOUR, 1 << 40))
        a.say(at, "supervision-loss", d)
        t.truth(a, "supervision-loss", d, at, "soon", strength, "one of three behind one repeater")


@more(sort="house", checkin=12 * HOUR, must_have=("smoke",), calm=True)
def fast_and_slow(t, a):
    """Smoke detectors that check in every two hours, all else twice a day; one of the slow
    ones misses three check-ins in a row and comes back, which is no silence."""
    for d in (d for d in a.devices if d.kind == "smoke"):
        d.taken.append((0, 1 << 40))
        at = t.start + a.rng.randrange(2 * HOUR)
        while at < t.end:
            if a.rng.random() > .01:
                a.say(at, "check-in", d)
            at += 2 * HOUR + a.rng.randrange(-240, 241)
    d = a.find("motion")
    d.taken.append((t.end - 9 * DAY, t.end - 9 * DAY + 36 * HOUR))
    t.quiet(a, "supervision-loss", d, "three check-ins missed, and back")


@more(sort="school", must_have=("smoke",), calm=True)
def fire_at_night(t, a):
    """A fire: smoke detectors first, then what the heat and the wires do."""
    (f, _), = empty(a, t, 1, 20, 6)
    at = first = f + 4 * HOUR
    smoke = a.find("smoke")
    a.alarm(at, smoke, None)
    t.truth(a, "life-alarm", smoke, at, "now", "plain", "fire at night")
    pool = [d for d in a.devices if d.kind in ("contact", "motion")]
    for i in range(18):
        at += a.rng.randrange(20, 31)
        a.alarm(at, pool[i % len(pool)], 9)
    t.truth(a, "alarm-flood", None, first, "soon", "plain", "19 alarms of a fire")


@more(sort="works", tells="both", way="words", calm=True)
def trouble_went_with_it(t, a):
    """A contact in trouble was replaced by the plan; nobody restored the old one."""
    day = t.days - 9
    old = a.find("contact", n=1)
    at = a.local(day - 6, 4)
    a.say(at, "trouble", old)
    t.past(a, "trouble-left", old, at, "until it was replaced")
    new = t.planned(a, day, old.kind, old.name, zone=old.zone, replaces=old.serial)
    end = session(a, a.local(day, 10), [("unlearn", old), ("heard", new), ("learn", new)])
    a.opening(end + 200, new, 5)
    a.relist = day + 1
    t.quiet(a, "trouble-left", old, "replaced since")


@more(sort="shop", calm=True)
def three_visits(t, a):
    """Three visits within a week, each with the cover off, each in the service list."""
    d = a.find("contact", n=1)
    for back in (9, 7, 5):
        at = a.local(t.days - back, 10)
        a.say(at, "tamper", d)
        a.say(at + 600, "tamper-restore", d)
        a.service.append((at + 900, "looked at the office window", d.zone, "", ""))
    t.quiet(a, "tamper-repeat", d, "three visits, each with its row of service")


@more(sort="shop", activity="doors", way="words", checkin=0)
def never_says_closed(t, a):
    """One contact reports no closing at all."""
    d = a.find("contact", n=2)
    d.taken.append((0, 1 << 40))
    for at in spread(a, t.start + DAY, t.end - 3 * DAY, 25):
        a.say(at, "zone-open", d)
    t.quiet(a, "standing", d, "reports no closing in this log")


@more(sort="house", report_every=1 << 30, calm=True)
def reports_at_any_hour(t, a):
    """A panel that reports once a day at some hour, and now and then not."""
    for day in range(1, t.days):
        if a.rng.random() < .85:
            a.say(a.local(day, 0) + a.rng.randrange(DAY), "test-report")
    t.quiet(a, "test-report-missed", None, "reports that never came regularly")


@more(sort="house", activity="none", calm=True)
def same_room(t, a):
    """Two detectors see the same room, each also what the other does not."""
    one, two = a.find("motion"), a.find("motion", n=1)
    for at in spread(a, t.end - 20 * DAY, t.end - HOUR, 60):
        both = a.rng.random() < .7
        first = a.rng.choice((one, two))
        a.say(at, "trip", first)
        a.say(at + 4, "clear", first)
        if both:
            other = two if first is one else one
            lag = a.rng.randrange(0, 5)
            a.say(at + lag, "trip", other)
            a.say(at + lag + 4, "clear", other)
    for d in (one, two):
        t.quiet(a, "twin", d, "the same room, and more besides")


@more(sort="house", calm=True, way="words", activity="none")
def cat(t, a):
    """A cat in the living room while the house is empty; by night it sleeps upstairs."""
    d, strength = a.find("motion"), shade(a.rng)
    spans = [s for s in a.away if s[1] < t.end and s[1] - s[0] > 2 * HOUR][-10:]
    times = [f + (to - f) // 2 for f, to in sorted(a.rng.sample(spans, of(strength, 6, 8, 10)))]
    for at in times:
        a.alarm(at, d, 4)
    t.truth(a, "repeat-alarm", d, times[0], "soon", strength,
            f"alone, {len(times)} of the last 10 times that all were out")


def street_flickers(t, accounts):
    """A loose joint in the street: all lose the mains for minutes, three times in a week."""
    for back in (6, 4, 1):
        at = t.end - back * DAY
        for a in accounts:
            a.say(at + a.rng.randrange(120), "power-loss")
            a.say(at + 600 + a.rng.randrange(120), "power-restore")
    t.truth("*", "power-loss", None, at, "any", "plain",
            f"{len(accounts)} sites, the last of three short cuts", also="group:quayside",
            state="any")
    for a in accounts:
        t.quiet(a, "power-loss", None, "its whole street flickers")


# Who shares an account; the others have theirs alone.
TOGETHER = [
    ("tired_cell", "neighbour_heard"),
    ("tired_smoke", "slow_leavers"),
    ("dirty_chamber", "two_cuts"),
    ("worn_out", "bad_contact"),
]
MORE_CAST = TOGETHER + [(n,) for n in MORE if not any(n in part for part in TOGETHER)]
STREET = 5		# sites without a story that are on one street; there are two streets
