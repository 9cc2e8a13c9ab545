"""Accounts, devices and the ordinary life of a made-up town.

Times are whole seconds UTC. Nothing here knows a rule: people come and go,
doors open, radios check in, the power fails now and then.
"""
import random
from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo

from cells import ALARM

HOUR = 3600
DAY = 24 * HOUR
START = datetime(2026, 9, 14, tzinfo=timezone.utc)
T0 = int(START.timestamp())

HOME_ZONE = "Europe/Vienna"
OTHER_ZONES = ("Atlantic/Reykjavik", "Australia/Hobart", "Europe/Lisbon", "America/Halifax")

# Zones of one site by its sort: (kind, name, what the place needs to have it).
SITES = {
    "house": [
        ("contact", "front door"), ("contact", "garden door"), ("contact", "kitchen window"),
        ("contact", "cellar window"), ("contact", "bedroom window"), ("motion", "hall"),
        ("motion", "living room"), ("smoke", "landing"), ("co", "boiler room"),
        ("contact", "garage door"), ("smoke", "attic stairs"), ("glass-break", "veranda"),
    ],
    "shop": [
        ("contact", "shop door"), ("contact", "yard door"), ("contact", "shutter"),
        ("motion", "sales room"), ("motion", "store room"), ("glass-break", "window front"),
        ("smoke", "store room"), ("hold-up", "till"), ("contact", "office window"),
    ],
    "works": [
        ("contact", "gate"), ("contact", "roller door"), ("contact", "side door"),
        ("motion", "hall"), ("motion", "office"), ("smoke", "hall"), ("heat", "kitchen"),
        ("water", "pit"), ("contact", "skylight"), ("smoke", "office"), ("contact", "loading hatch"),
    ],
    "school": [
        ("contact", "main door"), ("contact", "yard door"), ("contact", "gym door"),
        ("motion", "corridor"), ("motion", "office"), ("motion", "gym"), ("smoke", "stairs"),
        ("smoke", "corridor"), ("call-point", "main door"), ("call-point", "gym"),
        ("contact", "library window"), ("siren", "stairwell"),
    ],
    "cabin": [
        ("contact", "door"), ("contact", "lake window"), ("contact", "hill window"),
        ("motion", "main room"), ("smoke", "main room"), ("co", "stove corner"),
        ("contact", "boat house"),
    ],
}
NAMES = {
    "house": ("Larkspur", "Comfrey", "Tansy", "Yarrow", "Sorrel", "Woodruff", "Bryony", "Mallow",
              "Betony", "Teasel", "Campion", "Chicory", "Burdock", "Figwort", "Speedwell", "Melilot",
              "Sainfoin", "Bugle", "Clary", "Orpine", "Samphire", "Toadflax", "Lovage", "Dittany"),
    "shop": ("bakery by the weir", "lamp maker", "bicycle mender", "seed shop", "tea room",
             "shoe mender", "book corner", "cheese counter", "wool shop", "clock mender"),
    "works": ("upper mill", "cooperage", "boat yard", "joinery", "cold store", "brick kiln"),
    "school": ("school on the hill", "music school", "town hall", "reading room"),
    "cabin": ("Heron cabin", "Otter cabin", "Grebe cabin", "Coot cabin", "Dipper cabin", "Teal cabin"),
}
# Cells by kind of device: what it takes and how many. Contacts differ by site.
CELLS = {"motion": ("CR123A", 1), "smoke": ("CR123A", 2), "co": ("AA", 3), "heat": ("CR123A", 2),
         "glass-break": ("CR123A", 1), "keyfob": ("CR2032", 1), "hold-up": ("CR2032", 1),
         "call-point": ("AA", 2), "siren": ("C", 4), "water": ("AA", 2), "medical": ("CR2032", 1),
         "panic": ("CR2032", 1)}
SILENT_KINDS = ("keyfob", "hold-up", "medical", "panic")	# transmit when pressed, never check in
LIFE_KINDS = ("smoke", "heat", "co", "gas", "call-point", "hold-up", "medical", "panic")


class Event:
    __slots__ = ("at", "thing", "zone", "serial", "user", "text", "kind", "raised", "signal", "own")

    def __init__(self, at, thing):
        self.at, self.thing = at, thing
        self.zone = self.serial = self.user = self.text = self.kind = self.raised = self.signal = ""
        self.own = False	# said although the panel is in a dark span (its last words)


class Device:
    def __init__(self, zone, kind, name, serial, cell="", cells=0):
        self.zone, self.kind, self.name, self.serial = zone, kind, name, serial
        self.cell, self.cells = cell, cells
        self.installed = ""
        self.born, self.died = T0 - DAY, None	# on the air from, until
        self.taken = []		# spans in which a story alone says what this device does
        self.low = False	# has had its battery story

    @property
    def life(self):
        return self.kind in LIFE_KINDS

    @property
    def supervised(self):
        return self.kind not in SILENT_KINDS

    def free(self, at):
        if at < self.born or (self.died is not None and at >= self.died):
            return False
        return not any(a <= at < b for a, b in self.taken)


class Account:
    def __init__(self, number, seed):
        self.number = number
        self.rng = random.Random(f"{seed}/{number}")
        self.was, self.renamed = "", None	# older number, and when it changed
        self.since = None			# number given to a new customer
        self.sort, self.name, self.group = "house", "", ""
        self.timezone = HOME_ZONE
        self.way = "words"	# dc05, dc03, words
        self.clock = "local"	# local, offset, utc, minute, ms
        self.tells = "zone"	# which of zone and serial its rows carry: zone, both, serial
        self.activity = "none"	# none, doors, all
        self.checkin = 0	# seconds; 0 = the export has none
        self.stated = False	# the roster states the interval
        self.received = True
        self.roster = True
        self.must_have = ()	# kinds that a story needs
        self.devices = []
        self.events = []
        self.dark = []		# spans without power: nothing is said
        self.offline = []	# spans whose events came late, all at once
        self.unarmed = None	# from then on the panel cannot be armed
        self.lost_clock = []	# spans in which the panel believed it was the year 2000
        self.clock_error = []	# (from, to, seconds fast at first, further seconds a day)
        self.unsaid = []	# (from, to, thing) that was not said then
        self.calm = False	# has nothing of what happens anywhere by chance
        self.report_every = 0	# seconds between test reports; 0 = by chance
        self.away, self.home, self.stay = [], [], []
        self.holidays = []
        self.plans = []		# rows of plan.csv
        self.service = []	# rows of service.csv
        self.relist = None	# day of a later roster, if any
        self.stories = []
        self.contact_cell = "CR123A"
        self.gives_signal = False
        self.lag = (1, 4)	# seconds from the panel to the station
        self.top = 0		# highest zone number in use or promised

    # -- speaking -----------------------------------------------------------
    def say(self, at, thing, device=None, *, zone="", serial="", user="", text="", raised="",
            own=False):
        e = Event(int(at), thing)
        if device is not None:
            e.zone, e.serial, e.kind = device.zone, device.serial, device.kind
        e.zone, e.serial = zone or e.zone, serial or e.serial
        e.user, e.text, e.raised, e.own = user, text, raised, own
        self.events.append(e)
        return e

    def alarm(self, at, device, lasts=40):
        """The device goes into alarm and back."""
        raised = ALARM.get(device.kind, "burglary-alarm")
        self.say(at, raised, device, text=device.name)
        if lasts is not None:
            self.say(at + lasts, "alarm-restore", device, raised=raised)

    def opening(self, at, device, lasts):
        self.say(at, "zone-open", device)
        self.say(at + lasts, "zone-close", device)

    def find(self, *kinds, n=0):
        """The n-th living device of these kinds."""
        return [d for d in self.devices if d.kind in kinds and d.died is None][n]

    def next_zone(self):
        self.top += 1
        return str(self.top)

    def local(self, day, hour):
        """The instant of an hour of the wall clock on a day of the story."""
        wall = datetime(2026, 9, 14) + timedelta(days=day)
        wall = wall.replace(tzinfo=ZoneInfo(self.timezone))
        return int((wall + timedelta(hours=hour)).timestamp())


class Serials:
    """Serials come in cartons of twenty with consecutive numbers, as read off a sticker."""

    def __init__(self, rng):
        self.rng, self.used, self.carton = rng, set(), {}

    def fresh(self, key, form):
        left = self.carton.get(key)
        if not left:
            left = self._carton(form)
        serial = left.pop(0)
        self.carton[key] = left
        return serial

    def _carton(self, form):
        while True:
            first = self.rng.randrange(0x180000, 0xEFFF00)
            span = range(first, first + 20)
            # No serial is given twice.
            if not any(n >> 8 in self.used for n in (first, first + 19)):
                self.used.update(n >> 8 for n in (first, first + 19))
                break
        if form == "hex":
            return [f"{n:06X}" for n in span]
        if form == "long":
            return [f"0{n:08d}" for n in span]
        return [f"K{n % 10}{n:08d}" for n in span]


def furnish(a, serials):
    """Gives the account its devices."""
    rng = a.rng
    form = rng.choice(("hex", "long", "letter"))
    contact_cell = a.contact_cell
    year = rng.choice((2022, 2023, 2023, 2024))
    installed = f"{year}-{rng.randrange(1, 13):02d}-{rng.randrange(1, 28):02d}"
    rows = list(SITES[a.sort])
    keep = rng.randrange(7, len(rows) + 1) if a.sort != "cabin" else len(rows)
    rows = rows[:keep]
    rows += [(k, k) for k in dict.fromkeys(a.must_have) if k not in [r[0] for r in rows]]
    if a.sort in ("house", "shop") and "keyfob" not in a.must_have and rng.random() < 0.7:
        rows.append(("keyfob", "keyfob"))
    for n, (kind, name) in enumerate(rows, 1):
        cell, cells = CELLS.get(kind, (contact_cell, 1))
        d = Device(str(n), kind, name, serials.fresh((a.number, kind), form), cell, cells)
        d.installed = installed
        a.devices.append(d)
    a.form, a.top = form, len(rows)


# -- the day ----------------------------------------------------------------
def schedule(a, days):
    """Lays out when the site is armed, and says so."""
    rng = a.rng
    user = [str(n) for n in range(1, rng.choice((2, 3, 3, 4)))]
    keys = []		# (at, thing)
    early, late = rng.uniform(7.1, 8.6), rng.uniform(15.4, 18.6)
    bed, rise = rng.uniform(21.8, 23.4), rng.uniform(5.9, 7.0)
    stays = rng.random() < 0.7
    works_at_home = rng.random() < 0.25
    for day in range(days):
        wd = (START + timedelta(days=day)).weekday()
        j = lambda h: a.local(day, h) + int(rng.gauss(0, 9) * 60)
        if any(f <= day < t for f, t in a.holidays):
            continue
        if a.sort == "house":
            if stays:
                keys.append((j(rise), "disarm"))
            if wd < 5 and not (works_at_home and rng.random() < 0.6):
                keys += [(j(early), "arm"), (j(late), "disarm")]
            elif rng.random() < 0.6:
                out = rng.uniform(9.5, 15)
                keys += [(j(out), "arm"), (j(out + rng.uniform(1.5, 4)), "disarm")]
            if any(f == day + 1 for f, t in a.holidays):
                keys.append((j(20.3), "arm"))
            elif stays:
                keys.append((j(bed), "arm-stay"))
        elif a.sort == "cabin":
            if wd == 4:
                keys.append((j(17.5), "disarm"))
            elif wd == 6:
                keys.append((j(16.5), "arm"))
        elif wd < (6 if a.sort == "shop" else 5):
            keys += [(j(rng.gauss(7.6, .1)), "disarm"), (j(rng.gauss(18.2, .2)), "arm")]
    keys.sort()
    begin, end = T0, T0 + days * DAY
    state, since = ("arm" if a.sort in ("shop", "works", "school", "cabin") else "disarm"), begin
    for at, thing in keys + [(end, "end")]:
        if at < begin:
            state = thing
            continue
        at = min(at, end)
        if thing == state or (thing == "arm-stay" and state == "arm"):
            continue
        {"arm": a.away, "disarm": a.home, "arm-stay": a.stay}[state].append((since, at))
        if thing != "end":
            a.say(at, thing, user=rng.choice(user))
            state, since = thing, at


def doors(a):
    """Comings and goings. One person opens a door and takes a while to come back to it."""
    rng = a.rng
    contacts = [d for d in a.devices if d.kind == "contact"]
    if a.activity == "none" or not contacts:
        return
    last = {}
    wishes = []
    for f, t in a.away:
        wishes += [(f - rng.randrange(25, 50), contacts[0]), (t - rng.randrange(12, 30), contacts[0])]
    per_hour = {"house": 0.32, "shop": 0.5, "works": 0.5, "school": 0.6, "cabin": 0.3}[a.sort]
    for f, t in a.home:
        at = f + rng.expovariate(per_hour / HOUR)
        while at < t:
            d = rng.choices(contacts, [6, 4] + [1] * (len(contacts) - 2))[0]
            wishes.append((int(at), d))
            at += rng.expovariate(per_hour / HOUR)
    for at, d in sorted(wishes, key=lambda w: (w[0], int(w[1].zone))):
        # A window is aired for a while, a door falls shut.
        lasts = rng.randrange(300, 2400) if "window" in d.name else rng.randrange(4, 25)
        if at < last.get(d.zone, 0) + 100 or not d.free(at) or not d.free(at + lasts):
            continue
        a.opening(at, d, lasts)
        last[d.zone] = at + lasts


def motion(a):
    """People walk about at home; a detector sees them several times a minute."""
    if a.activity != "all":
        return
    rng = a.rng
    for d in (d for d in a.devices if d.kind == "motion"):
        for f, t in a.home + a.stay:
            at = f + rng.expovariate(1 / (5 * HOUR))
            while at < t - 300:
                for _ in range(rng.choice((1, 2, 3, 4))):
                    if d.free(at) and at < t - 120:
                        a.say(at, "trip", d)
                        a.say(at + rng.randrange(2, 5), "clear", d)
                    at += rng.randrange(8, 25)
                at += rng.expovariate(1 / (5 * HOUR))


def checkins(a, days):
    rng = a.rng
    if not a.checkin:
        return
    for d in a.devices:
        if not d.supervised:
            continue
        at = T0 + rng.randrange(a.checkin)
        drift = rng.randrange(-2, 3)
        level = rng.randrange(-88, -58)
        while at < T0 + days * DAY:
            if d.free(at) and rng.random() > 0.008:	# now and then one is not heard
                e = a.say(at, "check-in", d)
                if a.gives_signal and rng.random() < 0.25:
                    e.signal = f"{level + rng.randrange(-3, 4)} dBm"
            at += a.checkin + drift + rng.randrange(-20, 21) * (a.checkin > 4 * HOUR)


def noise(a, days):
    """What any site has: test reports, a short power cut, a false alarm at the door."""
    rng = a.rng
    end = T0 + days * DAY
    every = rng.choice((DAY, DAY, DAY, 7 * DAY))
    every = a.report_every or every
    at = T0 + rng.randrange(DAY)
    while at < end:
        a.say(at, "test-report")
        at += every
    if a.calm:
        return
    for _ in range(rng.choice((0, 0, 1, 1, 2))):
        at = rng.randrange(T0 + DAY, end - DAY)
        a.say(at, "power-loss")
        a.say(at + rng.randrange(200, 3 * HOUR), "power-restore")
    if rng.random() < 0.3:
        at = rng.randrange(T0 + DAY, end - DAY)
        a.say(at, "comm-loss")
        a.say(at + rng.randrange(120, 1500), "comm-restore")
    contacts = [d for d in a.devices if d.kind == "contact"]
    long_away = [s for s in a.away if s[1] - s[0] > 2 * HOUR]
    if rng.random() < 0.35 and long_away and contacts[0].free(T0):
        # Somebody forgets the entry time.
        f, t = rng.choice(long_away)
        at = t - rng.randrange(8, 15)
        if contacts[0].free(at):
            a.alarm(at, contacts[0], 6)
            a.say(t + rng.randrange(5, 40), "alarm-cancel", user="1")
    if rng.random() < 0.25 and long_away:
        f, t = rng.choice(long_away)
        a.say(f + 60, "exit-error", contacts[0])
    if rng.random() < 0.2 and a.stay:
        f, t = rng.choice(a.stay)
        d = contacts[-1]
        a.say(f - 20, "bypass", d, user="1")
        a.say(t + 30, "unbypass", d, user="1")
    if rng.random() < 0.15:
        d = contacts[-1]
        at = rng.randrange(T0 + DAY, end - DAY)
        if d.free(at):
            a.say(at, "tamper", d)
            a.say(at + rng.randrange(20, 200), "tamper-restore", d)
    if rng.random() < 0.05:
        at = rng.randrange(T0 + DAY, end - DAY)
        a.say(at, "jam")
        a.say(at + rng.randrange(20, 50), "jam-clear")


def single_low_battery(a, days):
    """One cell of one device runs down, as over a town some do every month. Returns the
    device, when it was low, and whether somebody changed it; None if it is not heard then."""
    rng = a.rng
    d = rng.choice([d for d in a.devices if d.supervised and d.died is None])
    at = rng.randrange(T0 + 2 * DAY, T0 + (days - 4) * DAY)
    if not d.free(at):
        return None
    d.low = True
    if rng.random() < 0.5:
        for n in range(rng.randrange(2, 6)):	# some panels say it again each day
            a.say(at + n * DAY + rng.randrange(300), "low-battery", d)
    else:
        a.say(at, "low-battery", d)
    day = (at - T0) // DAY + rng.randrange(6, 12)
    changed = day < days - 1 and rng.random() < 0.7
    when = a.local(day, rng.randrange(9, 17)) if changed else at
    changed = changed and d.free(when)
    if changed:
        change_cell(a, d, when)
    return d, at, changed


def change_cell(a, d, at):
    """Cover off, new cell in, cover on."""
    a.say(at, "tamper", d)
    a.say(at + 95, "battery-restore", d)
    a.say(at + 140, "tamper-restore", d)
    a.service.append((at + 300, "cells replaced", d.zone, "", ""))
