/* board.test.mjs - filters, sorting, keys and the decisions file of board.html. */
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import fs from "node:fs";
import os from "node:os";
import path from "node:path";
import { after, before, test } from "node:test";
import { axe, look, sets, start } from "./lib.mjs";

const file = path.join(sets, "town", "board.html");
const work = fs.mkdtempSync(path.join(os.tmpdir(), "board-"));
let browser;

before(async () => { browser = await start(); });
after(async () => {
	await browser?.close();
	fs.rmSync(work, { recursive: true, force: true });
});

/* Opens the board, runs `how`, and sees that nothing went wrong meanwhile. */
async function on(hash, how, options = {}) {
	const p = await look(browser, file, { hash, ...options });
	await how(p.page, p);
	assert.deepEqual(p.faults, []);
	await p.close();
}

const shown = page => page.$$eval("section.list tbody tr", list =>
	list.filter(tr => tr.checkVisibility()).map(tr => ({ id: tr.id, ...tr.dataset })));
const ids = async page => (await shown(page)).map(r => r.id);
const focused = page => page.evaluate(() => document.activeElement.closest("tr")?.id ?? document.activeElement.name ?? "");
const at = id => `[id="${id}"]`;	/* it may begin with a digit */
const hash = page => page.evaluate(() => location.hash);

test("all stand there, in the order of lists", () => on("", async page => {
	const all = await shown(page);
	assert.ok(all.length > 50);
	assert.equal(await page.textContent("#shown"), `All ${all.length} findings shown.`);
	const levels = all.filter(r => r.state !== "cleared").map(r => ["now", "soon", "later"].indexOf(r.level));
	assert.equal(levels.indexOf(1), levels.lastIndexOf(0) + 1, "what is at now stands first");
}));

for (const [name, choose, want] of [
	["level", page => page.check("[name=level][value=later]"), r => r.level === "later"],
	["rule", page => page.selectOption("[name=rule]", "chatter"), r => r.rule === "chatter"],
	["group", page => page.selectOption("[name=group]", "market"), r => r.group === "market"],
	["kind", page => page.selectOption("[name=kind]", "smoke"), r => r.kind === "smoke"],
	["state", page => page.selectOption("[name=state]", "cleared"), r => r.state === "cleared"],
	["decided", page => page.selectOption("[name=decided]", "yes"), r => r.decided === "yes"],
])
	test(`filter by ${name}, kept in the address`, () => on("", async page => {
		const all = await shown(page), right = all.filter(want).map(r => r.id);
		assert.ok(right.length > 0 && right.length < all.length, `${right.length} of ${all.length}`);
		await choose(page);
		await page.waitForFunction(n => document.querySelector("#shown").textContent.startsWith(n + " of "), right.length);
		assert.deepEqual(await ids(page), right);
		const kept = await hash(page);
		assert.match(kept, new RegExp(`^#${name}=`));
		await on(kept, async again => assert.deepEqual(await ids(again), right));
		await page.click("[name=clear]");
		assert.equal((await ids(page)).length, all.length);
		assert.equal((await hash(page)).replace("#", ""), "");
	}));

test("filter by text: every word, wherever it stands", () => on("", async page => {
	const all = await page.$$eval("section.list tbody tr", list => list.map(tr => [tr.id, tr.textContent.toLowerCase()]));
	const right = all.filter(([, t]) => t.includes("smoke") && t.includes("school")).map(([id]) => id);
	assert.ok(right.length > 0 && right.length < all.length);
	await page.fill("[name=text]", "SCHOOL  smoke");
	await page.waitForFunction(n => document.querySelector("#shown").textContent.startsWith(n + " of "), right.length);
	assert.deepEqual(await ids(page), right);
	assert.match(await hash(page), /^#text=SCHOOL/);
}));

for (const [filter, left] of [
	["level=later", r => r.level !== "later"], ["level=now", r => r.level !== "now"],
	["state=cleared", r => r.state !== "cleared"], ["state=new", r => r.state !== "new"],
	["kind=smoke", r => r.kind !== "smoke"], ["text=nowhere-to-be-found", () => true],
])
	test(`what ${filter} hides of life safety is told by itself, then what more is at now`, () => on("#" + filter,
		async page => {
			const rows = await page.$$eval("section.list tbody tr", list => list.map(tr => ({ ...tr.dataset })));
			const hidden = rows.filter(left), cleared = r => r.state === "cleared";
			const life = hidden.filter(r => "life" in r && !cleared(r)).length;
			const now = hidden.filter(r => !("life" in r) && r.level === "now" && !cleared(r)).length;
			const done = hidden.filter(r => "life" in r && cleared(r)).length;
			const said = [life && `${life} of life safety`, now && `${now}${life ? " more" : ""} open at now`,
				done && `${done} of life safety that ${done === 1 ? "is" : "are"} cleared`].filter(Boolean);

			assert.ok(hidden.length > 0);
			assert.equal(await page.textContent("#shown"), `${rows.length - hidden.length} of ${rows.length} ` +
				`findings shown.${said.length ? ` The filter hides ${said.join(", and ")}.` : ""}`);
		}));

test("the address is read when it changes, and nonsense in it harms nothing", () => on("", async page => {
	const all = (await ids(page)).length;
	await page.evaluate(() => { location.hash = "#level=later"; });
	await page.waitForFunction(() => !document.querySelector("#shown").textContent.startsWith("All"));
	await page.evaluate(() => { location.hash = "#rule=%3Cscript%3E&sort=nonsense&level=loud"; });
	await page.waitForFunction(() => document.querySelector("#shown").textContent.startsWith("0 of"));
	assert.equal(await page.inputValue("[name=rule]"), "<script>");
	await page.evaluate(() => { location.hash = "#%E0%A4%A&text=%"; });
	await page.evaluate(() => { location.hash = ""; });
	await page.waitForFunction(n => document.querySelector("#shown").textContent === `All ${n} findings shown.`, all);
}));

test("sorting by a column, both ways, kept in the address", () => on("", async page => {
	const first = "section.list:has(#now)";
	const sites = () => page.$$eval(`${first} tbody tr`, list => list.map(tr => tr.cells[2].textContent));
	const before = await sites(), sorted = before.toSorted((a, b) =>
		a.localeCompare(b, undefined, { numeric: true, sensitivity: "base" }));

	assert.notDeepEqual(before, sorted);
	await page.click(`${first} th.site button`);
	assert.deepEqual(await sites(), sorted);
	assert.equal(await page.getAttribute(`${first} th.site`, "aria-sort"), "ascending");
	assert.equal(await hash(page), "#sort=site");
	await page.click(`${first} th.site button`);
	assert.equal((await sites())[0], sorted.at(-1));
	assert.equal(await page.getAttribute(`${first} th.site`, "aria-sort"), "descending");
	await on("#sort=-site", async again => assert.equal(await again.$eval(`${first} tbody tr`, tr =>
		tr.cells[2].textContent), sorted.at(-1)));
	await page.click(`${first} th.level button`);
	assert.deepEqual(await sites(), before);
	assert.equal(await page.getAttribute(`${first} th.site`, "aria-sort"), null);
}));

test("keys", () => on("", async page => {
	const list = await ids(page), key = k => page.keyboard.press(k);

	await key("j");
	assert.equal(await focused(page), list[0]);
	await key("j");
	await key("ArrowDown");
	assert.equal(await focused(page), list[2]);
	await key("k");
	assert.equal(await focused(page), list[1]);
	await key("x");
	await key("j");
	await key("Space");
	assert.deepEqual(await page.$$eval("tr.marked", l => l.map(tr => tr.id)), list.slice(1, 3));
	assert.match(await page.textContent("#bar"), /2 findings marked/);
	await key("/");
	assert.equal(await focused(page), "text");
	await page.keyboard.type("jxud?");
	assert.equal(await page.inputValue("[name=text]"), "jxud?");
	await page.waitForFunction(() => document.querySelector("#shown").textContent.startsWith("0 of"));
	assert.match(await page.textContent("#bar"), /2 not shown by the filter/);
	await key("Escape");
	assert.equal(await page.inputValue("[name=text]"), "");
	await key("Escape");
	await key("?");
	assert.equal(await page.getAttribute("#keys", "open"), "");
	await key("d");
	assert.equal(await page.isVisible("#decide"), true);
	await key("Escape");
	assert.equal(await page.isVisible("#decide"), false);
	await key("u");
	assert.equal(await page.isVisible("#bar"), false);
	/* With a modifier they belong to the browser. */
	await page.keyboard.press("Control+j");
	assert.equal((await page.$$("tr.marked")).length, 0);
}));

test("the last finding is the last", () => on("", async page => {
	const list = await ids(page);
	for (let i = 0; i < list.length + 3; i++)
		await page.keyboard.press("j");
	assert.equal(await focused(page), list.at(-1));
}));

async function decide(page, as, { until = "", who = "", why = "" }) {
	await page.keyboard.press("d");
	if (as)
		await page.check(`#decide [value=${as}]`);
	await page.fill("#decide [name=until]", until);
	await page.fill("#decide [name=who]", who);
	await page.fill("#decide [name=why]", why);
	await page.click("#add");
}

test("what is missing is told, and nothing is decided", () => on("", async page => {
	await page.keyboard.press("j");
	await page.keyboard.press("x");
	for (const [as, values, says] of [
		["", { who: "A" }, /what is decided/], ["planned", { who: "A" }, /needs a day/],
		["expected", { who: "A" }, /needs a day/], ["seen", { who: "  " }, /who decides/],
	]) {
		await decide(page, as, values);
		assert.match(await page.textContent("#wrong"), says);
		assert.equal(await page.isVisible("#decide"), true);
		await page.click("#cancel");
	}
	assert.equal((await page.$$(".unsaved")).length, 0);
}));

test("decisions become a file, the file is read, and the board shows them", async () => {
	const store = path.join(work, "tripsift.db"), again = path.join(work, "again.html");
	const env = { PATH: process.env.PATH, TZ: "UTC", LC_ALL: "C.UTF-8" };
	const run = (...words) => execFileSync(process.env.PROGRAM, [...words, "--db", store],
		{ env, maxBuffer: 1 << 26 }).toString();
	const why = `=1+2 "quoted", <b>bold</b> &; 'x'`, saved = path.join(work, "decisions.csv");
	let life, soon;

	fs.copyFileSync(path.join(process.env.PAGES, "work", "town", "tripsift.db"), store);
	await on("", async page => {
		const rows = await shown(page), open = rows.filter(r => r.state !== "cleared" && r.decided === "no");
		life = open.find(r => "life" in r).id;
		soon = open.find(r => !("life" in r) && r.level === "soon").id;
		await page.check(`${at(life)} input`);
		await decide(page, "seen", { who: "R. Moser" });
		await page.check(`${at(soon)} input`);
		await decide(page, "planned", { until: "2099-12-01", who: "A, Weber", why });
		assert.equal(await page.textContent(`${at(soon)} .unsaved`),
			`not recorded yet: planned by A, Weber until 2099-12-01 (${why})`);
		assert.match(await page.textContent("#bar"), /2 decisions in no file yet, not recorded/);
		await page.click("#to-file");
		assert.match(await page.textContent("#file"), /Nothing is recorded by this page/);
		const text = await page.inputValue("#csv");
		const [download] = await Promise.all([page.waitForEvent("download"), page.click("#save")]);
		assert.match(download.suggestedFilename(), /^decisions-\d{14}\.csv$/);
		await download.saveAs(saved);
		assert.equal(fs.readFileSync(saved, "utf8"), text);
		assert.match(await page.textContent("#bar"), /2 decisions saved to a file, not recorded/);
	});
	assert.match(run("ingest", saved), /2 stored/);
	fs.writeFileSync(again, run("triage", "--format", "html"));
	const p = await look(browser, again);
	assert.match(await p.page.textContent(`${at(life)} td:last-child`), /^seen by R\. Moser on /);
	/* The day begins by this machine's clock (UTC), and is told by the site's. */
	const told = await p.page.textContent(`${at(soon)} td:last-child`);
	assert.match(told, /^planned by A, Weber on \S+ until 2099-1[12]-\d\d \d\d:\d\d /);
	assert.ok(told.endsWith(` (${why})`), told);
	assert.equal(await p.page.getAttribute(`${at(soon)}`, "data-decided"), "yes");
	assert.deepEqual(p.faults, []);
	await p.close();
});

test("a decision is taken out again", () => on("", async page => {
	await page.keyboard.press("j");
	await page.keyboard.press("x");
	await decide(page, "seen", { who: "A" });
	await page.click("#to-file");
	await page.click("#pending button");
	assert.equal(await page.inputValue("#csv"), "finding,decision,who,until,why\n");
	assert.equal(await page.isDisabled("#save"), true);
	await page.click("#back");
	assert.equal((await page.$$(".unsaved")).length, 0);
	assert.equal(await page.isVisible("#bar"), false);
}));

test("without its script: all findings, and nothing that does not work", async () => {
	let all;
	await on("", async page => { all = await ids(page); });
	await on("", async page => {
		const rows = await page.$$("section.list tbody tr");
		assert.equal(rows.length, all.length);
		for (const what of ["#filter", "#bar", "#decide", "#file"])
			assert.equal(await page.isVisible(what), false, what);
		assert.equal(await page.isVisible("noscript p"), true);
	}, { js: false });
});

test("open dialogs pass axe too", async () => {
	for (const scheme of ["light", "dark"])
		assert.deepEqual(await axe(browser, file, { scheme, width: 360, then: async page => {
			await page.keyboard.press("j");
			await page.keyboard.press("x");
			await page.keyboard.press("d");
		} }), []);
});

/* What the page may hold at most, by sight of the limit in its own words. */
test("5,000 findings: the page says what it leaves out, and a key is answered", async () => {
	const big = path.join(work, "big"), store = path.join(work, "big.db"), html = path.join(work, "big.html");
	const env = { PATH: process.env.PATH, TZ: "UTC", LC_ALL: "C.UTF-8" }, rows = [];
	const time = (day, second) => new Date(Date.UTC(2026, 8, 1 + day, 8, 0, second)).toISOString();

	fs.mkdirSync(big);
	for (let i = 0; i < 5100; i++)
		for (const day of [0, 3])
			for (let k = 0; k < 3; k++)
				rows.push(`${10000 + i},${time(day, 9 * k)},zone-open,1`, `${10000 + i},${time(day, 9 * k + 3)},zone-close,1`);
	fs.writeFileSync(path.join(big, "events.csv"), "account,time,event,zone\n" + rows.join("\n") + "\n");
	fs.writeFileSync(path.join(big, "roster.csv"), "account,zone,device,name\n" +
		[...Array(5100).keys()].map(i => `${10000 + i},1,contact,door ${i}\n`).join(""));
	const run = (...words) => execFileSync(process.env.PROGRAM, [...words, "--db", store],
		{ env, maxBuffer: 1 << 28, stdio: ["ignore", "pipe", "ignore"] });
	run("ingest", big);
	fs.writeFileSync(html, run("triage", "--format", "html"));
	const p = await look(browser, html);
	assert.equal((await p.page.$$("section.list tbody tr")).length, 5000);
	assert.match(await p.page.textContent("main"), /100 more are left out of this page, which holds 5000/);
	await p.page.fill("[name=text]", "14999");
	await p.page.waitForFunction(() => /^1 of 5000/.test(document.querySelector("#shown").textContent));
	assert.deepEqual(p.faults, []);
	await p.close();
});
