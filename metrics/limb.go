package metrics

import (
	"fmt"
	"math"
	"slices"

	"jogstrip/metrics/stats"
	"jogstrip/track/traj"
)

// settledP is the level at which two signs of different kinds together name a
// limb, aloneP the level a single one needs. A horse shows a dozen signs, so one
// of them alone must be clearer than one in twenty.
const (
	settledP = 0.05
	aloneP   = 0.01
)

// sign is one measure that points to a limb.
type sign struct {
	m      measured
	limb   traj.Landmark
	p      float64 // Two-sided, that the horse is even in this measure.
	beyond bool    // Whether the value is beyond the tolerance.
}

func (s sign) settled() bool { return s.beyond && s.p < settledP }

// decidesLimb reports whether a kind may name a limb. The withers hardly move in forelimb
// trouble, and that a sore limb steps short rests on one horse.
func decidesLimb(kind string) bool {
	return kind == "head" || kind == "croup" || kind == "hip"
}

// girdleSigns is what one pair of limbs shows.
type girdleSigns struct {
	signs    []sign
	limb     traj.Landmark // Named, or empty.
	conflict bool          // Settled signs point to both sides.
	hint     bool          // Something is settled but not enough to name a limb.
}

func judge(signs []sign) girdleSigns {
	g := girdleSigns{signs: signs}
	decides := func(s *sign) bool { return decidesLimb(s.m.def.kind) && s.settled() }
	first := firstOf(signs, decides)
	enough := false
	for _, s := range signs {
		if decides(&s) {
			g.conflict = g.conflict || s.limb != first.limb
			enough = enough || s.p < aloneP || s.m.def.kind != first.m.def.kind
		}
	}
	switch {
	case first == nil || g.conflict:
	case enough:
		g.limb = first.limb
	default:
		g.hint = true
	}
	return g
}

// shows reports whether any sign of the kind was measured.
func (g girdleSigns) shows(kind string) bool {
	return slices.ContainsFunc(g.signs, func(s sign) bool { return s.m.def.kind == kind })
}

// findLimb says where the signs point (MEASURES.md, "Which limb"), by intervals that include
// how runs differ. A nod alone may come from the hindlimb of the same side. In trot the withers
// tell (Rhodin et al. 2018, Equine Vet J, 10.1111/evj.12844: with the head, by 0.05–0.10 mm a
// millimetre, in forelimb trouble; against it, by 0.35–0.55 mm a millimetre of pelvic asymmetry,
// in hindlimb trouble), and so does an even croup. In walk and pace that is not known to hold.
// Where nothing tells, both limbs are said and none is named.
func findLimb(all []measured, gait traj.Gait) finding {
	var fore, hind, withers []sign
	for _, m := range all {
		s, ok := toSign(m)
		switch {
		case !ok:
		case s.m.def.kind == "withers":
			withers = append(withers, s)
		case m.def.Girdle == Fore:
			fore = append(fore, s)
		default:
			hind = append(hind, s)
		}
	}
	f, h := judge(fore), judge(hind)
	switch {
	case len(fore)+len(hind) == 0:
		return noLimb("nothing that points to a limb was measured")
	case f.conflict || h.conflict:
		return conflicting(f, h)
	case f.limb != "" && slices.ContainsFunc(fore, func(s sign) bool { return s.m.def.kind == "head" && s.limb == f.limb && s.settled() }):
		return nod(f, h, withers, gait)
	case f.limb != "" && h.limb != "":
		return bothGirdles(f, h, "signs [are|were] seen in both")
	case f.limb != "":
		return named(f.limb, f, h, withers, "")
	case h.limb != "":
		note := ""
		if !f.shows("head") {
			note = "the head was not measured, so a forelimb problem carried over to the croup is not excluded"
		}
		return named(h.limb, h, f, withers, note)
	}
	return noSide(f, h)
}

// finding is a LimbFinding whose sentence is in two parts: what was found, in both tenses, and
// as Sentence what comes behind it: the grounds.
type finding struct {
	LimbFinding
	brief string
}

func noLimb(why string) finding { return finding{LimbFinding{Sentence: ": " + why}, "no side"} }

// said returns the finding with its whole sentence.
func (f finding) said() LimbFinding {
	f.Sentence = present.of(f.brief) + f.Sentence
	return f.LimbFinding
}

func toSign(m measured) (sign, bool) {
	if m.def.kind == "" || !m.ok || !m.wideOK || m.tolerance.Tolerance <= 0 {
		return sign{}, false
	}
	d := m.deviation()
	s := sign{m: m, limb: m.def.pointsTo(d), p: 1, beyond: math.Abs(d) > m.tolerance.Tolerance}
	if d != 0 {
		s.p = stats.TwoSidedP(d/m.wide.SE, m.wide.DF)
	}
	return s, true
}

// Shares of Rhodin et al. 2018. The nod that comes with a hindlimb asymmetry is
// taken as no larger than the asymmetry itself (common practice), so a hindlimb
// moves the withers against the head by at least hindWithers of the nod.
const hindWithers = 0.35

// nod handles a head that names a forelimb: fore, or hind of the same side?
func nod(f, h girdleSigns, withers []sign, gait traj.Gait) finding {
	side, trot := f.limb.Side(), gait == traj.Trot
	foreOut, hindOut := withersSay(f, withers)
	foreOut, hindOut = foreOut && trot, hindOut && trot
	croupEven := clearlyEven(h)
	same := h.limb != "" && h.limb.Side() == side
	other := h.limb != "" && !same

	forFore := hindOut || croupEven || other && trot
	forHind := foreOut || same && trot
	switch {
	case !trot && h.limb != "":
		return bothGirdles(f, h, "fore and hind [cannot|could not] be told apart in this gait")
	case forFore && forHind:
		return bothGirdles(f, h, "fore and hind both [show|showed] signs and the withers and croup [do|did] not settle which came first")
	case forFore && hindOut:
		return named(f.limb, f, h, withers, "the withers do not move against the head, as they would with a sore hindlimb")
	case forFore && croupEven:
		return named(f.limb, f, h, withers, "the croup is even in its low and its high points, so a hindlimb is not likely behind it")
	case forFore:
		return named(f.limb, f, h, withers, fmt.Sprintf("the croup points to the %s, which often goes with the opposite fore (common practice)", h.limb.Words()))
	case forHind:
		return hindNod(f, h, withers, foreOut)
	}
	why := "neither withers nor croup settles which"
	if len(withers) == 0 && !h.shows("croup") {
		why = "neither withers nor croup was marked, so the two cannot be told apart"
	}
	agree := phrases(f.signs, func(s sign) bool { return s.limb == f.limb && s.p < settledP })
	return finding{LimbFinding{
		Undecided: true,
		Agree:     agree,
		Disagree:  phrases(f.signs, func(s sign) bool { return s.limb != f.limb && s.settled() }),
		Sentence:  fmt.Sprintf(": %s; %s", joinPhrases(agree), why),
	}, fmt.Sprintf("signs [point|pointed] to the %s side, the %s or the %s", side, f.limb.Words(), hindOf(side).Words())}
}

// hindNod builds the finding of a head that nods for the hindlimb of its side; foreOut: the
// withers rule the forelimb out.
func hindNod(f, h girdleSigns, withers []sign, foreOut bool) finding {
	note := fmt.Sprintf("the head's nod looks like the %s, as a hindlimb of the same side makes it look", f.limb.Words())
	if foreOut {
		note += ", and the withers go against the head"
	}
	if h.limb == "" {
		note += "; the croup itself does not settle it"
	}
	out := named(hindOf(f.limb.Side()), h, f, withers, note)
	out.Agree = append(out.Agree, phrases(f.signs, func(s sign) bool { return s.m.def.kind == "head" && s.settled() })...)
	out.Disagree = slices.DeleteFunc(out.Disagree, func(said string) bool { return slices.Contains(out.Agree, said) })
	out.Sentence = grounds(out.LimbFinding, note)
	return out
}

func hindOf(s traj.Side) traj.Landmark {
	if s == traj.Right {
		return traj.RightHind
	}
	return traj.LeftHind
}

// withersSay compares the withers with the head: whether a forelimb is ruled
// out (the withers go against the head), whether a hindlimb is.
func withersSay(f girdleSigns, withers []sign) (foreOut, hindOut bool) {
	for _, pair := range [][2]Name{{HeadLowDifference, WithersLowDifference}, {HeadHighDifference, WithersHighDifference}} {
		head, w := findSign(f.signs, pair[0]), findSign(withers, pair[1])
		if head == nil || w == nil || !head.settled() || head.limb != f.limb {
			continue
		}
		low, high := w.m.wide.Low, w.m.wide.High
		if f.limb.Side() == traj.Left {
			low, high = -high, -low
		}
		notFore := high < 0 && w.beyond
		// Shares of two ranges have no common scale: only a clear sign counts there.
		notHind := w.settled() && w.limb == f.limb
		if w.m.result.Unit == w.m.def.Unit && head.m.result.Unit == head.m.def.Unit {
			notHind = low > -hindWithers*math.Abs(head.m.wide.Value)
		}
		// Against the head, but by less than a hindlimb would make it: neither.
		foreOut = foreOut || notFore && !notHind
		hindOut = hindOut || notHind && !notFore
	}
	return foreOut && !hindOut, hindOut && !foreOut
}

func findSign(signs []sign, n Name) *sign {
	return firstOf(signs, func(s *sign) bool { return s.m.def.Name == n })
}

// precise reports whether a sign's interval stays within twice its tolerance, so
// that an asymmetry worth the name would have shown.
func (s sign) precise() bool {
	e, _ := s.m.def.Even()
	return math.Max(s.m.wide.High-e, e-s.m.wide.Low) <= 2*s.m.tolerance.Tolerance
}

// clearlyEven reports whether the croup was measured, is within tolerance and
// measured well enough for that to mean something.
func clearlyEven(h girdleSigns) bool {
	for _, n := range []Name{CroupLowDifference, CroupHighDifference} {
		if s := findSign(h.signs, n); s == nil || s.beyond || !s.precise() {
			return false
		}
	}
	return !h.hint && h.limb == ""
}

func phrases(signs []sign, keep func(sign) bool) []string {
	var out []string
	for _, s := range signs {
		if keep(s) {
			out = append(out, say(s.m))
		}
	}
	return out
}

// named builds the finding of a named limb. Own are the signs of its girdle,
// rest those of the other one.
func named(limb traj.Landmark, own, rest girdleSigns, withers []sign, note string) finding {
	seen := func(s sign) bool { return s.p < settledP }
	out := finding{LimbFinding{Limb: limb}, "signs [point|pointed] to the " + limb.Words()}
	out.Agree = phrases(own.signs, func(s sign) bool { return s.limb == limb && seen(s) })
	out.Disagree = phrases(own.signs, func(s sign) bool { return s.limb != limb && seen(s) })
	out.Disagree = append(out.Disagree, phrases(rest.signs, sign.settled)...)
	with := func(s sign) bool { return (s.limb.Side() == limb.Side()) != limb.IsHind() }
	out.Agree = append(out.Agree, phrases(withers, func(s sign) bool { return s.settled() && with(s) })...)
	out.Disagree = append(out.Disagree, phrases(withers, func(s sign) bool { return s.settled() && !with(s) })...)
	out.Sentence = grounds(out.LimbFinding, note)
	return out
}

// howSure goes with every limb that is named.
const howSure = "Such signs name the correct limb in about seven horses of ten (69 to 77 % of 163 horses, by head and pelvis; Pfau et al. 2018)"

// grounds returns the grounds of a finding that names a limb.
func grounds(f LimbFinding, note string) string {
	text := ""
	if len(f.Agree) > 0 {
		text = ": " + joinPhrases(f.Agree)
	}
	if note != "" {
		text += "; " + note
	}
	if len(f.Disagree) > 0 {
		text += ". Other signs say otherwise: " + joinPhrases(f.Disagree)
	}
	return text + ". " + howSure
}

func bothGirdles(f, h girdleSigns, why string) finding {
	agree := append(phrases(f.signs, sign.settled), phrases(h.signs, sign.settled)...)
	return finding{LimbFinding{Undecided: true, Agree: agree, Sentence: ": " + joinPhrases(agree) + "; no single limb is named"}, why}
}

func conflicting(f, h girdleSigns) finding {
	to := func(side traj.Side) []string {
		return phrases(slices.Concat(f.signs, h.signs), func(s sign) bool { return s.settled() && s.limb.Side() == side })
	}
	right, left := to(traj.Right), to(traj.Left)
	out := noLimb(fmt.Sprintf("the signs disagree. To the right: %s. To the left: %s", joinPhrases(right), joinPhrases(left)))
	out.Disagree = append(right, left...)
	return out
}

// noSide tells even from not settled.
func noSide(f, h girdleSigns) finding {
	all := slices.Concat(f.signs, h.signs)
	step := func(s sign) bool { return s.m.def.kind == "step" || s.m.def.kind == "timing" }
	// What these runs show beyond its tolerance counts in the score: a horse that is so in
	// them is not called even, whether or not the next run would show it.
	steps := phrases(all, func(s sign) bool { return step(s) && (s.settled() || s.m.result.Beyond) })
	sure := slices.ContainsFunc(all, func(s sign) bool { return step(s) && s.settled() })
	open := phrases(all, func(s sign) bool { return !step(s) && s.settled() })
	within := len(open) == 0
	rest := slices.DeleteFunc(all, func(s sign) bool { return step(s) || s.settled() })
	precise := slices.ContainsFunc(rest, sign.precise)
	switch {
	case len(steps) > 0:
		text := ": " + joinPhrases(append(steps, open...))
		if within && !precise {
			text += ". Head and croup, which could name one, were not measured well enough"
		}
		if !sure {
			text += ". It may not be there in the next run"
		}
		return finding{LimbFinding{Agree: append(steps, open...), Sentence: text}, "a sign [is|was] seen, and no limb [is|was] named from it alone"}
	case within && precise:
		return finding{LimbFinding{Even: true, Sentence: ": no difference between left and right is beyond what a sound horse shows from run to run" + unsure(rest)}, "even"}
	case within:
		return noLimb(tooLittle + " to call the horse even or uneven; film more strides")
	case f.hint || h.hint:
		return noLimb("one sign alone does not settle it: " + joinPhrases(open))
	}
	return noLimb("the intervals do not settle it: " + joinPhrases(open))
}

// unsure says which signs more strides would make precise; empty where all are.
func unsure(signs []sign) string {
	var titles []string
	for _, s := range signs {
		if !s.precise() {
			titles = append(titles, s.m.def.Title)
		}
	}
	if titles == nil {
		return ""
	}
	return "; too few strides to be sure of: " + joinPhrases(titles)
}
