/* all.test.mjs - what holds for every page that the program writes, whoever made it. */
import assert from "node:assert/strict";
import fs from "node:fs";
import path from "node:path";
import { after, before, describe, test } from "node:test";
import { Faults, SCHEMES, WIDTHS, allSets, axe, focus, links, look, motion, pages, policy, sets, shape,
	sideways, start, torn, unscripted, valid } from "./lib.mjs";

/* Pages of one folder are alike: these many of them are opened, all are validated. */
const SOME = 4;

/* The sets that have little to show are looked at in two ways instead of four. */
const every = WIDTHS.flatMap(width => SCHEMES.map(scheme => ({ width, scheme })));
const ways = set => ["abroad", "quiet"].includes(set) ? [every[0], every[3]] : every;
let browser;

before(async () => { browser = await start(); });
after(() => browser?.close());

for (const set of allSets())
	describe(set, { concurrency: 2 }, () => {
		test(`${set}: there are pages`, () => {
			assert.ok(pages(set).length > 0, `no page in ${path.join(sets, set)}`);
		});
		test(`${set}: valid`, async () => {
			const faults = new Faults();

			for (const file of pages(set))
				faults.add(path.relative(sets, file), await valid(file));
			faults.check();
		});
		for (const file of pages(set, SOME)) {
			test(path.relative(sets, file).slice(0, 60), async () => {
				const faults = new Faults();

				for (const { width, scheme } of ways(set)) {
					const p = await look(browser, file, { width, scheme }), where = `${width} ${scheme}`;
					faults.add(where, await sideways(p.page));
					if (width === 360 && scheme === "light") {
						faults.add(where, await shape(p.page));
						faults.add(where, await links(p.page, file));
					}
					if (scheme === "light")
						faults.add(where, await focus(p.page));
					faults.add(where, p.faults);
					await p.close();
					faults.add(where, await axe(browser, file, { width, scheme }));
				}
				const paper = await look(browser, file, { width: 703, print: true });	/* A4 within its margins */
				faults.add("print", await sideways(paper.page));
				faults.add("print", await torn(paper.page));
				await paper.close();
				faults.add("motion", await motion(browser, file));
				faults.add("scripts off", await unscripted(browser, file));
				faults.add("policy", await policy(browser, file));
				faults.check();
			});
		}
	});

/* Texts from outside are there to read, letter by letter. */
test("hostile: every text is still there", () => {
	const text = pages("hostile").map(f => fs.readFileSync(f, "utf8")).join("\n");
	const wanted = ["&lt;script&gt;window.pwned=1&lt;/script&gt;", "&lt;img src=x onerror=window.pwned=1&gt;",
		"&amp;lt;b&amp;gt;&amp;amp;&amp;#x3c;", "javascript:window.pwned=1", "&lt;/title&gt;&lt;/style&gt;",
		"\u0628\u0627\u0628", "\\u202E"];

	assert.deepEqual(wanted.filter(w => !text.includes(w)), []);
});
