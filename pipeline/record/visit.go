package record

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/BurntSushi/toml"

	"jogstrip/metrics"
	"jogstrip/metrics/lengths"
	"jogstrip/pipeline/fsx"
	"jogstrip/track/traj"
)

const tomlLimit = 1 << 20

// Horse is a horse's own page, horse.toml.
type Horse struct {
	Name     string    `toml:"name"`
	Gait     traj.Gait `toml:"gait"`      // The gait it is judged in; empty means trot.
	WithersM float64   `toml:"withers_m"` // Height at the withers, m; 0 is not known.
	Notes    string    `toml:"notes"`
}

// Visit is what was seen, felt and done at one visit, visit.toml.
type Visit struct {
	Reason    string       `toml:"reason" json:"reason,omitempty"`
	Surface   string       `toml:"surface" json:"surface,omitempty"` // "concrete", "sand", …: compared word for word.
	Shoeing   string       `toml:"shoeing" json:"shoeing,omitempty"`
	Presented string       `toml:"presented" json:"presented,omitempty"` // "led" or "ridden"; empty means led.
	Followed  metrics.Name `toml:"followed" json:"followed,omitempty"`   // The measure declared beforehand; empty means the score.
	Palpation []Palpation  `toml:"palpation" json:"palpation,omitempty"`
	Motion    []Motion     `toml:"motion" json:"motion,omitempty"`
	Treatment []Treatment  `toml:"treatment" json:"treatment,omitempty"`
	Function  Function     `toml:"function" json:"function,omitzero"`
	AAEPGrade *int         `toml:"aaep_grade" json:"aaep_grade,omitempty"` // As a veterinarian gave it, 0 to 5; never derived.
	GradedBy  string       `toml:"graded_by" json:"graded_by,omitempty"`
	NextCheck string       `toml:"next_check" json:"next_check,omitempty"` // yyyy-mm-dd.
	Notes     string       `toml:"notes" json:"notes,omitempty"`
}

// Palpation is what was felt in one region of one side.
type Palpation struct {
	Region   string    `toml:"region" json:"region"`
	Side     traj.Side `toml:"side" json:"side,omitempty"` // "left", "right"; empty for the middle.
	Soreness int       `toml:"soreness" json:"soreness"`   // 0 to 4, see FORMATS.md.
	// Pressure at which the horse reacted, where an algometer was used; 0 is none.
	Pressure     float64 `toml:"pressure" json:"pressure,omitempty"`
	PressureUnit string  `toml:"pressure_unit" json:"pressure_unit,omitempty"` // "N" or "kg/cm2".
	// Behaviour is what the horse did under the hand, in words: see Behaviours.
	Behaviour string `toml:"behaviour" json:"behaviour,omitempty"`
	Note      string `toml:"note" json:"note,omitempty"`
}

// Motion is how a limb let itself be moved by hand in one direction.
type Motion struct {
	Limb      string    `toml:"limb" json:"limb"`           // One of MotionLimbs.
	Side      traj.Side `toml:"side" json:"side"`           // "left" or "right".
	Direction string    `toml:"direction" json:"direction"` // One of MotionDirections.
	Ease      string    `toml:"ease" json:"ease"`           // One of MotionEases.
	Note      string    `toml:"note" json:"note,omitempty"`
}

// Treatment is one thing that was done.
type Treatment struct {
	What string `toml:"what" json:"what"`
	Who  string `toml:"who" json:"who,omitempty"`
	Note string `toml:"note" json:"note,omitempty"`
}

// Function is how the horse does where it lives and works.
type Function struct {
	Barn  string `toml:"barn" json:"barn,omitempty"`
	Field string `toml:"field" json:"field,omitempty"`
	Work  string `toml:"work" json:"work,omitempty"`
}

// Yard is the yard folder's own page, yard.toml.
type Yard struct {
	Name       string   `toml:"name"`
	Letterhead []string `toml:"letterhead"`
	// Tolerances names a file beside yard.toml that replaces the built-in table.
	Tolerances string `toml:"tolerances"`
	// Lengths is how its people read lengths: "cm", or "in" for feet and inches.
	Lengths lengths.System `toml:"lengths"`
}

// Ridden is how a visit says that the horse was ridden; else it was led.
const Ridden = "ridden"

// Values allowed where the format restricts them.
var presentations = []string{"", "led", Ridden}

// ReadHorse reads the horse's page at path; a missing file gives a horse named
// after its folder. Unknown keys are returned: they are kept, not used.
func ReadHorse(path string) (*Horse, []string, error) {
	h := &Horse{Name: filepath.Base(filepath.Dir(path)), Gait: traj.Trot}
	unknown, err := readTOML(path, h)
	if err != nil {
		return nil, nil, err
	}
	if h.Gait == "" {
		h.Gait = traj.Trot
	}
	if !h.Gait.Valid() {
		return nil, nil, outOfRange(path, "gait", h.Gait, "walk, trot or pace")
	}
	if h.WithersM != 0 && (h.WithersM < 0.5 || h.WithersM > 2.2) {
		return nil, nil, outOfRange(path, "withers_m", h.WithersM, "0.5 to 2.2")
	}
	return h, unknown, nil
}

// ReadVisit reads the visit's page at path; a missing file gives an empty one.
func ReadVisit(path string) (*Visit, []string, error) {
	data, err := fsx.ReadFile(path, tomlLimit)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, nil, fmt.Errorf("read page: %w", err)
	}
	return ParseVisit(path, data)
}

// ParseVisit is ReadVisit for bytes at hand; path only serves errors.
func ParseVisit(path string, data []byte) (*Visit, []string, error) {
	v := new(Visit)
	unknown, err := parseTOML(path, data, v)
	if err != nil {
		return nil, nil, err
	}
	if err := v.check(path); err != nil {
		return nil, nil, err
	}
	return v, unknown, nil
}

func (v *Visit) check(path string) error {
	var problems []error
	if !slices.Contains(presentations, v.Presented) {
		problems = append(problems, outOfRange(path, "presented", v.Presented, "led or ridden"))
	}
	if v.AAEPGrade != nil && (*v.AAEPGrade < 0 || *v.AAEPGrade > 5) {
		problems = append(problems, outOfRange(path, "aaep_grade", *v.AAEPGrade, "0 to 5"))
	}
	if v.NextCheck != "" {
		if _, err := time.Parse(time.DateOnly, v.NextCheck); err != nil {
			problems = append(problems, outOfRange(path, "next_check", v.NextCheck, "a date, yyyy-mm-dd"))
		}
	}
	for i, p := range v.Palpation {
		problems = append(problems, p.check(path, fmt.Sprintf("palpation.%d.", i))...)
	}
	for i, m := range v.Motion {
		problems = append(problems, m.check(path, fmt.Sprintf("motion.%d.", i))...)
	}
	return errors.Join(problems...)
}

// FollowsUnknown reports whether the page declares what is no measure of this program, as a page
// may that was written for an earlier one: it is read all the same, and nothing is followed.
func (v *Visit) FollowsUnknown() bool {
	_, known := metrics.Define(v.Followed)
	return v.Followed != "" && !known
}

// NextCheckBefore reports whether the next check is planned before the day of the visit,
// which is a slip of the pen: the page is read all the same, and the date counts nowhere.
func (v *Visit) NextCheckBefore(day time.Time) bool {
	next, err := time.Parse(time.DateOnly, v.NextCheck)
	return err == nil && next.Before(day)
}

func (p Palpation) check(path, field string) (problems []error) {
	if p.Region == "" {
		problems = append(problems, outOfRange(path, field+"region", p.Region, "a region's name"))
	}
	if p.Side != traj.Left && p.Side != traj.Right && p.Side != traj.Middle {
		problems = append(problems, outOfRange(path, field+"side", p.Side, "left, right or empty"))
	}
	if p.Soreness < 0 || p.Soreness > 4 {
		problems = append(problems, outOfRange(path, field+"soreness", p.Soreness, "0 to 4"))
	}
	if !(p.Pressure >= 0 && p.Pressure <= 1000) {
		problems = append(problems, outOfRange(path, field+"pressure", p.Pressure, "0 to 1000"))
	}
	if p.Pressure > 0 && p.PressureUnit != "N" && p.PressureUnit != "kg/cm2" {
		problems = append(problems, outOfRange(path, field+"pressure_unit", p.PressureUnit, "N or kg/cm2"))
	}
	return problems
}

func (m Motion) check(path, field string) (problems []error) {
	for _, f := range []struct {
		name, value string
		allowed     []string
	}{{"limb", m.Limb, MotionLimbs}, {"side", string(m.Side), []string{string(traj.Left), string(traj.Right)}}, {"direction", m.Direction, MotionDirections}, {"ease", m.Ease, MotionEases}} {
		if !slices.Contains(f.allowed, f.value) {
			problems = append(problems, outOfRange(path, field+f.name, f.value, strings.Join(f.allowed, ", ")))
		}
	}
	return problems
}

// ReadYard reads the yard's page at path; a missing file gives an empty one.
func ReadYard(path string) (*Yard, []string, error) {
	y := new(Yard)
	unknown, err := readTOML(path, y)
	if err != nil {
		return nil, nil, err
	}
	if y.Tolerances != "" && !filepath.IsLocal(y.Tolerances) {
		return nil, nil, outOfRange(path, "tolerances", y.Tolerances, "the name of a file inside the yard folder")
	}
	if !y.Lengths.Valid() {
		return nil, nil, outOfRange(path, "lengths", y.Lengths, "cm or in")
	}
	return y, unknown, nil
}

func outOfRange(path, field string, value any, allowed string) error {
	return fmt.Errorf("read %s: %s is %q; allowed: %s", path, field, fmt.Sprint(value), allowed)
}

func readTOML(path string, into any) (unknown []string, err error) {
	data, err := fsx.ReadFile(path, tomlLimit)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read page: %w", err)
	}
	return parseTOML(path, data, into)
}

// mistyped is how the library says that a value is of another kind than its key's.
var mistyped = regexp.MustCompile(`^toml: line (\d+) \(last key "(.+)"\): incompatible types: TOML value has type (\S+); destination has type (\S+)$`)

// kindsOfTOML are the kinds of values in words.
var kindsOfTOML = map[string]string{
	"string": "text in quotes", "bool": "true or false", "boolean": "true or false", "time.Time": "a date",
	"int64": "a whole number", "integer": "a whole number", "float64": "a number", "float": "a number",
	"map[string]any": "a table", "map": "a table", "[]any": "a list", "slice": "a list",
}

// tomlWords says in words what is wrong with a page.
func tomlWords(err error) string {
	var parse toml.ParseError
	if errors.As(err, &parse) {
		return fmt.Sprintf("line %d can't be read: %s; write each key on a line of its own, text in quotes, and decimals with a point", parse.Position.Line, parse.Message)
	}
	text := strings.TrimPrefix(err.Error(), "toml: ")
	m := mistyped.FindStringSubmatch(err.Error())
	if m == nil || kindsOfTOML[m[3]] == "" || kindsOfTOML[m[4]] == "" {
		return text
	}
	return fmt.Sprintf("line %s: %s is %s; it must be %s", m[1], m[2], kindsOfTOML[m[3]], kindsOfTOML[m[4]])
}

func parseTOML(path string, data []byte, into any) (unknown []string, err error) {
	data = withoutMark(data)
	if bytes.HasPrefix(data, []byte("\xff\xfe")) || bytes.HasPrefix(data, []byte("\xfe\xff")) {
		return nil, fmt.Errorf("read %s: it is stored as UTF-16; store it as UTF-8", path)
	}
	meta, err := toml.Decode(string(data), into)
	if err != nil {
		return nil, fmt.Errorf("read %s: %s", path, tomlWords(err))
	}
	for _, k := range meta.Undecoded() {
		unknown = append(unknown, k.String())
	}
	// The library takes keys whatever their case, TOML does not: a page that says
	// both Reason and reason could not be changed without loss.
	for _, k := range meta.Keys() {
		name := k.String()
		if lower := strings.ToLower(name); lower != name && !slices.Contains(unknown, name) {
			return nil, fmt.Errorf("read %s: key %s must be written %s", path, name, lower)
		}
	}
	return unknown, nil
}
