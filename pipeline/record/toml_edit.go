package record

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Pages that people write by hand keep their comments, order and layout when the program
// changes a value. The TOML libraries for Go read and write whole documents and lose these,
// so places are found here, and what comes out is read by the library before it is
// written (EditVisit).

// blockField is a key of a block with its value as TOML; an empty text leaves
// the key out.
type blockField struct{ key, text string }

// tomlEditor changes single values of a TOML page that was found to be valid
// and leaves every other byte as it is.
type tomlEditor struct {
	data     []byte
	newline  string
	sections []*tomlSection
	edits    []tomlEdit
	err      error
}

// tomlSection is the top of the page (no header) or what follows a header.
type tomlSection struct {
	path       []string
	array      bool
	start      int // Of the header's line; 0 for the top.
	bodyStart  int // After the header's line.
	end        int // Of the next header's line, or the page's.
	entries    []tomlEntry
	insertions int // Where further keys go: after the last entry, or the header.
}

type tomlEntry struct {
	path                 []string
	start, end           int // The whole line or lines, line break included.
	valueStart, valueEnd int
}

// tomlEdit replaces data[start:end]. Insertions at one place keep their order.
type tomlEdit struct {
	start, end int
	text       string
	line       bool // Must begin on a line of its own.
	blank      bool // Wants an empty line before it.
}

func newTOMLEditor(data []byte) *tomlEditor {
	e := &tomlEditor{data: data, newline: "\n"}
	if bytes.Contains(data, []byte("\r\n")) {
		e.newline = "\r\n"
	}
	e.scan()
	return e
}

// scan finds sections and entries. The page is valid TOML, so it need not
// understand what it skips.
func (e *tomlEditor) scan() {
	d := e.data
	i := 0
	if bytes.HasPrefix(d, []byte("\xef\xbb\xbf")) {
		i = 3
	}
	current := &tomlSection{start: i, bodyStart: i, insertions: i}
	e.sections = append(e.sections, current)
	for i < len(d) {
		line := i
		i = skipBlank(d, i)
		switch {
		case i >= len(d):
		case d[i] == '\n' || d[i] == '\r' || d[i] == '#':
			i = lineEnd(d, i)
		case d[i] == '[':
			array := i+1 < len(d) && d[i+1] == '['
			i++
			if array {
				i++
			}
			var path []string
			path, i = scanKey(d, i)
			i = lineEnd(d, i)
			current.end = line
			current = &tomlSection{path: path, array: array, start: line, bodyStart: i, insertions: i}
			e.sections = append(e.sections, current)
		default:
			entry := tomlEntry{start: line}
			entry.path, i = scanKey(d, i)
			for i < len(d) && d[i] != '=' {
				i++
			}
			i = skipBlank(d, min(i+1, len(d)))
			entry.valueStart = i
			i = scanValue(d, i)
			entry.valueEnd = i
			i = lineEnd(d, i)
			entry.end = i
			current.entries = append(current.entries, entry)
			current.insertions = i
		}
	}
	current.end = len(d)
	e.root().placeFirst(d)
}

// placeFirst lets the first keys of a page without any stand below the remarks
// at its top, where those are set off by an empty line.
func (s *tomlSection) placeFirst(d []byte) {
	if len(s.entries) > 0 {
		return
	}
	for i := s.start; i < s.end; {
		next := lineEnd(d, i)
		line := bytes.TrimSpace(d[i:next])
		if len(line) == 0 {
			s.insertions = next
			return
		}
		i = next
	}
	if s.end == len(d) {
		s.insertions = s.end // Nothing but remarks.
	}
}

func skipBlank(d []byte, i int) int {
	for i < len(d) && (d[i] == ' ' || d[i] == '\t') {
		i++
	}
	return i
}

// lineEnd returns the position after the line break that ends the line at i.
func lineEnd(d []byte, i int) int {
	if n := bytes.IndexByte(d[i:], '\n'); n >= 0 {
		return i + n + 1
	}
	return len(d)
}

// scanKey reads a bare, quoted or dotted key at i.
func scanKey(d []byte, i int) ([]string, int) {
	var path []string
	for {
		i = skipBlank(d, i)
		start := i
		if i < len(d) && (d[i] == '"' || d[i] == '\'') {
			i = scanString(d, i)
			text := string(d[start:i])
			if unquoted, err := strconv.Unquote(text); err == nil && text[0] == '"' {
				path = append(path, unquoted)
			} else {
				path = append(path, strings.Trim(text, `'"`))
			}
		} else {
			for i < len(d) && !strings.ContainsRune(" \t.=]\r\n#", rune(d[i])) {
				i++
			}
			path = append(path, string(d[start:i]))
		}
		i = skipBlank(d, i)
		if i >= len(d) || d[i] != '.' {
			return path, i
		}
		i++
	}
}

// scanString returns the position after the string that starts at i.
func scanString(d []byte, i int) int {
	quote := d[i]
	triple := i+2 < len(d) && d[i+1] == quote && d[i+2] == quote
	if triple {
		i += 3
		for i < len(d) {
			if quote == '"' && d[i] == '\\' {
				i += 2
				continue
			}
			if bytes.HasPrefix(d[i:], []byte{quote, quote, quote}) {
				i += 3
				for n := 0; n < 2 && i < len(d) && d[i] == quote; n++ {
					i++ // Up to two quotes may stand before the closing three.
				}
				return i
			}
			i++
		}
		return len(d)
	}
	for i++; i < len(d); i++ {
		if quote == '"' && d[i] == '\\' {
			i++
			continue
		}
		if d[i] == quote {
			return i + 1
		}
	}
	return len(d)
}

// scanValue returns the position after the value that starts at i.
func scanValue(d []byte, i int) int {
	if i >= len(d) {
		return i
	}
	switch d[i] {
	case '"', '\'':
		return scanString(d, i)
	case '[', '{':
		depth := 0
		for i < len(d) {
			switch d[i] {
			case '"', '\'':
				i = scanString(d, i)
				continue
			case '#':
				i = lineEnd(d, i)
				continue
			case '[', '{':
				depth++
			case ']', '}':
				depth--
				if depth == 0 {
					return i + 1
				}
			}
			i++
		}
		return len(d)
	}
	end := i
	for end < len(d) && d[end] != '#' && d[end] != '\n' && d[end] != '\r' {
		end++
	}
	for end > i && (d[end-1] == ' ' || d[end-1] == '\t') {
		end--
	}
	return end
}

func (e *tomlEditor) root() *tomlSection { return e.sections[0] }

// section returns the [name] section, or nil.
func (e *tomlEditor) section(name string) *tomlSection {
	for _, s := range e.sections {
		if !s.array && len(s.path) == 1 && s.path[0] == name {
			return s
		}
	}
	return nil
}

func (s *tomlSection) entry(path ...string) *tomlEntry {
	for i := range s.entries {
		if slices.Equal(s.entries[i].path, path) {
			return &s.entries[i]
		}
	}
	return nil
}

// set makes key say text in the section, or removes it.
func (e *tomlEditor) set(s *tomlSection, key, text string, remove bool) {
	e.setEntry(s, []string{key}, text, remove)
}

func (e *tomlEditor) setEntry(s *tomlSection, path []string, text string, remove bool) {
	entry := s.entry(path...)
	switch {
	case entry == nil && remove:
	case entry == nil:
		e.insert(s.insertions, strings.Join(path, ".")+" = "+text)
	case remove:
		e.removeEntry(entry)
	default:
		e.edits = append(e.edits, tomlEdit{start: entry.valueStart, end: entry.valueEnd, text: text})
	}
}

// removeEntry takes an entry out and keeps the comment behind it.
func (e *tomlEditor) removeEntry(entry *tomlEntry) {
	rest := e.data[entry.valueEnd:entry.end]
	text := ""
	if i := bytes.IndexByte(rest, '#'); i >= 0 {
		text = string(rest[i:])
	}
	e.edits = append(e.edits, tomlEdit{start: entry.start, end: entry.end, text: text})
}

// insert puts a line of its own at a position where a line begins.
func (e *tomlEditor) insert(at int, line string) {
	e.edits = append(e.edits, tomlEdit{start: at, end: at, text: line + e.newline, line: true})
}

// insertBlock is insert with an empty line before it.
func (e *tomlEditor) insertBlock(at int, lines string) {
	e.edits = append(e.edits, tomlEdit{start: at, end: at, text: lines + e.newline, line: true, blank: true})
}

// setIn sets a key of the table name, however the page writes that table.
func (e *tomlEditor) setIn(name, key, text string, remove bool) {
	if s := e.section(name); s != nil {
		e.set(s, key, text, remove)
		return
	}
	root := e.root()
	if root.entry(name) != nil {
		e.refuse(name, "["+name+"]")
		return
	}
	for _, entry := range root.entries {
		if len(entry.path) > 1 && entry.path[0] == name {
			e.setEntry(root, []string{name, key}, text, remove)
			return
		}
	}
	if remove {
		return
	}
	// A new table; keys set later join it.
	header := "[" + name + "]" + e.newline
	for i := range e.edits {
		if e.edits[i].blank && strings.HasPrefix(e.edits[i].text, header) {
			e.edits[i].text += key + " = " + text + e.newline
			return
		}
	}
	e.insertBlock(len(e.data), header+key+" = "+text)
}

func (e *tomlEditor) refuse(name, form string) {
	if e.err == nil {
		e.err = fmt.Errorf("%s is written within one line; the program changes only %s blocks: rewrite it as such, or change it by hand", name, form)
	}
}

// blocks returns the [[name]] sections. It returns false where the page writes
// them in another way.
func (e *tomlEditor) blocks(name string, n int) ([]*tomlSection, bool) {
	var out []*tomlSection
	for _, s := range e.sections {
		if s.array && len(s.path) == 1 && s.path[0] == name {
			out = append(out, s)
		}
	}
	if entry := e.root().entry(name); entry != nil {
		if n > 0 {
			e.refuse(name, "[["+name+"]]")
			return nil, false
		}
		e.removeEntry(entry) // An empty list.
	}
	if len(out) != n {
		if e.err == nil {
			e.err = fmt.Errorf("%s is written in a way the program cannot change", name)
		}
		return nil, false
	}
	return out, true
}

// retire takes a block out. Its comments stay, and so do, as comments, keys and
// tables that the program does not know.
func (e *tomlEditor) retire(b *tomlSection, known []blockField) {
	e.comment(b.start, b.bodyStart, false)
	for i := range b.entries {
		entry := &b.entries[i]
		if len(entry.path) == 1 && slices.ContainsFunc(known, func(f blockField) bool { return f.key == entry.path[0] }) {
			e.removeEntry(entry)
		} else {
			e.comment(entry.start, entry.end, true)
		}
	}
	// Tables below the block would hang in the air.
	at := slices.Index(e.sections, b)
	for _, s := range e.sections[at+1:] {
		if len(s.path) < 2 || s.path[0] != b.path[0] {
			break
		}
		e.comment(s.start, s.bodyStart, true)
		for _, entry := range s.entries {
			e.comment(entry.start, entry.end, true)
		}
	}
}

// comment turns lines into comments, or where keep is false leaves of them only
// the comment behind.
func (e *tomlEditor) comment(start, end int, keep bool) {
	text := string(e.data[start:end])
	if !keep {
		// Keys of headers that the program writes hold no '#'.
		if i := strings.IndexByte(text, '#'); i >= 0 {
			text = text[i:]
		} else {
			text = ""
		}
	} else {
		lines := strings.SplitAfter(text, "\n")
		for i, l := range lines {
			if l != "" {
				lines[i] = "# " + l
			}
		}
		text = strings.Join(lines, "")
	}
	e.edits = append(e.edits, tomlEdit{start: start, end: end, text: text})
}

// add writes a new block behind the last one of its kind, or at the end.
func (e *tomlEditor) add(name string, fields []blockField) {
	at := len(e.data)
	for i, s := range e.sections {
		if s.array && len(s.path) == 1 && s.path[0] == name && s.end > 0 {
			at = s.insertions
			for _, sub := range e.sections[i+1:] {
				if len(sub.path) < 2 || sub.path[0] != name {
					break
				}
				at = sub.insertions
			}
		}
	}
	text := "[[" + name + "]]"
	for _, f := range fields {
		if f.text != "" {
			text += e.newline + f.key + " = " + f.text
		}
	}
	e.insertBlock(at, text)
}

// bytes returns the changed page.
func (e *tomlEditor) bytes() []byte {
	block := func(edit tomlEdit) int {
		if edit.blank {
			return 1 // What begins a block comes after keys for what stands before it.
		}
		return 0
	}
	slices.SortStableFunc(e.edits, func(a, b tomlEdit) int {
		return cmp.Or(cmp.Compare(a.start, b.start), cmp.Compare(a.end, b.end), cmp.Compare(block(a), block(b)))
	})
	var out bytes.Buffer
	at := 0
	for _, edit := range e.edits {
		if edit.start > at {
			out.Write(e.data[at:edit.start])
			at = edit.start
		}
		if written := out.Bytes(); edit.line && len(written) > 0 {
			if written[len(written)-1] != '\n' {
				out.WriteString(e.newline)
			}
			if edit.blank && !bytes.HasSuffix(out.Bytes(), []byte(e.newline+e.newline)) {
				out.WriteString(e.newline)
			}
		}
		out.WriteString(edit.text)
		at = max(at, edit.end)
	}
	out.Write(e.data[at:])
	return out.Bytes()
}

func (e *tomlEditor) quoteOrNone(text string) string {
	if text == "" {
		return ""
	}
	return e.quote(text)
}

// quote writes a TOML basic string (TOML 1.0.0, section String); several lines
// become a multi-line one.
func (e *tomlEditor) quote(text string) string {
	multi := strings.Contains(text, "\n") && !strings.Contains(text, "\r") && e.newline == "\n"
	var b strings.Builder
	if multi {
		b.WriteString("\"\"\"\n")
	} else {
		b.WriteByte('"')
	}
	for _, r := range strings.ToValidUTF8(text, "\uFFFD") {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n' && multi:
			b.WriteByte('\n')
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case r < 0x20 || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	if multi {
		b.WriteString(`"""`)
	} else {
		b.WriteByte('"')
	}
	return b.String()
}
