/* checks.test.mjs - every check of lib.mjs passes a sound page and finds fault with a broken
 * one, so that none of them is green because it looks at nothing. */
import assert from "node:assert/strict";
import { createHash } from "node:crypto";
import fs from "node:fs";
import os from "node:os";
import path from "node:path";
import { after, before, test } from "node:test";
import { MARKS, axe, focus, links, look, motion, policy, shape, sideways, start, torn, unscripted, valid }
	from "./lib.mjs";

let browser, folder;

before(async () => {
	browser = await start();
	folder = fs.mkdtempSync(path.join(os.tmpdir(), "pages."));
});
after(async () => {
	await browser?.close();
	fs.rmSync(folder, { recursive: true, force: true });
});

/* A sound page; `change` takes its parts and may spoil them. */
function page(change = {}) {
	const parts = { lang: ' lang="en"', head: "", style: "main { color: #222 }", script: "", policy: null,
		body: '<h1>Sound</h1>\n<p>A <a href="#list">list</a>.</p>\n<table id="list"><caption>Things</caption>' +
			'<tr><th scope="col">what</th></tr><tr><td>one</td></tr></table>', ...change };
	const hash = text => `'sha256-${createHash("sha256").update(text).digest("base64")}'`;
	const csp = parts.policy ?? `default-src 'none'; style-src ${hash(parts.style)}` +
		(parts.script ? `; script-src ${hash(parts.script)}` : "");
	const file = path.join(folder, "page.html");

	fs.writeFileSync(file, `<!DOCTYPE html>
<html${parts.lang}>
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="${csp}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Sound</title>
<style>${parts.style}</style>
${parts.head}</head>
<body>
<main>
${parts.body}
</main>
${parts.script ? `<script>${parts.script}</script>` : ""}
</body>
</html>
`);
	return file;
}

async function seen(file, check, options) {
	const p = await look(browser, file, options);
	try {
		const got = await check(p.page);
		return check === settle ? p.faults : got;
	} finally {
		await p.close();
	}
}
const settle = page => page.waitForTimeout(200);	/* what the page does by itself, is done */

const checks = {
	"valid": (file) => valid(file),
	"axe": (file) => axe(browser, file),
	"axe dark": (file) => axe(browser, file, { scheme: "dark" }),
	"shape": (file) => seen(file, shape),
	"sideways": (file) => seen(file, sideways, { width: 360 }),
	"torn": (file) => seen(file, torn, { width: 703, print: true }),
	"links": (file) => seen(file, page => links(page, file)),
	"focus": (file) => seen(file, focus),
	"policy": (file) => policy(browser, file),
	"motion": (file) => motion(browser, file),
	"scripts off": (file) => unscripted(browser, file),
	"console and network": (file) => seen(file, settle),
};

const sound = '<h1>Sound</h1>\n<p>Text.</p>';
const open = "default-src 'none'; img-src *; connect-src *; style-src 'unsafe-inline'; script-src 'unsafe-inline'";

/* [check, what is wrong, how the page is spoilt, what the fault must say] */
const broken = [
	["valid", "an element that is not closed", { body: "<h1>Sound</h1><p><b>x</p>" }, /close-order/],
	["valid", "two equal ids", { body: '<h1>S</h1><p id="a">x</p><p id="a">y</p>' }, /no-dup-id/],
	["axe", "an input without a name", { body: `${sound}<input type="text">` }, /axe label/],
	["axe", "text too pale", { style: "p { color: #bbb; background: #fff }" }, /color-contrast/],
	["axe dark", "text too dark on dark",
		{ style: "@media (prefers-color-scheme: dark) { p { color: #444; background: #000 } }" }, /color-contrast/],
	["shape", "no language", { lang: "" }, /no lang/],
	["shape", "a policy that lets everything in", { policy: "default-src *" }, /policy/],
	["shape", "a text that became an element", { body: '<h1>S</h1><b id="pwned">x</b>' }, /became a script/],
	["shape", "a text that became a script", { script: "window.pwned = 1" }, /became a script/],
	["shape", "a script as a link", { body: '<h1>S</h1><a href="javascript:window.pwned=1">x</a>' }, /href=javascript/],
	["shape", "a link to elsewhere", { body: '<h1>S</h1><a href="https://pages.invalid/">x</a>' }, /href=https/],
	["shape", "an attribute that runs", { body: '<h1>S</h1><p onclick="x()">x</p>' }, /has onclick/],
	["shape", "marks of direction", { body: `<h1>S</h1><p>${MARKS}</p>` }, /direction/],
	["shape", "a table without headers",
		{ body: "<h1>S</h1><table><caption>x</caption><tr><td>x</td></tr></table>" }, /without headers/],
	["shape", "a table without a name",
		{ body: "<h1>S</h1><table><tr><th>x</th></tr></table>" }, /without a name/],
	["shape", "a place that is not there", { body: '<h1>S</h1><a href="#none">x</a>' }, /leads nowhere/],
	["torn", "a column of one letter", { style: "p { width: 1px; overflow-wrap: anywhere }" }, /torn: list in a/],
	["sideways", "a row too wide", { style: "p { width: 700px }" }, /wider than 360/],
	["links", "a page that is not there", { body: '<h1>S</h1><a href="none.html">x</a>' }, /leads/],
	["focus", "no outline", { style: "a:focus { outline: 0 }" }, /no sign of focus/],
	["policy", "an open policy", { policy: open }, /an added script ran.*an attribute ran.*connect-src.*img-src/],
	["motion", "something that moves", { style: "p { transition: color 1s }" }, /moves: p/],
	["scripts off", "a script that shows",
		{ body: `${sound}<p id="more"></p>`, script: "document.getElementById('more').textContent = 'only now'" },
		/only now/],
	["console and network", "an error", { script: "missing()" }, /missing is not defined/],
	["console and network", "a warning", { script: "console.warn('hm')" }, /console warning: hm/],
	["console and network", "an image from elsewhere",
		{ policy: open, body: `${sound}<img src="https://pages.invalid/a.png" alt="x">` }, /request: https/],
	["console and network", "an image that the policy refuses",
		{ body: `${sound}<img src="https://pages.invalid/a.png" alt="x">` }, /console error/],
	["console and network", "a file beside", { policy: "default-src 'none'; img-src file:",
		body: `${sound}<img src="other.png" alt="x">` }, /request: file/],
];

for (const [name, check] of Object.entries(checks))
	test(`${name}: nothing against a sound page`, async () => {
		assert.deepEqual(await check(page()), []);
	});
for (const [name, what, change, wanted] of broken)
	test(`${name}: finds ${what}`, async () => {
		assert.match((await checks[name](page(change))).join(" "), wanted);
	});
