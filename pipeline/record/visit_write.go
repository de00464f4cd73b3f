package record

import (
	"cmp"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strconv"
)

// VisitFile is the name of a visit's page inside its folder.
const VisitFile = "visit.toml"

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
