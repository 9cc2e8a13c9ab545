/* board.js - filters, sorting, keys and the decisions file of board.html.
 *
 * The page is whole without it. What it keeps is in the address (after #) and, until they
 * are saved, the decisions in this window; nothing is sent or stored anywhere. */
(() => {
"use strict";

const one = (selector, at = document) => at.querySelector(selector);
const all = (selector, at = document) => [...at.querySelectorAll(selector)];

const lists = all("section.list").map((section) => ({
	section,
	body: one("tbody", section),
	table: one("table", section),
	count: one("h2 span", section),
	whole: one("h2 span", section).textContent,
	rows: [],
}));
const rows = [];
for (const list of lists) {
	for (const tr of all("tbody tr", list.section)) {
		const row = { tr, id: tr.id, list, place: rows.length, ...tr.dataset,
			life: "life" in tr.dataset, mark: null, shown: true, words: null };
		list.rows.push(row);
		rows.push(row);
	}
}
const byId = new Map(rows.map((row) => [row.id, row]));

/* ---- marks ---- */

const marked = new Set();
const pending = new Map();	/* finding -> decision that is in no file yet */
let saved = true;

const box = document.createElement("input");
box.type = "checkbox";
for (const row of rows) {
	row.mark = box.cloneNode();
	row.mark.setAttribute("aria-label", "mark " + row.id);
	one("th", row.tr).prepend(row.mark, " ");
}

function mark(row, on) {
	row.mark.checked = on;
	row.tr.classList.toggle("marked", on);
	if (on)
		marked.add(row);
	else
		marked.delete(row);
}

const count = (n, word) => n + " " + word + (n === 1 ? "" : "s");

function tellMarks() {
	const unseen = [...marked].filter((row) => !row.shown).length;
	const text = [];
	if (marked.size)
		text.push(count(marked.size, "finding") + " marked" +
			(unseen ? " (" + unseen + " not shown by the filter)" : ""));
	if (pending.size)
		text.push(count(pending.size, "decision") + (saved ? " saved to a file" : " in no file yet") +
			", not recorded");
	one("#bar p").textContent = text.join("; ");
	one("#to-decide").disabled = one("#unmark").disabled = marked.size === 0;
	one("#to-file").disabled = pending.size === 0;
	one("#bar").hidden = text.length === 0;
}

document.addEventListener("change", (event) => {
	const row = event.target.closest("tr") && byId.get(event.target.closest("tr").id);
	if (row && event.target === row.mark) {
		mark(row, row.mark.checked);
		tellMarks();
	}
});
one("#unmark").addEventListener("click", () => {
	for (const row of [...marked])
		mark(row, false);
	tellMarks();
});

/* ---- filter and order, kept in the address ---- */

const form = one("#filter");
const field = (name) => one("[name=" + name + "]", form);
const choices = ["rule", "group", "kind", "state", "decided"];
const columns = ["finding", "level", "site", "since", "decision"];
let order = { by: "level", down: false };

for (const name of ["rule", "group", "kind"]) {
	const select = field(name);
	const words = [...new Set(rows.map((row) => row[name]))].filter((word) => word).sort();
	for (const word of words)
		select.add(new Option(word));
	select.disabled = words.length === 0;
}

function words(row) {
	if (row.words === null)
		row.words = row.tr.textContent.toLowerCase();
	return row.words;
}

const levelBoxes = all("[name=level]", form);

/* Open life safety first; what is cleared is named last, and never adds to the open ones. */
function hides(life, now, cleared) {
	const text = [];
	if (life)
		text.push(life + " of life safety");
	if (now)
		text.push(now + (life ? " more" : "") + " open at now");
	if (cleared)
		text.push(cleared + " of life safety that " + (cleared === 1 ? "is" : "are") + " cleared");
	return text.length ? " The filter hides " + text.join(", and ") + "." : "";
}

function apply() {
	const text = field("text").value.toLowerCase().split(/\s+/).filter((word) => word);
	const levels = levelBoxes.filter((input) => input.checked).map((input) => input.value);
	const want = choices.map((name) => [name, field(name).value]).filter(([, v]) => v);
	let n = 0, life = 0, now = 0, cleared = 0;

	for (const list of lists) {
		let here = 0;
		for (const row of list.rows) {
			const shown = (levels.length === 0 || levels.includes(row.level)) &&
				want.every(([name, value]) => row[name] === value) &&
				text.every((word) => words(row).includes(word));
			if (shown !== row.shown) {
				row.shown = shown;
				row.tr.hidden = !shown;
			}
			here += shown;
			if (shown)
				continue;
			/* Life safety is a count by itself, whatever its level. */
			if (row.life && row.state === "cleared")
				cleared++;
			else if (row.life)
				life++;
			else if (row.level === "now" && row.state !== "cleared")
				now++;
		}
		if (list.table)
			list.table.hidden = here === 0;
		list.count.textContent = here === list.rows.length ? list.whole : here + " of " + list.whole;
		n += here;
	}
	one("#shown").textContent = n === rows.length ? "All " + count(n, "finding") + " shown."
		: n + " of " + count(rows.length, "finding") + " shown." + hides(life, now, cleared);
	tellMarks();
}

const collator = new Intl.Collator(undefined, { numeric: true, sensitivity: "base" });
const cell = (row, n) => row.tr.cells[n].textContent;
const keyOf = {
	finding: (row) => row.id,
	level: (row) => row.place,
	site: (row) => cell(row, 2),
	since: (row) => one("time", row.tr.cells[4]).dateTime,
	decision: (row) => (row.decided === "yes" ? "1" : "0") + cell(row, 6),
};

function sort() {
	const sign = order.down ? -1 : 1;
	for (const list of lists) {
		if (!list.body)
			continue;
		const keys = new Map(list.rows.map((row) => [row, keyOf[order.by](row)]));
		list.rows.sort((a, b) => {
			const x = keys.get(a), y = keys.get(b);
			return sign * (typeof x === "number" ? x - y : collator.compare(x, y)) ||
				a.place - b.place;
		});
		list.body.append(...list.rows.map((row) => row.tr));
		for (const th of all("thead th", list.section)) {
			if (th.classList.contains(order.by))
				th.setAttribute("aria-sort", order.down ? "descending" : "ascending");
			else
				th.removeAttribute("aria-sort");
		}
	}
}

for (const th of all("section.list thead th")) {
	const name = th.classList[0];
	if (!columns.includes(name))
		continue;
	const button = document.createElement("button");
	button.type = "button";
	button.textContent = th.textContent;
	th.replaceChildren(button);
	button.addEventListener("click", () => {
		order = { by: name, down: order.by === name && !order.down };
		sort();
		keep();
	});
}

/* "#level=now&text=door"; a # without = is a finding to go to. */
function keep() {
	const to = new URLSearchParams();
	if (field("text").value.trim())
		to.set("text", field("text").value.trim());
	for (const input of levelBoxes.filter((level) => level.checked))
		to.append("level", input.value);
	for (const name of choices)
		if (field(name).value)
			to.set(name, field(name).value);
	if (order.by !== "level" || order.down)
		to.set("sort", (order.down ? "-" : "") + order.by);
	const hash = "#" + to;
	if (hash !== (location.hash || "#"))
		history.replaceState(null, "", hash);
}

function load() {
	const hash = location.hash.slice(1);
	if (hash && !hash.includes("="))
		return;
	const from = new URLSearchParams(hash), by = from.get("sort") || "level";
	field("text").value = from.get("text") || "";
	for (const input of levelBoxes)
		input.checked = from.getAll("level").includes(input.value);
	for (const name of choices) {
		const select = field(name), value = from.get(name) || "";
		/* A value that this page does not have still filters: nothing is shown, and it says why. */
		if (![...select.options].some((option) => (option.value || "") === value))
			select.add(new Option(value));
		select.value = value;
	}
	const name = by.replace(/^-/, "");
	const next = columns.includes(name) ? { by: name, down: by[0] === "-" }
		: { by: "level", down: false };
	const moved = next.by !== order.by || next.down !== order.down;
	order = next;
	if (moved)
		sort();
	apply();
}

let waiting = 0;
form.addEventListener("input", () => {
	clearTimeout(waiting);
	waiting = setTimeout(() => { apply(); keep(); }, 60);
});
field("clear").addEventListener("click", () => {
	field("text").value = "";
	for (const input of levelBoxes)
		input.checked = false;
	for (const name of choices)
		field(name).value = "";
	apply();
	keep();
});
window.addEventListener("hashchange", load);

/* ---- decisions, and the file they become ---- */

const decideBox = one("#decide"), fileBox = one("#file");
const decide = one("#decide form");
const wrong = one("#wrong");

function openDecide() {
	if (!marked.size || decideBox.open)
		return;
	const life = [...marked].filter((row) => row.life).length;
	one("#decide .marks").textContent = "For " + count(marked.size, "finding") +
		(life ? ", " + life + " of them of life safety" : "") + ": " +
		[...marked].slice(0, 12).map((row) => row.id).join(", ") +
		(marked.size > 12 ? " and " + (marked.size - 12) + " more" : "");
	wrong.textContent = "";
	decideBox.showModal();
}

function fault(values) {
	if (!values.decision)
		return "Say what is decided.";
	if (values.decision !== "seen" && !values.until)
		return values.decision + " needs a day until which it holds.";
	if (values.until && !/^\d{4}-\d\d-\d\d$/.test(values.until))
		return "Write the day as 2026-12-01.";
	return values.who ? "" : "Say who decides.";
}

function tellPending(row) {
	const at = row.tr.cells[6], d = pending.get(row.id);
	one(".unsaved", at)?.remove();
	if (!d)
		return;
	const p = document.createElement("p");
	p.className = "unsaved";
	p.textContent = "not recorded yet: " + d.decision + " by " + d.who +
		(d.until ? " until " + d.until : "") + (d.why ? " (" + d.why + ")" : "");
	at.append(p);
}

decide.addEventListener("submit", (event) => {
	const values = { decision: decide.elements.decision.value };
	for (const name of ["until", "who", "why"])
		values[name] = decide.elements[name].value.replace(/\s+/g, " ").trim();
	wrong.textContent = fault(values);
	if (wrong.textContent) {
		event.preventDefault();
		return;
	}
	for (const row of [...marked]) {
		pending.set(row.id, values);
		mark(row, false);
		tellPending(row);
	}
	saved = false;
	tellMarks();
});
one("#cancel").addEventListener("click", () => decideBox.close());
one("#to-decide").addEventListener("click", openDecide);

/* RFC 4180, every cell in quotes. As in all CSV of the program, a text that a spreadsheet
 * would take for a formula gets one ' in front, which is taken off when it is read. */
function csv() {
	const quoted = (text) => '"' + text.replace(/^(?=[=+\-@])/, "'").replaceAll('"', '""') + '"';
	const lines = [...pending].map(([id, d]) => [id, d.decision, d.who, d.until, d.why]
		.map(quoted).join(","));
	return ["finding,decision,who,until,why", ...lines].join("\n") + "\n";
}

function showFile() {
	const items = [...pending].map(([id, d]) => {
		const li = document.createElement("li"), button = document.createElement("button");
		button.type = "button";
		button.textContent = "Take out";
		button.setAttribute("aria-label", "Take out " + id);
		button.addEventListener("click", () => {
			pending.delete(id);
			saved = pending.size === 0;
			tellPending(byId.get(id));
			tellMarks();
			showFile();
			(one("#pending button") || one("#back")).focus();
		});
		li.append(id + " " + d.decision + (d.until ? " until " + d.until : "") + " ", button);
		return li;
	});
	one("#pending").replaceChildren(...items);
	one("#csv").value = csv();
	one("#save").disabled = pending.size === 0;
	if (!fileBox.open)
		fileBox.showModal();
}
one("#to-file").addEventListener("click", showFile);
one("#back").addEventListener("click", () => fileBox.close());
one("#csv").addEventListener("focus", (event) => event.target.select());
one("#save").addEventListener("click", () => {
	const a = document.createElement("a");
	a.href = URL.createObjectURL(new Blob([csv()], { type: "text/csv" }));
	a.download = "decisions-" + new Date().toISOString().slice(0, 19).replace(/\D/g, "") + ".csv";
	a.click();
	setTimeout(() => URL.revokeObjectURL(a.href), 60000);
	saved = true;
	tellMarks();
});
window.addEventListener("beforeunload", (event) => {
	if (pending.size && !saved)
		event.preventDefault();
});

/* ---- keys ---- */

const typed = (target) => target.matches("select, textarea, [contenteditable]") ||
	(target.matches("input") && !["checkbox", "radio"].includes(target.type));
const rowOf = (target) => target.closest && byId.get(target.closest("section.list tr")?.id);

function step(by) {
	const shown = lists.flatMap((list) => list.rows).filter((row) => row.shown);
	const at = shown.indexOf(rowOf(document.activeElement));
	const to = shown[at < 0 ? 0 : at + by];
	if (!to)
		return;
	to.mark.focus({ preventScroll: true });
	to.tr.scrollIntoView({ block: "nearest" });
}

const keys = {
	j: () => step(1),
	k: () => step(-1),
	x: () => rowOf(document.activeElement)?.mark.click(),
	o: () => one("td a[href*='site/']", rowOf(document.activeElement)?.tr)?.click(),
	d: openDecide,
	u: () => one("#unmark").click(),
	"/": () => { field("text").focus(); field("text").select(); },
	"?": () => { one("#keys").open = true; one("#keys summary").focus(); },
};

document.addEventListener("keydown", (event) => {
	if (event.ctrlKey || event.metaKey || event.altKey || decideBox.open || fileBox.open)
		return;
	if (event.target === field("text") && event.key === "Escape") {
		if (event.target.value) {
			event.target.value = "";
			apply();
			keep();
		} else {
			event.target.blur();
		}
		event.preventDefault();
		return;
	}
	if (typed(event.target))
		return;
	let key = event.key;
	if (rowOf(event.target) && key === "ArrowDown")
		key = "j";
	if (rowOf(event.target) && key === "ArrowUp")
		key = "k";
	if (!keys[key])
		return;
	event.preventDefault();
	keys[key]();
});

form.hidden = false;
load();
apply();
})();
