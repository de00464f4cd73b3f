package record

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
)

// VisitFile is the name of a visit's page inside its folder.
const VisitFile = "visit.toml"

// Part is a part of the horse with its regions for palpation.
type Part struct {
	Name    string
	Regions []Region
}

// Region is a place that is felt, by the word of the trade that stands in files.
type Region struct {
	Name string
	// Under names what lies under the hand, by its anatomical name; empty where the
	// name says it.
	Under string
}

// PalpationRegions lists the regions that the visit's page offers, by the words
// of the trade, shoulder and forehand first, in the order in which a hand goes.
// Other words are allowed in the file. The anatomical names are common knowledge
// of veterinary anatomy, from memory.
func PalpationRegions() []Part {
	return []Part{
		{"Shoulder and forehand", []Region{
			{"withers", ""}, {"trapezius", "trapezius and rhomboid, in front of and beside the withers"},
			{"shoulder blade, front", "supraspinatus"}, {"shoulder blade, rear", "infraspinatus"}, {"behind the shoulder blade", "latissimus and serratus"},
			{"base of the neck", "brachiocephalic where it joins the shoulder"}, {"point of shoulder", "biceps tendon and joint"}, {"triceps", "long head of the triceps"},
			{"girth", "ascending pectoral behind the elbow"}, {"chest muscles", "descending and transverse pectorals"},
			{"forearm", "extensors and flexors of the forearm"}, {"knee", "carpus"}, {"fore tendons", "flexor tendons and suspensory"}, {"fore fetlock", ""}, {"fore foot", "coronet and hoof"},
		}},
		{"Head and neck", []Region{{"poll", ""}, {"jaw joint", "temporomandibular joint and chewing muscle"}, {"upper neck", "splenius"}, {"neck crest", ""}, {"underside of the neck", "sternocephalic"}}},
		{"Back and trunk", []Region{{"saddle region", "longissimus under the saddle"}, {"loin", "longissimus behind the last rib"}, {"ribs", "intercostals"}, {"belly", "abdominal wall"}, {"flank", "obliques"}}},
		{"Hindquarters", []Region{
			{"sacroiliac region", ""}, {"croup", "gluteals"}, {"point of hip", ""}, {"tail head", ""}, {"biceps femoris", ""}, {"hamstrings", "semitendinosus and semimembranosus"},
			{"stifle", ""}, {"inner thigh", "gracilis and adductors"}, {"gaskin", ""}, {"hock", ""}, {"hind tendons", "flexor tendons and suspensory"}, {"hind fetlock", ""}, {"hind foot", "coronet and hoof"},
		}},
	}
}

// Behaviours are the words that the visit's page offers for what a horse does
// under the hand (common practice); other words are allowed in the file.
func Behaviours() []string {
	return []string{"looks round", "ears back", "tail swishes", "skin twitches", "tenses", "leans in", "moves away", "dips", "lifts the limb", "threatens to bite", "threatens to kick"}
}

// The range of motion of a limb moved by hand: which limb, which way, how freely.
var (
	MotionLimbs      = []string{"fore", "hind"}
	MotionDirections = []string{"forward", "back", "across"}
	MotionEases      = []string{"free", "less", "refused"}
)

// MotionCaution stands wherever the range of motion is entered.
const MotionCaution = "Lift and move a limb only as far as the horse gives it, slowly, standing close and to the side, never in front of a fore or behind a hind. A limb that is refused is put down and not tried again: that is the finding. A horse that cannot bear weight on the other limbs is for the veterinarian first."

// Grade is one step of a scale with what it means.
type Grade struct {
	Name    string
	Meaning string
}

// SorenessGrades explains soreness 0 to 4; the index is the grade. The steps
// are common practice, not a published scale.
func SorenessGrades() []Grade {
	return []Grade{
		{"none", "no reaction to firm pressure"},
		{"slight", "looks round or tenses for a moment"},
		{"clear", "tenses and moves away from the hand"},
		{"marked", "moves away, pins the ears or lifts the limb at light touch"},
		{"not to be touched", "does not let itself be touched there: stop"},
	}
}

// PalpationCaution stands wherever palpation is entered.
const PalpationCaution = "Palpation of a sore horse can draw a kick or a bite. Have it held by a person who knows it, stand close to the shoulder or hip and not behind, begin lightly on the good side, and stop when it will not be touched. Heat, swelling, a wound, fever or a horse that will not bear weight are for the veterinarian first."

// EditVisit returns the visit's page old (empty for a new one) changed so that
// it says v. Comments, further keys, order and layout stay as they are. A page
// written in a way that cannot be changed safely gives an error and nothing
// else; path only serves errors.
func EditVisit(path string, old []byte, v *Visit) ([]byte, error) {
	if err := v.check(path); err != nil {
		return nil, err
	}
	before, _, err := ParseVisit(path, old)
	if err != nil {
		return nil, err
	}
	e := newTOMLEditor(old)
	root := e.root()
	for _, f := range []struct{ key, old, new string }{
		{"reason", before.Reason, v.Reason},
		{"surface", before.Surface, v.Surface},
		{"shoeing", before.Shoeing, v.Shoeing},
		{"presented", before.Presented, v.Presented},
		{"followed", string(before.Followed), string(v.Followed)},
		{"graded_by", before.GradedBy, v.GradedBy},
		{"next_check", before.NextCheck, v.NextCheck},
		{"notes", before.Notes, v.Notes},
	} {
		if f.old != f.new {
			e.set(root, f.key, e.quote(f.new), f.new == "")
		}
	}
	if !reflect.DeepEqual(before.AAEPGrade, v.AAEPGrade) {
		if v.AAEPGrade == nil {
			e.set(root, "aaep_grade", "", true)
		} else {
			e.set(root, "aaep_grade", strconv.Itoa(*v.AAEPGrade), false)
		}
	}
	for _, f := range []struct{ key, old, new string }{
		{"barn", before.Function.Barn, v.Function.Barn},
		{"field", before.Function.Field, v.Function.Field},
		{"work", before.Function.Work, v.Function.Work},
	} {
		if f.old != f.new {
			e.setIn("function", f.key, e.quote(f.new), f.new == "")
		}
	}
	editBlocks(e, "palpation", before.Palpation, v.Palpation, matchPlaces, palpationFields)
	editBlocks(e, "motion", before.Motion, v.Motion, matchMotion, motionFields)
	editBlocks(e, "treatment", before.Treatment, v.Treatment, matchOrder, treatmentFields)
	if e.err != nil {
		return nil, fmt.Errorf("change %s: %w", path, e.err)
	}
	data := e.bytes()
	after, _, err := ParseVisit(path, data)
	if err == nil && !sameVisit(after, v) {
		err = errors.New("the page would not say what was entered")
	}
	if err != nil {
		return nil, fmt.Errorf("change %s: it is laid out in a way that cannot be changed safely and is left as it is: %w", path, err)
	}
	return data, nil
}

// matchPlaces pairs what was felt before with what is wanted: see match.
func matchPlaces(before, wanted []Palpation) []int {
	return match(before, wanted, func(a, b Palpation) bool { return a.Region == b.Region && a.Side == b.Side })
}

func matchMotion(before, wanted []Motion) []int {
	return match(before, wanted, func(a, b Motion) bool { return a.Limb == b.Limb && a.Side == b.Side && a.Direction == b.Direction })
}

// match pairs what was written before with what is wanted, equal entries first,
// then those of the same place. It returns, for every entry of before, the index
// into wanted or -1.
func match[T comparable](before, wanted []T, samePlace func(a, b T) bool) []int {
	pair := slices.Repeat([]int{-1}, len(before))
	taken := make([]bool, len(wanted))
	for _, match := range []func(a, b T) bool{func(a, b T) bool { return a == b }, samePlace} {
		for i := range before {
			for j := 0; pair[i] < 0 && j < len(wanted); j++ {
				if !taken[j] && match(before[i], wanted[j]) {
					pair[i], taken[j] = j, true
				}
			}
		}
	}
	return pair
}

// matchOrder pairs treatments in their order: those too many go, the first that
// no longer fit before the last.
func matchOrder(before, wanted []Treatment) []int {
	pair := slices.Repeat([]int{-1}, len(before))
	j := 0
	for i := range before {
		spare := len(before) - i - (len(wanted) - j)
		gone := spare > 0 && i+1 < len(before) && j < len(wanted) && before[i] != wanted[j] && before[i+1] == wanted[j]
		if !gone && j < len(wanted) {
			pair[i] = j
			j++
		}
	}
	return pair
}

// sameVisit compares without regard to the order of what was felt and moved.
func sameVisit(a, b *Visit) bool {
	ordered := func(v *Visit) Visit {
		out := *v
		out.Palpation = append([]Palpation{}, v.Palpation...)
		slices.SortStableFunc(out.Palpation, func(p, q Palpation) int {
			return cmp.Or(cmp.Compare(p.Region, q.Region), cmp.Compare(p.Side, q.Side), cmp.Compare(p.Soreness, q.Soreness), cmp.Compare(p.Pressure, q.Pressure), cmp.Compare(p.Behaviour, q.Behaviour), cmp.Compare(p.Note, q.Note))
		})
		out.Motion = append([]Motion{}, v.Motion...)
		slices.SortStableFunc(out.Motion, func(p, q Motion) int {
			return cmp.Or(cmp.Compare(p.Limb, q.Limb), cmp.Compare(p.Side, q.Side), cmp.Compare(p.Direction, q.Direction), cmp.Compare(p.Ease, q.Ease), cmp.Compare(p.Note, q.Note))
		})
		out.Treatment = append([]Treatment{}, v.Treatment...)
		return out
	}
	return reflect.DeepEqual(ordered(a), ordered(b))
}

// blockField is a key of a block with its value as TOML; an empty text leaves
// the key out.
type blockField struct{ key, text string }

func palpationFields(e *tomlEditor, p Palpation) []blockField {
	out := []blockField{
		{"region", e.quote(p.Region)}, {"side", e.quoteOrNone(string(p.Side))}, {"soreness", strconv.Itoa(p.Soreness)},
		{"pressure", ""}, {"pressure_unit", e.quoteOrNone(p.PressureUnit)}, {"behaviour", e.quoteOrNone(p.Behaviour)}, {"note", e.quoteOrNone(p.Note)},
	}
	if p.Pressure != 0 {
		out[3].text = strconv.FormatFloat(p.Pressure, 'f', -1, 64)
	}
	return out
}

func motionFields(e *tomlEditor, m Motion) []blockField {
	return []blockField{{"limb", e.quote(m.Limb)}, {"side", e.quote(string(m.Side))}, {"direction", e.quote(m.Direction)}, {"ease", e.quote(m.Ease)}, {"note", e.quoteOrNone(m.Note)}}
}

func treatmentFields(e *tomlEditor, t Treatment) []blockField {
	return []blockField{{"what", e.quoteOrNone(t.What)}, {"who", e.quoteOrNone(t.Who)}, {"note", e.quoteOrNone(t.Note)}}
}

// editBlocks makes the [[name]] blocks say wanted. Blocks that stay keep their
// place, comments and further keys; of blocks that go, comments and further
// keys stay as comments.
func editBlocks[T comparable](e *tomlEditor, name string, before, wanted []T, match func(before, wanted []T) []int, fields func(*tomlEditor, T) []blockField) {
	if slices.Equal(before, wanted) {
		return
	}
	pair := match(before, wanted)
	taken := make([]bool, len(wanted))
	for _, j := range pair {
		if j >= 0 {
			taken[j] = true
		}
	}
	blocks, ok := e.blocks(name, len(before))
	if !ok {
		return
	}
	for i, b := range blocks {
		if pair[i] < 0 {
			e.retire(b, fields(e, before[i]))
			continue
		}
		old, now := fields(e, before[i]), fields(e, wanted[pair[i]])
		for k := range now {
			if old[k] != now[k] {
				e.set(b, now[k].key, now[k].text, now[k].text == "")
			}
		}
	}
	for j, w := range wanted {
		if !taken[j] {
			e.add(name, fields(e, w))
		}
	}
}

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
