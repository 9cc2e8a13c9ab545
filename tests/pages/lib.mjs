/* lib.mjs - opens the written pages as people do, and says what is wrong with them.
 *
 * A page is opened by file:// in a browser context of its own. Every check gives a list of
 * faults as texts; an empty list is good. tests/pages/checks.test.mjs shows each of them a
 * page that it must find fault with.
 *
 *     const p = await look(browser, file, { width: 360, scheme: "dark" });
 *     await p.page.keyboard.press("Tab"); ...
 *     p.faults		what went to the console, to the network, or was refused by the policy
 *     await p.close();
 */
import assert from "node:assert/strict";
import fs from "node:fs";
import { createRequire } from "node:module";
import path from "node:path";
import { pathToFileURL } from "node:url";

const built = process.env.PAGES ?? path.resolve(import.meta.dirname, "../../build/pages");
const require = createRequire(path.join(built, "package.json"));
const { chromium } = require("playwright-core");
const { HtmlValidate } = require("html-validate");
const AXE = require.resolve("axe-core/axe.min.js");

export const sets = path.join(built, "out");
export const shots = path.join(built, "shots");

/* Texts that are no fault by themselves, but must neither stretch nor turn a page. */
export const LONG = "W".repeat(120);
export const ARABIC = "\u0628\u0627\u0628 \u0627\u0644\u062d\u062f\u064a\u0642\u0629";
/* Overrides and marks of direction, a zero-width blank, a byte-order mark, an escape. */
export const MARKS = "\u202e\u2066\u200f\u200b\ufeff\u001b[31m";

export const WIDTHS = [360, 1280], SCHEMES = ["light", "dark"];

/* Every page of a set, by path: a new one is tested without being named anywhere. Of
 * folders such as site/ the first and the largest few stand for all where `some` is given. */
export function pages(set, some = 0) {
	const all = fs.readdirSync(path.join(sets, set), { recursive: true })
		.filter(name => name.endsWith(".html")).sort().map(name => path.join(sets, set, name));
	const folders = new Map();

	for (const file of all) {
		const folder = path.dirname(file);
		folders.set(folder, [...(folders.get(folder) ?? []), file]);
	}
	return [...folders.entries()].flatMap(([folder, list]) => {
		if (!some || folder === path.join(sets, set) || list.length <= some)
			return list;
		const size = new Map(list.map(f => [f, fs.statSync(f).size]));
		return list.toSorted((a, b) => size.get(b) - size.get(a)).slice(0, some);
	});
}

export function allSets() {
	return fs.readdirSync(sets).sort();
}

/* `--no-sandbox`: tests run as root in CI. The rest keeps the browser from talking. */
export function start() {
	return chromium.launch({
		executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
		headless: true,
		args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
			"--disable-background-networking", "--disable-component-update", "--disable-sync"],
	});
}

/* options: width, height, scheme, js (false: scripts off), bypass (the page's policy does
 * not hold: only for axe, which is a script), reduced (motion), hash (behind the address). */
export async function look(browser, file, options = {}) {
	const { width = 1280, height = 900, scheme = "light", js = true, bypass = false,
		reduced = false, hash = "", print = false } = options;
	const context = await browser.newContext({
		viewport: { width, height }, colorScheme: scheme, javaScriptEnabled: js, bypassCSP: bypass,
		reducedMotion: reduced ? "reduce" : "no-preference", acceptDownloads: true,
		timezoneId: "Europe/Vienna", locale: "en-GB",
	});
	const page = await context.newPage(), faults = [], url = pathToFileURL(file).href;

	page.on("console", m => {
		if (["error", "warning", "assert"].includes(m.type()))
			faults.push(`console ${m.type()}: ${m.text()}`);
	});
	page.on("pageerror", e => faults.push(`script: ${e.message}`));
	page.on("dialog", d => { faults.push(`dialog: ${d.message()}`); d.dismiss(); });
	page.on("request", r => {
		if (r.url().split("#")[0] !== url && !/^(data|blob):/.test(r.url()))
			faults.push(`request: ${r.url()}`);
	});
	if (print)
		await page.emulateMedia({ media: "print" });
	await page.goto(url + hash);
	return { page, context, faults, close: () => context.close() };
}

/* Wider than the window, so that the page itself would have to be moved sideways. A part
 * that scrolls within itself is none. */
export function sideways(page) {
	return page.evaluate(() => {
		const room = document.documentElement.clientWidth, out = [];
		if (document.scrollingElement.scrollWidth <= room)
			return out;
		const scrolls = e => e && e !== document.body &&
			(getComputedStyle(e).overflowX !== "visible" || scrolls(e.parentElement));
		for (const e of document.body.querySelectorAll("*")) {
			const box = e.getBoundingClientRect();
			if (box.right > room + 1 && out.length < 5 && !scrolls(e.parentElement))
				out.push(`wider than ${room}: ${e.tagName.toLowerCase()}.${e.getAttribute("class") ?? ""}` +
					` to ${Math.round(box.right)}: ${e.textContent.trim().slice(0, 60)}`);
		}
		return out.length ? out : [`the page is ${document.scrollingElement.scrollWidth} wide`];
	});
}

/* Words of common length that a line break tears apart: a column has shrunk too far. Only
 * what can break nowhere else counts: letters alone, to 20 of them. */
export function torn(page) {
	return page.evaluate(() => {
		const out = new Set(), range = document.createRange();
		const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
		for (let text = texts.nextNode(); text; text = texts.nextNode()) {
			if (!text.parentElement.checkVisibility())
				continue;
			for (const word of text.data.matchAll(/(?<![^\s(])[a-zA-Z]{2,20}(?![^\s.,;:)])/g)) {
				range.setStart(text, word.index);
				range.setEnd(text, word.index + word[0].length);
				const lines = new Set([...range.getClientRects()].map(r => Math.round(r.top)));
				if (lines.size > 1)
					out.add(`torn: ${word[0]} in ${text.parentElement.tagName.toLowerCase()}`);
			}
		}
		return [...out].slice(0, 8);
	});
}

/* What every page says of itself, and what texts from outside must not have become. */
export function shape(page) {
	return page.evaluate(() => {
		const out = [], say = (bad, text) => bad && out.push(text);
		const csp = document.querySelector("head > meta[http-equiv=Content-Security-Policy]");
		const bidi = /[\u202a-\u202e\u2066-\u2069\u200e\u200f\u061c\u001b\u0000]/;

		say(!document.documentElement.lang, "no lang");
		say(!document.title.trim(), "no title");
		say(document.querySelectorAll("h1").length !== 1, "not one h1");
		say(!document.querySelector("main"), "no main");
		say(!document.querySelector("meta[name=viewport]"), "no viewport");
		say(!csp || !/default-src 'none'/.test(csp.content), "no policy that begins with nothing");
		say(csp && /unsafe-inline|unsafe-eval|\*|https?:/.test(csp.content), "a policy that allows more");
		say(window.pwned !== undefined || document.getElementById("pwned"), "a text became a script");
		for (const e of document.querySelectorAll("[src], [href], [action], [data], [srcset], [ping]"))
			for (const name of ["src", "href", "action", "data", "srcset", "ping", "xlink:href"]) {
				const to = (e.getAttribute(name) ?? "").trim();
				say(/^(javascript|vbscript|https?|file|\/\/|\/)/i.test(to), `${name}=${to.slice(0, 60)}`);
			}
		for (const e of document.querySelectorAll("*"))
			for (const a of e.attributes) {
				say(/^on/i.test(a.name), `${e.tagName} has ${a.name}`);
				say(bidi.test(a.value), `${e.tagName} ${a.name} turns the text`);
			}
		say(bidi.test(document.documentElement.textContent), "marks of direction that are obeyed");
		for (const t of document.querySelectorAll("table")) {
			say(!t.querySelector("th"), `a table without headers: ${t.textContent.trim().slice(0, 40)}`);
			say(!t.caption && !t.getAttribute("aria-label") && !t.getAttribute("aria-labelledby"),
				`a table without a name: ${t.textContent.trim().slice(0, 40)}`);
		}
		for (const a of document.querySelectorAll("a[href^='#']")) {
			const id = decodeURIComponent(a.getAttribute("href").slice(1));
			say(id && !document.getElementById(id), `#${id} leads nowhere`);
		}
		return [...new Set(out)];
	});
}

/* A script that comes in later must not run, and nothing may be fetched: the policy holds. */
export async function policy(browser, file) {
	const p = await look(browser, file);
	const got = await p.page.evaluate(async () => {
		const out = [], script = document.createElement("script"), image = new Image();

		script.textContent = "window.ran = true";
		document.head.append(script);
		if (window.ran)
			out.push("an added script ran");
		const div = document.createElement("div");
		div.setAttribute("onclick", "window.ran = true");
		document.body.append(div);
		div.click();
		if (window.ran)
			out.push("an attribute ran");
		const style = document.createElement("style");
		style.textContent = "h1 { margin-left: 77px }";
		document.head.append(style);
		if (getComputedStyle(document.querySelector("h1")).marginLeft === "77px")
			out.push("an added style holds");
		const refused = new Set();
		document.addEventListener("securitypolicyviolation", e => refused.add(e.effectiveDirective));
		await fetch("https://pages.invalid/").catch(() => {});
		image.src = "https://pages.invalid/a.png";
		await new Promise(done => { image.onerror = image.onload = done; });
		for (const what of ["connect-src", "img-src"])
			if (!refused.has(what))
				out.push(`the policy leaves ${what} open`);
		return out;
	});
	await p.close();
	return got;
}

/* Links to other pages of ours lead to files that are there, and to a place in them. What
 * stands behind # may also be a filter of the board ("level=now"). */
export async function links(page, file) {
	const to = await page.$$eval("a[href]", list => list.map(a => a.getAttribute("href")));
	return [...new Set(to)].filter(h => !h.startsWith("#") && !/^[a-z]+:/i.test(h)).flatMap(h => {
		const [where, place] = h.split("#").map(decodeURIComponent);
		const target = path.resolve(path.dirname(file), where);
		if (!target.startsWith(sets))
			return [`${h} leads out of the folder`];
		if (!fs.existsSync(target))
			return [`${h} leads nowhere`];
		return !place || place.includes("=") || fs.readFileSync(target, "utf8").includes(`id="${place}"`)
			? [] : [`${h} leads to no place of that page`];
	});
}

/* Every violation that axe-core knows, its advice on good practice included; of the page as
 * it is once `then(page)` was done to it. */
export async function axe(browser, file, options = {}) {
	const p = await look(browser, file, { ...options, bypass: true });
	await options.then?.(p.page);
	await p.page.addScriptTag({ path: AXE });
	const found = await p.page.evaluate(() => globalThis.axe.run(document, { resultTypes: ["violations"] }));
	await p.close();
	if (found.passes.length === 0)
		return ["axe looked at nothing"];
	return found.violations.map(v => `axe ${v.id}: ${v.help}: ${v.nodes.length} times, such as ` +
		v.nodes.slice(0, 2).map(n => `${n.html.slice(0, 160)} (${n.failureSummary})`).join("; "));
}

/* With scripts off everything that scripts would show is there: the same lines of text,
 * but for what only a script can work (controls, and what is marked data-script). */
export async function unscripted(browser, file) {
	const text = async js => {
		const p = await look(browser, file, { js });
		const got = await p.page.evaluate(() => {
			for (const d of document.querySelectorAll("details"))
				d.open = true;
			for (const e of document.querySelectorAll("[data-script], noscript, button, select, input"))
				e.remove();
			return document.querySelector("main")?.innerText ?? "";
		});
		await p.close();
		return new Set(got.split(/[\n\t]+/).map(l => l.trim()).filter(Boolean));
	};
	const [without, with_] = [await text(false), await text(true)];
	const lost = [...with_].filter(l => !without.has(l));

	if (without.size === 0)
		return ["nothing is shown without scripts"];
	return lost.slice(0, 5).map(l => `shown only by scripts: ${l.slice(0, 100)}`);
}

/* Whatever the keyboard reaches is seen to be reached. */
export async function focus(page, most = 40) {
	const faults = [];

	for (let i = 0; i < most; i++) {
		await page.keyboard.press("Tab");
		const bad = await page.evaluate(() => {
			const e = document.activeElement;
			if (!e || e === document.body)
				return "end";
			const s = getComputedStyle(e), box = e.getBoundingClientRect();
			const shown = (s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 1) ||
				s.boxShadow !== "none";
			const name = `${e.tagName.toLowerCase()} "${(e.textContent || e.getAttribute("aria-label") ||
				e.id).trim().slice(0, 40)}"`;
			if (!shown)
				return `no sign of focus on ${name}`;
			return box.width && box.height ? "" : `focus on something unseen: ${name}`;
		});
		if (bad === "end")
			break;
		if (bad)
			faults.push(bad);
	}
	return [...new Set(faults)];
}

/* Nothing moves for those who asked for that. */
export async function motion(browser, file) {
	const p = await look(browser, file, { reduced: true });
	const bad = await p.page.evaluate(() => [...document.querySelectorAll("*")].filter(e => {
		const s = getComputedStyle(e);
		return /[1-9]/.test(s.transitionDuration) || (s.animationName !== "none" && /[1-9]/.test(s.animationDuration));
	}).slice(0, 3).map(e => `moves: ${e.tagName.toLowerCase()}.${e.getAttribute("class") ?? ""}`));
	await p.close();
	return bad;
}

/* The standard's rules, and those of good practice that html-validate knows. Left out:
 * long-title is a search engine's wish. */
const validator = new HtmlValidate({
	extends: ["html-validate:standard", "html-validate:a11y", "html-validate:document"],
	rules: { "long-title": "off" },
});
export async function valid(file) {
	const report = await validator.validateString(fs.readFileSync(file, "utf8"));
	return report.results.flatMap(r => r.messages).slice(0, 10).map(m =>
		`html ${m.line}:${m.column} ${m.ruleId}: ${m.message}`);
}

/* Fails with all faults at once, each with where it was found. */
export class Faults {
	constructor() { this.list = []; }
	add(where, faults) {
		this.list.push(...faults.map(f => `${where}: ${f}`));
	}
	check() {
		assert.equal(this.list.length, 0, `\n${this.list.join("\n")}`);
	}
}
