/* trend.test.mjs - the trend and the rules: what a supervisor does there. */
import assert from "node:assert/strict";
import path from "node:path";
import { after, before, test } from "node:test";
import { look, sets, start } from "./lib.mjs";

const trend = path.join(sets, "town/trend.html"), rules = path.join(sets, "hostile/rules.html");
let browser;

before(async () => { browser = await start(); });
after(() => browser?.close());

/* The rows of the table of that name, as texts; the first is its header. */
async function table(page, name) {
	return page.locator("table", { has: page.locator("caption", { hasText: name }) }).first()
		.evaluate(t => [...t.rows].map(r => [...r.cells].map(c => c.textContent)));
}
const column = (rows, name) => rows.slice(1).map(r => Number(r[rows[0].indexOf(name)]));
const total = list => list.reduce((a, b) => a + b, 0);

test("the same sums by week, by rule and by group", async () => {
	const p = await look(browser, trend);
	const weeks = await table(p.page, "Signals and findings by week");
	const matrix = async name => (await table(p.page, name)).slice(1)
		.map(r => total(r.slice(1).map(Number)));

	const activations = total(column(weeks, "Activations")), begun = total(column(weeks, "Findings begun"));
	assert.ok(activations > 1000 && begun > 30, `${activations} activations, ${begun} findings`);
	assert.equal(total(await matrix("Activations by group and week, in numbers")), activations);
	assert.equal(total(await matrix("Alarms by group and week, in numbers")), total(column(weeks, "Alarms")));
	assert.equal(total(await matrix("Findings begun by group and week, in numbers")), begun);
	assert.equal(total(await matrix("Findings begun by rule and week, in numbers")), begun);
	await p.close();
});

test("a drawing says in words what it shows", async () => {
	const p = await look(browser, trend);
	const names = await p.page.$$eval("svg[role=img]", list => list.map(s => s.getAttribute("aria-label")));

	assert.ok(names.length > 5);
	for (const name of names)
		assert.match(name, /: (none|\d+) in \d+ covered weeks?(, most \d+ in the week of \d{4}-\d\d-\d\d)?$/);
	await p.close();
});

test("the numbers open by the keyboard", async () => {
	const p = await look(browser, trend);
	const details = p.page.locator("details").first();

	assert.equal(await details.locator("table").isVisible(), false);
	await details.locator("summary").focus();
	await p.page.keyboard.press("Enter");
	assert.equal(await details.locator("table").isVisible(), true);
	await p.close();
});

test("a rule of the trend leads to its place among the rules", async () => {
	const p = await look(browser, trend);

	await p.page.getByRole("link", { name: "chatter", exact: true }).click();
	await p.page.waitForURL(/rules\.html#chatter$/);
	assert.equal(await p.page.locator("h2#chatter").isVisible(), true);
	await p.close();
});

test("a setting in force, and who set it", async () => {
	const p = await look(browser, rules);
	const rows = await table(p.page, "Settings of chatter");
	const bursts = rows.filter(r => r[0] === "bursts");

	assert.deepEqual(bursts[0].slice(1, 4), ["3", "2", "everywhere"]);
	assert.match(bursts[1].join(" "), /\* +set by <script>window\.pwned=1<\/script> who set it in \S*settings\.csv/);
	assert.match(bursts[2].join(" "), /account="><img src=x/);
	await p.close();
});
