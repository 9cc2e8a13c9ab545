"""What goes wrong in the town, and what only looks like it.

A story happens to one account: it makes the panel say what the cause would make
it say, and notes the cause in the town's truth, or the look-alike in its quiet
list. Causes are planted, never a rule's arithmetic.
"""
from world import DAY, HOME_ZONE, HOUR, Device

STORIES = {}


def story(**needs):
    """Needs are set on the account before it gets its devices."""
    def put(f):
        f.needs = needs
        STORIES[f.__name__] = f
        return f
    return put


def shade(rng):
    return rng.choice(("weak", "plain", "strong"))


def bursts(a, d, at, n, gap=(4, 14), lasts=(1, 4)):
    """A contact that opens and closes n times in a row; returns the last instant."""
    rng = a.rng
    start = at
    for _ in range(n):
        length = rng.randrange(*lasts)
        a.opening(at, d, length)
        last = at
        at += length + rng.randrange(*gap)
    d.taken.append((start - 1800, at + 1800))
    return last


def at_home(a, day, hour=18):
    """A moment of that day, near that hour, at which somebody is in and stays a while."""
    for off in (0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6, -6, 7, -7, 8, -8, 9, -9):
        at = a.local(day, hour + off) + a.rng.randrange(HOUR)
        if any(f + 600 < at < t - 1800 for f, t in a.home):
            return at
    return a.local(day, hour)


def empty(a, t, n, back, hours):
    """n spans of the last `back` days in which the armed site is empty that long."""
    spans = [s for s in a.away if s[1] - s[0] >= hours * HOUR and t.end - back * DAY < s[0]
             and s[1] < t.end - DAY]
    return sorted(a.rng.sample(spans, min(n, len(spans))))


# -- chatter ------------------------------------------------------------------
@story(sort="house", activity="doors", way="words", clock="local")
def windy_window(t, a):
    """A window contact rattles on windy evenings; the account was renumbered meanwhile."""
    rng, d = a.rng, a.find("contact", n=3)
    strength = shade(rng)
    evenings = {"weak": 2, "plain": 4, "strong": 9}[strength]
    days = sorted(rng.sample(range(t.days - 25, t.days - 2), evenings))
    first = None
    for day in days:
        at = at_home(a, day)
        bursts(a, d, at, rng.randrange(3, 6))
        first = first or at
    if t.days - 25 < days[0] < days[1]:
        a.was, a.renamed = t.number(), a.local(days[0] + 1, 0)
    t.truth(a, "chatter", d, first, "soon", strength,
            f"rattles in the wind on {evenings} evenings; "
            f"the account changed its number after the first")


@story(sort="house", activity="doors", clock="offset")
def loose_magnet(t, a):
    """A magnet hangs by one screw: one long burst when the garden door bangs."""
    rng, d = a.rng, a.find("contact", n=1)
    strength = shade(rng)
    n = {"weak": 11, "plain": rng.randrange(14, 22), "strong": rng.randrange(30, 60)}[strength]
    at = at_home(a, rng.randrange(t.days - 24, t.days - 3))
    bursts(a, d, at, n)
    t.truth(a, "chatter", d, at, "soon", strength, f"loose magnet: {n} openings in one run")


@story(sort="works", activity="none")
def roller_door(t, a):
    """A roller door shakes in its guides at night: alarms, then the panel shuts the zone down."""
    rng, d = a.rng, a.find("contact", n=1)
    strength = shade(rng)
    nights = {"weak": 2, "plain": 3, "strong": 5}[strength]
    first = None
    for f, _ in empty(a, t, nights, 22, 9):
        at = f + 4 * HOUR + rng.randrange(2 * HOUR)
        first = first or at
        for _ in range(2):
            a.alarm(at, d, rng.randrange(2, 6))
            at += rng.randrange(15, 28)
        a.say(at, "swinger", d)
        a.say(at + 200, "alarm-cancel", user="1")
    t.truth(a, "chatter", d, first, "soon", strength, f"swinger shutdown on {nights} nights")


@story(sort="shop", activity="doors", way="dc03", tells="both")
def worn_reed(t, a):
    """A worn reed switch on the shop's office window: dozens of bursts, worse every week."""
    rng, d = a.rng, a.find("contact", n=2)
    strength = shade(rng)
    days = {"weak": 6, "plain": 12, "strong": 20}[strength]
    first, count = None, 0
    for day in sorted(rng.sample(range(t.days - 29, t.days - 1), days)):
        at = at_home(a, day, 13)
        for _ in range(rng.randrange(1, 4)):
            first = first or at
            bursts(a, d, at, rng.randrange(3, 10))
            at += rng.randrange(300, 1500)
            count += 1
    t.truth(a, "chatter", d, first, "soon", strength, f"worn switch, {count} bursts on {days} days")


@story(sort="house", activity="all", checkin=0, way="words")
def curtain_over_heater(t, a):
    """A hall detector sees a curtain move over a heater while the house is empty and armed."""
    rng, d = a.rng, a.find("motion")
    strength = shade(rng)
    runs = {"weak": 2, "plain": 4, "strong": 8}[strength]
    first = None
    for f, to in empty(a, t, runs, 26, 1.3):
        at = f + (to - f) // 3
        first = first or at
        for _ in range(rng.randrange(3, 6)):
            a.say(at, "trip", d)
            a.say(at + 3, "clear", d)
            at += rng.randrange(9, 20)
    t.truth(a, "chatter", d, first, "soon", strength,
            f"moves in an empty, armed house, {runs} times")
    t.quiet(a, "chatter", a.find("motion", n=1) if sum(x.kind == "motion" for x in a.devices) > 1
            else d, "the same detectors see people all day while disarmed and at night in stay")


@story(sort="house", activity="doors")
def child_at_door(t, a):
    """A child swings on the garden door, once."""
    rng, d = a.rng, a.find("contact", n=1)
    at = at_home(a, rng.randrange(t.days - 25, t.days - 3))
    n = rng.randrange(5, 9)
    bursts(a, d, at, n)
    t.quiet(a, "chatter", d, f"one child at one door once: {n} openings")


@story(sort="shop", activity="doors")
def deliveries(t, a):
    """Two deliveries through the yard door, five weeks apart."""
    d = a.find("contact", n=1)
    early = at_home(a, 3)
    late = at_home(a, t.days - 4)
    if late - early > 33 * DAY:
        bursts(a, d, early, 5)
    bursts(a, d, late, 4)
    t.quiet(a, "chatter", d, "two deliveries, more than a month apart")


@story(sort="works", activity="doors", way="words", tells="both", checkin=0)
def radio_repeats(t, a):
    """A repeater says everything three times within a second; one contact never says closed."""
    rng = a.rng
    side, hatch = a.find("contact", n=2), a.find("contact")
    for d in (side, hatch):
        d.taken.append((0, 1 << 40))
    for day in range(2, t.days - 1):
        for f, to in a.home:
            if not a.local(day, 0) <= f < a.local(day, 24):
                continue
            for _ in range(rng.randrange(1, 4)):
                at = rng.randrange(f + 300, to - 300)
                for n in range(3):
                    a.say(at + (n > 1), "zone-open", side)
                    if n != 1:
                        a.say(at + 30 + (n > 1), "zone-close", side)
                at = rng.randrange(f + 300, to - 300)
                for n in range(3):
                    a.say(at + (n > 0), "zone-open", hatch)
    t.quiet(a, "chatter", side, "one activation heard three times through a repeater")
    t.quiet(a, "chatter", hatch, "the same on a contact that reports no closing")


@story(sort="house", activity="doors", clock="minute")
def coarse_clock(t, a):
    """An export to the minute: six openings in five minutes look like three in one."""
    d = a.find("contact")
    for day in range(t.days - 20, t.days - 4, 3):
        at = at_home(a, day)
        for n in range(6):
            a.opening(at + n * 50, d, 15)
        d.taken.append((at - 900, at + 900))
    t.quiet(a, "chatter", d, "times to the minute prove no burst of seconds")


@story(sort="house", activity="doors", way="words")
def number_given_anew(t, a):
    """The number belonged to another customer until the middle of the story; theirs rattled."""
    rng, d = a.rng, a.find("contact", n=2)
    day = t.days - 22
    for back in (2, 4, 5):
        bursts(a, d, a.local(day - back, 18) + rng.randrange(HOUR), 6)
    a.since = a.local(day, 12)
    t.quiet(a, "chatter", d, "bursts of the former customer, before the number was given anew")


# -- life alarms ----------------------------------------------------------------
@story(must_have=("co",), sort="house")
def stove_pipe(t, a):
    """Carbon monoxide comes and goes with the stove: a real exposure that looks like chatter."""
    rng, d = a.rng, a.find("co")
    strength = shade(rng)
    at = at_home(a, rng.randrange(t.days - 20, t.days - 3))
    first = at
    for _ in range({"weak": 2, "plain": 4, "strong": 9}[strength]):
        a.alarm(at, d, rng.randrange(20, 50))
        at += rng.randrange(55, 90) if strength == "strong" else rng.randrange(400, 2000)
    t.truth(a, "life-alarm", d, first, "now", strength, "carbon monoxide that comes and goes")
    t.quiet(a, "chatter", d, "a life-safety detector is never called a chatterer")


@story(sort="house", must_have=("smoke",))
def burnt_toast(t, a):
    """Smoke at breakfast, cancelled by the owner a minute later. Still an alarm."""
    d = a.find("smoke")
    at = a.local(a.rng.randrange(6, t.days - 3), 7) + a.rng.randrange(HOUR)
    a.alarm(at, d, 240)
    a.say(at + 70, "alarm-cancel", user="1")
    t.truth(a, "life-alarm", d, at, "now", "weak", "smoke at breakfast, cancelled by the user")


@story(must_have=("medical",), sort="house", way="dc05")
def pendant(t, a):
    """A fall in the garden: the pendant is pressed twice within an hour."""
    d = a.find("medical")
    at = a.local(a.rng.randrange(6, t.days - 3), 15)
    a.alarm(at, d, None)
    a.alarm(at + 40 * 60, d, 900)
    t.truth(a, "life-alarm", d, at, "now", "plain", "medical pendant pressed twice")


@story(sort="shop", must_have=("hold-up",))
def till(t, a):
    """The hold-up button at the till, and a week later a disarm under duress."""
    d = a.find("hold-up")
    at = a.local(t.days - 20, 16)
    a.alarm(at, d, None)
    t.truth(a, "life-alarm", d, at, "now", "plain", "hold-up button")
    at = a.local(t.days - 12, 7.5)
    a.say(at, "duress-alarm", user="3")
    t.truth(a, "life-alarm", None, at, "now", "plain",
            "disarmed under duress by user 3", also="zone:3")


@story(sort="works", must_have=("smoke", "heat"))
def kiln(t, a):
    """A hot afternoon: the heat detector of the kitchen and then the smoke detector, unrestored."""
    heat, smoke = a.find("heat"), a.find("smoke")
    at = a.local(t.days - 9, 14.5)
    a.alarm(at, heat, None)
    a.alarm(at + 75, smoke, None)
    t.truth(a, "life-alarm", heat, at, "now", "strong", "heat detector, never restored")
    t.truth(a, "life-alarm", smoke, at + 75, "now", "strong", "smoke detector, never restored")


@story(sort="school", must_have=("smoke", "call-point"))
def yearly_fire_test(t, a):
    """The yearly fire test: announced, every detector tried, ended. Listed, as in test."""
    at = a.local(t.days - 16, 9)
    a.say(at, "on-test-begin", text="yearly fire test")
    a.say(at + 60, "fire-test-begin", user="9")
    when = at + 400
    for d in [d for d in a.devices if d.kind in ("smoke", "call-point")]:
        a.alarm(when, d, 35)
        t.truth(a, "life-alarm", d, when, "now", "weak",
                "alarm in an announced test: listed as in test")
        when += 260
    a.say(when, "fire-test-end", user="9")
    a.say(when + 120, "on-test-end", text="yearly fire test")
    a.service.append((when + 600, "yearly fire test", "", "", ""))


# -- supervision ------------------------------------------------------------------
@story(sort="shop", tells="zone")
def fell_behind_shelf(t, a):
    """One detector is lost and does not come back."""
    rng = a.rng
    d = a.find("glass-break", "motion")
    strength = shade(rng)
    hours = {"weak": 9, "plain": 60, "strong": 300}[strength]
    at = t.end - hours * HOUR - rng.randrange(HOUR)
    a.say(at, "supervision-loss", d)
    d.taken.append((at - (a.checkin or 12 * HOUR), 1 << 40))
    t.truth(a, "supervision-loss", d, at, "soon", strength,
            f"lost {hours} h before the end, no return")


@story(sort="house", must_have=("smoke",), way="dc05")
def lost_smoke(t, a):
    """A smoke detector was taken down for painting and lies in a drawer without its cell."""
    d = a.find("smoke")
    at = t.end - a.rng.randrange(30, 90) * HOUR
    a.say(at, "supervision-loss", d)
    d.taken.append((at - 14 * HOUR, 1 << 40))
    t.truth(a, "supervision-loss", d, at, "now", "plain", "smoke detector lost, no return")


@story(sort="works")
def behind_steel(t, a):
    """A contact behind new steel shelves: lost again and again, an hour each time."""
    rng, d = a.rng, a.find("contact", n=2)
    strength = shade(rng)
    times = {"weak": 3, "plain": 5, "strong": 12}[strength]
    span = 5 * DAY
    at = first = t.end - span - 9 * HOUR
    for _ in range(times):
        a.say(at, "supervision-loss", d)
        a.say(at + rng.randrange(15, 100) * 60, "supervision-restore", d)
        at += span // times
    t.truth(a, "supervision-loss", d, first, "soon", strength,
            f"lost and back {times} times in five days")


@story(checkin=12 * HOUR, sort="house", must_have=("smoke",))
def fell_silent(t, a):
    """A detector stops checking in; this panel reports no losses at all."""
    rng = a.rng
    d = a.find("motion") if rng.random() < 0.5 else a.find("smoke")
    strength = shade(rng)
    days = {"weak": 3, "plain": 7, "strong": 18}[strength]
    at = t.end - days * DAY
    d.taken.append((at, 1 << 40))
    t.truth(a, "supervision-loss", d, at, "now" if d.life else "soon", strength,
            f"no check-in for {days} days while the others check in")


@story(checkin=HOUR, sort="house", activity="none", tells="serial")
def hourly_silence(t, a):
    """The same where devices check in every hour, by serial only."""
    d = a.find("contact", n=2)
    hours = a.rng.choice((7, 30, 100))
    at = t.end - hours * HOUR
    d.taken.append((at, 1 << 40))
    t.truth(a, "supervision-loss", d, at, "soon", "weak" if hours < 10 else "plain",
            f"hourly check-ins stopped {hours} h before the end")


@story(checkin=12 * HOUR, sort="house", way="words")
def typed_in_never_heard(t, a):
    """At a planned visit a serial was typed in off the sticker; the radio was never heard."""
    rng = a.rng
    day = t.days - rng.randrange(8, 16)
    at = a.local(day, 10)
    good, mute = t.planned(a, day, "contact", "skylight"), t.planned(a, day, "contact", "shed door")
    mute.taken.append((0, 1 << 40))
    session(a, at, [("heard", good), ("learn", good), ("learn", mute)])
    tried(a, at + 1500, good)
    t.truth(a, "supervision-loss", mute, at, "soon", "plain",
            "learned by its sticker, never heard since")
    t.quiet(a, "learn-mismatch", mute, "learned as planned; that it is not heard is another matter")


@story(sort="school", must_have=("smoke",), checkin=12 * HOUR, way="dc05")
def receiver_down(t, a):
    """The radio receiver died: most devices are lost within the hour, none is back."""
    at = t.end - a.rng.randrange(5, 30) * HOUR
    lost = [d for d in a.devices if d.supervised]
    for d in lost:
        d.taken.append((at - 12 * HOUR, 1 << 40))
        a.say(at + a.rng.randrange(40 * 60), "supervision-loss", d)
    t.truth(a, "supervision-loss", None, at, "now", "strong",
            f"receiver down, {len(lost)} devices lost")
    for d in lost:
        if d.life:
            t.truth(a, "supervision-loss", d, at, "now", "strong",
                    "life-safety member keeps its own")


@story(sort="works", way="words", checkin=12 * HOUR, must_have=("smoke",))
def repeater_out(t, a):
    """A repeater was unplugged for an afternoon. All came back but one."""
    rng = a.rng
    at = t.end - rng.randrange(3, 6) * DAY
    lost = [d for d in a.devices if d.supervised]
    stray = a.find("contact", n=2)
    for d in lost:
        a.say(at + rng.randrange(30 * 60), "supervision-loss", d)
        if d is not stray:
            d.taken.append((at - 2 * HOUR, at + 3 * HOUR))
            a.say(at + 3 * HOUR + rng.randrange(600), "supervision-restore", d)
    stray.taken.append((at - 2 * HOUR, 1 << 40))
    t.truth(a, "supervision-loss", None, at, "now", "plain", "repeater unplugged for three hours",
            state="any")
    t.truth(a, "supervision-loss", stray, at, "soon", "plain", "the one that did not come back")
    for d in lost:
        if d.life:
            t.truth(a, "supervision-loss", d, at, "now", "plain", "life-safety member, back",
                    state="maybe")


@story(must_have=("keyfob",), sort="house", checkin=12 * HOUR)
def now_and_then(t, a):
    """One or two losses that came back; a keyfob that nobody presses."""
    rng = a.rng
    one, two, fob = a.find("contact"), a.find("motion"), a.find("keyfob")
    for d, back in ((one, 20), (two, 6), (two, 3)):
        at = t.end - back * DAY + rng.randrange(6 * HOUR)
        a.say(at, "supervision-loss", d)
        a.say(at + rng.randrange(10, 50) * 60, "supervision-restore", d)
    a.say(t.start + 3 * DAY, "disarm", fob)
    t.quiet(a, "supervision-loss", one, "one loss, restored")
    t.quiet(a, "supervision-loss", two, "two losses, restored")
    t.quiet(a, "supervision-loss", fob, "a keyfob is not supervised")


@story(sort="shop", checkin=12 * HOUR)
def power_off(t, a):
    """The main switch was off for three days, longer than the panel's battery."""
    at = t.end - a.rng.randrange(8, 20) * DAY
    a.say(at - 9 * HOUR, "power-loss", own=True)
    a.say(at - HOUR, "panel-battery-low", own=True)
    a.dark.append((at, at + 3 * DAY))
    a.say(at + 3 * DAY, "restart", own=True)
    a.say(at + 3 * DAY + 20, "power-restore", own=True)
    a.say(at + 3 * DAY + 900, "panel-battery-restore", own=True)
    t.quiet(a, "supervision-loss", None, "the panel itself had no power for three days")


@story(sort="house", checkin=0, stated=True)
def checkins_not_exported(t, a):
    """The roster states an interval, but the export holds no check-ins."""
    t.quiet(a, "supervision-loss", None, "the export holds no check-ins at all")


@story(sort="cabin", checkin=12 * HOUR, group="lake", timezone=HOME_ZONE)
def lake_gap(t, a):
    """Four days are missing between the two exports of the lake."""
    t.quiet(a, "supervision-loss", None, "four days missing between two exports")


@story(sort="house", checkin=12 * HOUR, way="words", clock="local")
def clock_of_2000(t, a):
    """After a power cut the panel believes it is the year 2000 until someone sets it."""
    at = t.end - a.rng.randrange(10, 20) * DAY
    a.say(at, "restart", own=True)
    a.lost_clock.append((at, at + 14 * HOUR))
    a.say(at + 14 * HOUR, "clock-set", user="1")
    t.quiet(a, "supervision-loss", None, "a day dated 2000-01-01 by a panel that lost its clock")


@story(sort="house", checkin=12 * HOUR)
def line_down(t, a):
    """The line was down for most of a day; the buffer was emptied at once afterwards."""
    at = t.end - a.rng.randrange(26, 33) * DAY
    a.say(at, "comm-loss")
    a.say(at + 16 * HOUR, "comm-restore")
    a.offline.append((at, at + 16 * HOUR))
    t.quiet(a, "supervision-loss", None, "sixteen hours that came late, in one minute")
    t.quiet(a, "chatter", None, "openings of a day received within one minute")


# -- cells ------------------------------------------------------------------------
def run_down(a, devices, first, span, again=True):
    """The cells of these devices run down, one after another."""
    for n, d in enumerate(devices):
        at = first + n * span // max(1, len(devices) - 1) + a.rng.randrange(8 * HOUR)
        d.low = True
        a.say(at, "low-battery", d)
        if again and a.rng.random() < 0.5:
            a.say(at + 2 * DAY, "low-battery", d)


@story(sort="school", contact_cell="CR123A")
def five_year_cells(t, a):
    """All cells were put in on one day; the first cold week takes five or six of them."""
    rng = a.rng
    strength = shade(rng)
    n = {"weak": 4, "plain": 5, "strong": 7}[strength]
    pool = [d for d in a.devices if d.cell == "CR123A"][:n]
    first = t.end - 14 * DAY
    run_down(a, pool, first, 8 * DAY)
    t.truth(a, "battery-cluster", None, first, "soon", strength,
            f"{len(pool)} cells of one age in nine days")


@story(sort="cabin", group="lake", contact_cell="CR123A", checkin=12 * HOUR, timezone=HOME_ZONE)
def cold_cabin(t, a):
    """Low by night, good again by day: an unheated cabin in the first frosts."""
    rng = a.rng
    pool = [d for d in a.devices if d.cell == "CR123A"][:4]
    first = None
    for back in range(9, 3, -1):
        day = t.days - back
        for d in pool:
            if rng.random() < 0.75 or back == 9:
                at = a.local(day, 3) + rng.randrange(2 * HOUR)
                first = min(first or at, at)
                d.low = True
                a.say(at, "low-battery", d)
                a.say(a.local(day, 11) + rng.randrange(HOUR), "battery-restore", d)
    t.truth(a, "battery-cluster", None, first, "soon", "plain",
            "cold nights: low by night, good by day",
            state="any")


@story(sort="works", contact_cell="CR123A")
def changed_in_time(t, a):
    """Four cells ran down together and were changed in one visit."""
    pool = [d for d in a.devices if d.cell == "CR123A"][:4]
    first = t.end - 30 * DAY
    run_down(a, pool, first, 6 * DAY, again=False)
    at = a.local(t.days - 20, 10)
    for n, d in enumerate(pool):
        change_at = at + n * 600
        a.say(change_at, "tamper", d)
        a.say(change_at + 100, "battery-restore", d)
        a.say(change_at + 150, "tamper-restore", d)
    a.service.append((at + 1500, "cells replaced", "", "", ""))
    t.quiet(a, "battery-cluster", None,
            "four cells, all changed, three weeks without a further one")


@story(sort="house")
def says_it_daily(t, a):
    """One device says every day that its cell is low. Nobody comes."""
    d = a.find("motion")
    d.low = True
    for n in range(12):
        a.say(t.end - 15 * DAY + n * DAY + a.rng.randrange(600), "low-battery", d)
    t.quiet(a, "battery-cluster", None, "one device that repeats itself")


@story(sort="house")
def flag_flips(t, a):
    """One marginal cell: low and good again, nine times in twelve days."""
    d = a.find("contact", n=2)
    d.low = True
    at = t.end - 14 * DAY
    for _ in range(9):
        a.say(at, "low-battery", d)
        a.say(at + a.rng.randrange(2, 9) * HOUR, "battery-restore", d)
        at += a.rng.randrange(26, 36) * HOUR
    t.quiet(a, "battery-cluster", None, "one device whose flag flips; its cell is still due")


def bad_carton(t, accounts):
    """One bad carton of cells, sold to many sites: one device each within eight days."""
    first = t.end - 19 * DAY
    hit = []
    for n, a in enumerate(accounts):
        pool = [d for d in a.devices if d.cell == "CR2" and d.supervised]
        if not pool or any(d.low for d in a.devices):
            continue
        d = a.rng.choice(pool)
        d.low = True
        a.say(first + n * 8 * DAY // len(accounts) + a.rng.randrange(HOUR), "low-battery", d)
        hit.append(a.number)
    t.truth("*", "battery-cluster", None, first, "soon", "strong",
            f"one bad carton of CR2 cells at {len(hit)} sites: {' '.join(hit)}", also="cell:CR2")


# -- enrolling ----------------------------------------------------------------------
def session(a, at, steps, close=True, frame=True):
    """One learn session; returns when it ends. A step is (what, device) or
    (what, device, zone); `frame` is whether the panel logs the entry to programming."""
    rng = a.rng
    if frame:
        a.say(at, "program-entry", user="9")
    at += rng.randrange(40, 90)
    for what, d, *zone in steps:
        if what == "heard":
            a.say(at, "learn-heard", serial=d.serial)
        elif what == "refuse":
            a.say(at, "learn-refused", serial=d.serial)
        elif what == "unlearn":
            a.say(at, "unlearn", zone=d.zone, serial=d.serial)
            d.died = at
        else:
            a.say(at, "learn", zone=zone[0] if zone else d.zone, serial=d.serial)
            if d not in a.devices:
                d.born = at
                a.devices.append(d)
        at += rng.randrange(35, 110)
    if close:
        a.say(at, "program-exit", user="9")
    return at


def tried(a, at, *devices):
    """After the work each new device is tried once, in a walk test."""
    a.say(at, "walk-test-begin", user="9")
    for n, d in enumerate(devices, 1):
        a.say(at + n * 50, "test", d)
    a.say(at + 50 * len(devices) + 60, "walk-test-end", user="9")
    a.service.append((at + 900, "enrolment", "", "", ""))


def next_door(t, a):
    """A device of another site that can be heard here."""
    other = a.rng.choice([x for x in t.accounts if x is not a and not x.stories and x.roster
                           and x.timezone == a.timezone and x.group != "lake"])
    return other, other.find("contact", n=1)


def stranger(d):
    """The same transmitter, as another panel meets it."""
    return Device("", d.kind, "", d.serial, "", 0)


@story(sort="house", way="words", clock="offset", tells="both", timezone=HOME_ZONE)
def neighbour_let_in(t, a):
    """The neighbour's contact offered itself while the panel learned, and was accepted."""
    day = t.days - a.rng.randrange(8, 25)
    at = a.local(day, 14)
    other, theirs = next_door(t, a)
    mine = t.planned(a, day, "contact", "cellar door")
    foreign = stranger(theirs)
    foreign.zone = a.next_zone()
    session(a, at, [("heard", foreign), ("learn", foreign), ("heard", mine), ("learn", mine)])
    tried(a, at + 1800, mine)
    t.echoes.append((other, theirs, a, foreign))
    t.truth(a, "learn-mismatch", foreign, at, "now", "plain",
            f"a contact of account {other.number} was accepted on zone {foreign.zone}")


@story(sort="shop", way="dc05", checkin=12 * HOUR)
def unknown_let_in(t, a):
    """A serial that nobody planned and no list knows was accepted beside the planned one."""
    day = t.days - a.rng.randrange(8, 25)
    at = a.local(day, 11)
    mine = t.planned(a, day, "contact", "lift door")
    foreign = Device(a.next_zone(), "contact", "", t.serial(a, "strange"), "", 0)
    session(a, at, [("heard", mine), ("learn", mine), ("heard", foreign), ("learn", foreign)])
    tried(a, at + 1800, mine)
    t.truth(a, "learn-mismatch", foreign, at, "now", "plain",
            "a serial that no list knows was accepted")


@story(sort="house", way="dc03", clock="utc")
def one_digit_off(t, a):
    """A near miss: one digit differs between the plan and the panel."""
    rng = a.rng
    day = t.days - rng.randrange(8, 25)
    at = a.local(day, 9)
    planned = t.planned(a, day, "contact", "terrace door")
    wrong = list(planned.serial)
    place = rng.randrange(len(wrong) - 4, len(wrong))
    wrong[place] = rng.choice([c for c in "0123456789" if c != wrong[place]])
    heard = Device(planned.zone, planned.kind, planned.name, "".join(wrong), planned.cell, 1)
    session(a, at, [("heard", heard), ("learn", heard)])
    tried(a, at + 1200, heard)
    a.relist = day + 2	# a later list, made from the panel, holds the wrong serial too
    t.truth(a, "learn-mismatch", heard, at, "now", "plain",
            f"planned {planned.serial}, accepted {heard.serial}", also=f"serial:{planned.serial}")


@story(sort="works", way="words", tells="both")
def crossed_over(t, a):
    """Two devices of one plan were learned on each other's zone."""
    day = t.days - a.rng.randrange(8, 25)
    at = a.local(day, 10)
    one, two = t.planned(a, day, "contact", "north hatch"), t.planned(a, day, "contact", "south hatch")
    z1, z2 = one.zone, two.zone
    session(a, at, [("heard", one), ("learn", one, z2), ("heard", two), ("learn", two, z1)])
    one.zone, two.zone = z2, z1
    tried(a, at + 1200, one, two)
    t.truth(a, "learn-mismatch", one, at, "any", "plain",
            "two planned devices on each other's zone",
            also=f"zone:{two.zone} serial:{two.serial}")


@story(sort="shop", way="words", checkin=0)
def one_left_out(t, a):
    """Of three planned contacts only two were learned."""
    day = t.days - a.rng.randrange(8, 25)
    at = a.local(day, 13)
    one, two = t.planned(a, day, "contact", "stairs"), t.planned(a, day, "contact", "back window")
    three = t.planned(a, day, "contact", "loft hatch")
    session(a, at, [("heard", one), ("learn", one), ("heard", two), ("learn", two)])
    tried(a, at + 1200, one, two)
    t.truth(a, "learn-mismatch", three, at, "soon", "plain", "a planned contact was not learned")


@story(sort="house", way="dc05", tells="both")
def smoke_left_out(t, a):
    """The planned smoke detector was not learned."""
    day = t.days - a.rng.randrange(8, 25)
    at = a.local(day, 16)
    one = t.planned(a, day, "motion", "upper hall")
    smoke = t.planned(a, day, "smoke", "upper hall")
    session(a, at, [("heard", one), ("learn", one)])
    tried(a, at + 1200, one)
    t.truth(a, "learn-mismatch", smoke, at, "now", "strong",
            "a planned smoke detector was not learned")


@story(sort="house", way="words", tells="both", checkin=0)
def one_serial_twice(t, a):
    """One contact was learned on two zones."""
    day = t.days - a.rng.randrange(8, 25)
    at = a.local(day, 12)
    one = t.planned(a, day, "contact", "bath window")
    second = a.next_zone()
    session(a, at, [("heard", one), ("learn", one), ("heard", one), ("learn", one, second)])
    tried(a, at + 1200, one)
    t.truth(a, "learn-mismatch", one, at, "any", "plain",
            "one serial on two zones", also=f"zone:{second}")


@story(sort="house", way="dc05", tells="both", checkin=0)
def another_kind(t, a):
    """Cartons look alike: a carbon monoxide detector where the plan says smoke."""
    day = t.days - a.rng.randrange(8, 20)
    at = a.local(day, 9.5)
    one = t.planned(a, day, "smoke", "corridor")
    session(a, at, [("heard", one), ("learn", one)])
    one.kind = "co"
    at += 1200
    a.say(at, "on-test-begin")
    a.alarm(at + 200, one, 30)
    a.say(at + 500, "on-test-end")
    t.truth(a, "learn-mismatch", one, at, "any", "plain",
            "planned smoke, it raises carbon monoxide alarms")
    t.truth(a, "life-alarm", one, at + 200, "now", "weak", "carbon monoxide alarm in an open test")


@story(sort="shop", way="dc05")
def left_open(t, a):
    """The programming mode was never left; since then the shop cannot be armed."""
    day = t.days - a.rng.randrange(3, 12)
    at = a.local(day, 15)
    one = t.planned(a, day, "contact", "cash room")
    session(a, at, [("heard", one), ("learn", one)], close=False)
    tried(a, at + 900, one)
    a.unarmed = at
    t.truth(a, "learn-mismatch", None, at, "soon", "plain",
            "the programming session was never closed")


@story(sort="house", way="dc03", tells="both")
def swapped_unplanned(t, a):
    """A broken contact was replaced on the spot, with no plan."""
    day = t.days - a.rng.randrange(8, 25)
    at = a.local(day, 11)
    old = a.find("contact", n=1)
    new = Device(old.zone, old.kind, old.name, t.serial(a, "spare"), old.cell, old.cells)
    session(a, at, [("unlearn", old), ("heard", new), ("learn", new)])
    tried(a, at + 700, new)
    t.truth(a, "learn-mismatch", new, at, "soon", "plain", "replaced without a plan",
            also=f"serial:{old.serial}")


@story(sort="cabin", way="words", roster=False, group="town", timezone=HOME_ZONE)
def no_papers(t, a):
    """A cabin enrolled with no plan and no list at all."""
    at = a.local(t.days - 30, 13)
    new = [Device(str(n), "contact", "", t.serial(a, "cabin"), "", 0) for n in (21, 22)]
    session(a, at, [s for d in new for s in (("heard", d), ("learn", d))])
    tried(a, at + 900, *new)
    t.truth(a, "learn-mismatch", None, at, "later", "weak", "enrolled without plan and list",
            also=" ".join(f"zone:{d.zone} serial:{d.serial}" for d in new))


@story(sort="cabin", way="words", roster=False)
def unlisted(t, a):
    """A fire code on a zone that no list knows."""
    at = a.local(t.days - 25, 22)
    a.say(at, "fire-alarm", zone="31")
    a.say(at + 300, "alarm-restore", zone="31", raised="fire-alarm")
    t.truth(a, "life-alarm", None, at, "now", "plain",
            "fire code on an unlisted zone", also="zone:31")


@story(sort="works", way="dc05")
def programmed_unasked(t, a):
    """A planned visit went well. Days later somebody programmed the panel, and nobody had
    planned that."""
    day = t.days - 25
    one = t.planned(a, day, "contact", "coal hatch")
    end = session(a, a.local(day, 10), [("heard", one), ("learn", one)])
    tried(a, end + 300, one)
    at = a.local(t.days - a.rng.randrange(5, 20), 19)
    a.say(at, "program-entry")
    a.say(at + 200, "programming-changed")
    a.say(at + 400, "program-exit")
    t.truth(a, "learn-mismatch", None, at, "any", "weak", "programming outside any plan")


@story(sort="house", way="words", tells="both", activity="doors", timezone=HOME_ZONE)
def heard_and_refused(t, a):
    """A neighbour's device was heard and refused; the planned ones were tried by hand, often."""
    day = t.days - a.rng.randrange(8, 25)
    at = a.local(day, 10)
    other, theirs = next_door(t, a)
    foreign = stranger(theirs)
    one = t.planned(a, day, "contact", "pantry window")
    end = session(a, at, [("heard", foreign), ("refuse", foreign), ("heard", one), ("learn", one),
                          ("heard", foreign), ("refuse", foreign)], close=False)
    for n in (end, end + 130):
        bursts(a, one, n, 4, gap=(3, 8))
    end += 260
    a.say(end, "program-exit", user="9")
    a.say(end + 300, "walk-test-begin", user="9")
    for n in range(3):
        last = bursts(a, one, end + 360 + n * 200, 5)
    a.say(last + 100, "walk-test-end", user="9")
    a.service.append((end + 900, "enrolment", "", "", ""))
    t.quiet(a, "learn-mismatch", foreign, "a foreign serial, heard and refused")
    t.quiet(a, "learn-mismatch", one, "learned as planned")
    t.quiet(a, "chatter", one, "tried by hand in the learn session and the walk test")
    t.quiet(a, "supervision-loss", foreign, "never learned here")


@story(sort="shop", way="dc03", tells="both", checkin=12 * HOUR)
def replaced_as_planned(t, a):
    """An old contact was replaced by the plan; the old one is silent, rightly."""
    day = t.days - a.rng.randrange(10, 25)
    at = a.local(day, 10)
    old = a.find("contact", n=1)
    new = t.planned(a, day, old.kind, old.name, zone=old.zone, replaces=old.serial)
    session(a, at, [("unlearn", old), ("heard", new), ("learn", new)])
    tried(a, at + 900, new)
    a.relist = day + 1
    t.quiet(a, "learn-mismatch", new, "a replacement that the plan names")
    t.quiet(a, "supervision-loss", old, "unlearned, so its silence is right")


@story(sort="works", way="words", checkin=12 * HOUR)
def second_try(t, a):
    """The first try did not take, the second did; one in the same session, one an hour later."""
    day = t.days - a.rng.randrange(8, 25)
    at = a.local(day, 9)
    one, two = t.planned(a, day, "contact", "west door"), t.planned(a, day, "smoke", "boiler room")
    end = session(a, at, [("heard", one), ("refuse", one), ("heard", one), ("learn", one),
                          ("heard", two), ("refuse", two)])
    end = session(a, end + HOUR, [("heard", two), ("learn", two)])
    tried(a, end + 600, one, two)
    t.quiet(a, "learn-mismatch", one, "learned in a second try")
    t.quiet(a, "learn-mismatch", two, "learned in a second session of the same visit")


@story(sort="house", way="words", tells="both", checkin=12 * HOUR)
def plain_visit(t, a):
    """A visit without fault, on a panel that logs no entry to programming."""
    day = t.days - a.rng.randrange(8, 25)
    at = a.local(day, 15)
    one, two = t.planned(a, day, "contact", "loft window"), t.planned(a, day, "co", "fireplace")
    session(a, at, [("heard", one), ("learn", one), ("heard", two), ("learn", two)],
            close=False, frame=False)
    tried(a, at + 900, one, two)
    t.quiet(a, "learn-mismatch", one, "learned as planned")
    t.quiet(a, "learn-mismatch", two, "learned as planned")


# Who shares an account, so that the town is no fuller of faults than a real one.
CAST = [
    ("windy_window", "burnt_toast"),
    ("loose_magnet", "line_down"),
    ("roller_door", "behind_steel"),
    ("worn_reed",),
    ("curtain_over_heater", "flag_flips"),
    ("child_at_door", "now_and_then"),
    ("deliveries", "power_off"),
    ("radio_repeats",),
    ("coarse_clock",),
    ("number_given_anew",),
    ("stove_pipe", "fell_silent"),
    ("pendant", "lost_smoke"),
    ("till", "fell_behind_shelf"),
    ("kiln", "programmed_unasked"),
    ("yearly_fire_test", "five_year_cells"),
    ("hourly_silence",),
    ("typed_in_never_heard",),
    ("receiver_down",),
    ("repeater_out",),
    ("checkins_not_exported", "says_it_daily"),
    ("lake_gap",),
    ("clock_of_2000",),
    ("cold_cabin",),
    ("changed_in_time",),
    ("neighbour_let_in",),
    ("unknown_let_in",),
    ("one_digit_off",),
    ("crossed_over",),
    ("one_left_out",),
    ("smoke_left_out",),
    ("one_serial_twice",),
    ("another_kind",),
    ("left_open",),
    ("swapped_unplanned",),
    ("no_papers", "unlisted"),
    ("heard_and_refused",),
    ("replaced_as_planned",),
    ("second_try",),
    ("plain_visit",),
]
CAST_CARTON = 7		# sites of the bad carton, taken from those without a story
