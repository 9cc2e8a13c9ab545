/* shots.mjs [PATTERN] - pictures of the pages for people to look at, in build/pages/shots:
 * phone, desktop, each light and dark; as printed, also as A4 and Letter. */
import fs from "node:fs";
import path from "node:path";
import { SCHEMES, allSets, look, pages, sets, shots, start } from "./lib.mjs";

const MOST = 6000;	/* pixels of height in one picture; more is cut off */
const browser = await start(), pattern = new RegExp(process.argv[2] ?? ".");

for (const set of allSets())
	for (const file of pages(set, 3).filter(f => pattern.test(path.relative(sets, f)))) {
		const name = path.relative(sets, file).replace(/\.html$/, "").replaceAll(path.sep, "-").slice(0, 60);
		for (const [size, width] of [["phone", 360], ["desktop", 1280]])
			for (const scheme of SCHEMES) {
				const p = await look(browser, file, { width, height: size === "phone" ? 740 : 900, scheme });
				const height = await p.page.evaluate(() => document.documentElement.scrollHeight);
				await p.page.setViewportSize({ width, height: Math.min(height, MOST) });
				fs.mkdirSync(shots, { recursive: true });
				await p.page.screenshot({ path: path.join(shots, `${name}-${size}-${scheme}.png`) });
				await p.close();
			}
		const paper = await look(browser, file, { width: 718, print: true });	/* A4 within its margins */
		const tall = await paper.page.evaluate(() => document.documentElement.scrollHeight);
		await paper.page.setViewportSize({ width: 718, height: Math.min(tall, MOST) });
		await paper.page.screenshot({ path: path.join(shots, `${name}-print.png`) });
		await paper.close();
		for (const format of ["A4", "Letter"]) {
			const p = await look(browser, file, { print: true });
			await p.page.pdf({ path: path.join(shots, `${name}-${format}.pdf`), format, printBackground: false });
			await p.close();
		}
	}
await browser.close();
