/* prepare.mjs - the program writes its pages, once a run, into build/pages/out/SET.
 *
 * town     samples/town as two nights, so that there is new, continuing and cleared; a few
 *          findings are decided in between
 * abroad   samples/german, in another encoding
 * hostile  every text that comes from outside tries to be more than text
 * quiet    two sites of which nothing is to be said
 */
import { execFileSync } from "node:child_process";
import fs from "node:fs";
import path from "node:path";
import { ARABIC, LONG, MARKS, sets } from "./lib.mjs";

const top = path.resolve(import.meta.dirname, "../..");
const env = { PATH: process.env.PATH, TZ: "UTC", LC_ALL: "C.UTF-8", NO_COLOR: "1" };
const work = path.join(process.env.PAGES, "work");

function tripsift(db, words, ok = [0, 1]) {
	try {
		return execFileSync(process.env.PROGRAM, [...words, "--db", db],
			{ env, stdio: ["ignore", "pipe", "pipe"], maxBuffer: 1 << 28 }).toString();
	} catch (e) {
		if (ok.includes(e.status))
			return e.stdout.toString();
		throw new Error(`tripsift ${words.join(" ")}: exit ${e.status}\n${e.stderr}`);
	}
}

/* A folder to read, a store and a folder for the pages. */
class Set {
	constructor(name) {
		this.in = path.join(work, name, "in");
		this.db = path.join(work, name, "tripsift.db");
		this.out = path.join(sets, name);
		fs.mkdirSync(this.in, { recursive: true });
		fs.mkdirSync(this.out, { recursive: true });
	}
	copy(folder, wanted = () => true) {
		for (const name of fs.readdirSync(folder).filter(wanted))
			fs.copyFileSync(path.join(folder, name), path.join(this.in, name));
	}
	write(name, head, rows) {
		const cell = x => `"${String(x).replaceAll('"', '""')}"`;
		fs.writeFileSync(path.join(this.in, name),
			head + "\n" + rows.map(r => r.map(cell).join(",") + "\n").join(""));
	}
	night() {
		tripsift(this.db, ["nightly", this.in, "--out", this.out, "--covers", "all"]);
	}
	findings() {
		return JSON.parse(tripsift(this.db, ["triage", "--format", "json"])).findings;
	}
	decide(id, as, who, why) {
		tripsift(this.db, ["decide", id, "--as", as, "--who", who, "--why", why,
			...(as === "seen" ? [] : ["--until", "14d"])]);
	}
}

const stamp = ms => new Date(ms).toISOString().slice(0, 19) + "Z";

/* One account with a burst of openings, a fire alarm, a low cell, a foreign serial, work
 * done, each of them carrying texts of `say`. */
function account(say, id, at) {
	const events = [], e = (minutes, event, zone, serial, text) =>
		events.push([id, stamp(at + minutes * 60000), event, zone, serial, text]);

	for (let burst = 0; burst < 4; burst++) {
		for (let i = 0; i < 5; i++) {
			e(burst * 300 + i / 6, "zone-open", "1", "4A0071", say("event text"));
			e(burst * 300 + i / 6 + 0.05, "zone-close", "1", "4A0071", "");
		}
	}
	e(2000, "fire-alarm", "2", "4A0072", say("fire text"));
	e(2010, "low-battery", "3", "4A0073", say("cell text"));
	e(2020, "tamper", "3", "4A0073", say("tamper text"));
	e(2030, "program-entry", "", "", "");
	e(2031, "learn", "9", "9F0001", say("learn text"));
	e(2035, "program-exit", "", "", "");
	for (let day = 0; day < 6; day++)
		e(2100 + day * 1440, "check-in", "1", "4A0071", "");
	return events;
}

function town() {
	const t = new Set("town"), first = name => !/-2\.csv|later/.test(name);
	const samples = path.join(top, "samples/town");

	t.copy(samples, first);
	t.night();
	const open = t.findings().filter(f => f.state !== "cleared");
	t.decide(open[0].id, "seen", "R. Moser", "called the site, keyholder on the way");
	for (const f of open.filter(f => f.level === "soon").slice(0, 2))
		t.decide(f.id, "planned", "R. Moser", "visit on Friday");
	t.copy(samples);
	t.night();
}

function abroad() {
	const t = new Set("abroad");

	t.copy(path.join(top, "samples/german"));
	t.night();
}

function quiet() {
	const t = new Set("quiet"), at = Date.UTC(2026, 9, 1);

	t.write("sites.csv", "account,timezone,name,group", [["11", "Europe/Vienna", "upper lane 3", ""],
		["12", "Europe/Vienna", "upper lane 5", ""]]);
	t.write("events.csv", "account,time,event,zone", ["11", "12"].flatMap(id =>
		[...Array(20).keys()].map(i => [id, stamp(at + i * 43200000), "check-in", "1"])));
	t.night();
}

function hostile() {
	const t = new Set("hostile"), at = Date.UTC(2026, 9, 1);
	/* Accounts are texts too, and some become names of files. */
	const ids = ["<script>window.pwned=1</script>", "\"><img src=x onerror=window.pwned=1>",
		"../../up", "javascript:window.pwned=1", "a b/c?d#e%41&amp;f", "CON", LONG, ARABIC,
		`left${MARKS}right`, "'--><b>bold</b>"];
	const says = [
		what => `<script>window.pwned=1</script> ${what}`,
		what => `"><img src=x onerror=window.pwned=1> ' ${what}`,
		what => `</td></table></main><h1 id=pwned>${what}</h1>`,
		what => `javascript:window.pwned=1 ${what}`,
		what => `&lt;b&gt;&amp;&#x3c; ${what}`,
		what => `</title></style></script><!-- ${what}`,
		what => `${LONG} ${what}`,
		what => `${ARABIC} ${what}`,
		what => `${MARKS} ${what} ${MARKS}`,
		what => `{{7*7}} $\{window.pwned=1} \`${what}\``,
	];
	const say = i => says[i % says.length], files = "<b id=pwned>&'.csv";

	t.write("sites.csv", "account,timezone,name,group", ids.map((id, i) =>
		[id, "Europe/Vienna", say(i)("site"), say(i + 1)("group")]));
	t.write("roster.csv", "account,zone,serial,device,name,cell", ids.flatMap((id, i) => [
		[id, "1", "4A0071", "contact", say(i)("door"), say(i)("cell")],
		[id, "2", "4A0072", "smoke", say(i + 1)("smoke"), "CR2"],
		[id, "3", "4A0073", "motion", say(i + 2)("hall"), "CR2"]]));
	t.write("plan.csv", "account,serial,visit,zone,device,name,replaces", ids.map((id, i) =>
		[id, "9F0002", stamp(at + 2030 * 60000).slice(0, 10), "9", "contact", say(i)("planned"), ""]));
	t.write("service.csv", "account,time,what,zone,serial,who", ids.map((id, i) =>
		[id, stamp(at + 1000 * 60000), say(i)("what was done"), "1", "", say(i)("who did it")]));
	t.write("settings.csv", "rule,setting,value,scope,who", [
		["chatter", "bursts", "3", "*", say(0)("who set it")],
		["chatter", "bursts", "2", `account=${ids[1]}`, say(1)("who set it")],
		[say(2)("rule"), say(3)("setting"), say(1)("value"), say(5)("scope"), say(6)("who")]]);
	t.write(files, "account,time,event,zone,serial,text",
		ids.flatMap((id, i) => account(say(i), id, at)).concat([[ids[0], say(0)("time"), "x", "", "", ""]]));
	t.night();
	t.findings().forEach((f, i) => {
		if (i % 3)
			t.decide(f.id, i % 2 ? "seen" : "planned", say(i)("who decides"), say(i + 1)("why"));
	});
	t.night();
}

fs.rmSync(work, { recursive: true, force: true });
fs.rmSync(sets, { recursive: true, force: true });
town();
abroad();
quiet();
hostile();
