# man.awk - a page of this project's Markdown as man(7).
#
#   awk -v name=TRIPSIFT-FORMATS -v section=5 -v title="..." -v date=... -v version=... \
#       -f man.awk PAGE.md
#
# Knows what our pages use: headings, paragraphs, lists, tables, indented lines as typed,
# `code`, **bold**, *italic* and links. A table becomes a list: the first cell is the tag, the
# others follow, with the heads of their columns where there are more than two.
function escape(s) {
	gsub(/\\/, "\\e", s)
	return s
}
function inline(s,    out, i, c, code, bold, italic) {
	while (match(s, /\[[^]]*\]\([^)]*\)/)) {
		c = substr(s, RSTART + 1, RLENGTH - 1)
		sub(/\]\(.*/, "", c)
		s = substr(s, 1, RSTART - 1) c substr(s, RSTART + RLENGTH)
	}
	s = escape(s)
	out = ""
	for (i = 1; i <= length(s); i++) {
		c = substr(s, i, 1)
		if (c == "`") {
			code = !code
			out = out (code ? "\\fB" : "\\fR")
		} else if (!code && c == "*" && substr(s, i + 1, 1) == "*") {
			bold = !bold
			i++
			out = out (bold ? "\\fB" : "\\fR")
		} else if (!code && c == "*") {
			italic = !italic
			out = out (italic ? "\\fI" : "\\fR")
		} else if (code && c == "-") {
			out = out "\\-"
		} else if (c == "\001") {
			out = out "|"
		} else {
			out = out c
		}
	}
	return out
}
# Filled to lines of at most 76 bytes; none begins with a control character.
function fill(s,    word, n, i, line) {
	n = split(s, word, /[ \t]+/)
	line = ""
	for (i = 1; i <= n; i++) {
		if (word[i] == "")
			continue
		if (line != "" && length(line) + 1 + length(word[i]) > 76) {
			print guard(line)
			line = ""
		}
		line = line (line == "" ? "" : " ") word[i]
	}
	if (line != "")
		print guard(line)
}
function guard(s) {
	return s ~ /^[.']/ ? "\\&" s : s
}
function end_para() {
	if (text != "")
		fill(inline(text))
	text = ""
}
function end_code() {
	if (typed)
		print ".EE\n.RE"
	typed = 0
}
function para(how) {
	end_para()
	end_code()
	if (!fresh)
		print how
	fresh = 0
}
function row(s,    cell, n, i, c) {
	gsub(/\\\|/, "\001", s)
	sub(/^\| */, "", s)
	sub(/ *\| *$/, "", s)
	n = split(s, cell, / *\| */)
	if (!in_table) {
		in_table = 1
		columns = n
		for (i = 1; i <= n; i++)
			head[i] = cell[i]
		return
	}
	if (s ~ /^-+/)
		return
	print ".TP"
	print guard("\\fR" inline(cell[1]))
	if (columns == 2) {
		fill(inline(cell[2] == "" ? "-" : cell[2]))
		return
	}
	for (i = 2; i <= columns; i++) {
		if (cell[i] == "")
			continue
		if (i > 2)
			print ".br"
		fill(inline("**" head[i] ":** " cell[i]))
	}
}
BEGIN {
	printf ".TH %s %s \"%s\" \"tripsift %s\"\n", name, section, date, version
	print ".SH NAME"
	print tolower(name) " \\- " title
	sub(/-/, "\\-", name)
	print ".SH DESCRIPTION"
	fresh = 1
}
/^# / { next }
/^##+ / {
	end_para()
	end_code()
	in_table = 0
	level = $1
	sub(/^#+ /, "")
	print (level == "##" ? ".SH " toupper(inline($0)) : ".SS " inline($0))
	fresh = 1
	next
}
/^\|/ { end_para(); end_code(); fresh = 0; row($0); next }
/^    / && !in_list {
	end_para()
	in_table = 0
	if (!typed) {
		print (fresh ? "" : ".PP\n") ".RS 4\n.EX"
		fresh = 0
	}
	typed = 1
	s = escape(substr($0, 5))
	gsub(/-/, "\\-", s)
	print guard(s)
	next
}
/^- / {
	end_para()
	end_code()
	fresh = in_table = 0
	print ".IP \\(bu 3"
	in_list = 1
	text = substr($0, 3)
	next
}
/^[ \t]*$/ {
	if (typed) {
		blank = 1
		next
	}
	end_para()
	in_list = in_table = 0
	next
}
{
	sub(/^ +/, "")
	if (text == "" )
		para(".PP")
	text = text (text == "" ? "" : " ") $0
}
END { end_para(); end_code() }
