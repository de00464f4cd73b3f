package record

import "slices"

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
	MotionEases      = []string{"free", "less", Refused}
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

// TreatmentCaution stands wherever a treatment is entered (common practice).
const TreatmentCaution = "Do not treat, and ask the veterinarian first, where there is fever, swelling or heat, an open wound, a fresh injury, a limb that will not bear weight, or anything that no veterinarian has seen yet."

// PalpationStop stands where the horse will not be touched, or threatens.
const PalpationStop = "Stop here. Step away to the shoulder, out of reach of the hind legs."

// What must wait for a veterinarian, by what a visit's page says. They stand on the page
// where it is entered and first among what comes next on the first page of a report.
const (
	// NoTrotFrom is the AAEP grade from which a horse must not be asked to trot: its
	// lameness shows at a walk (grade 4 of the scale), or it hardly bears weight (5).
	NoTrotFrom = 4
	// NoTrot also holds where a limb would not let itself be moved.
	NoTrot = "Do not trot this horse. Ask the veterinarian first."
	// NoTreatment is of a spot with the highest grade of soreness.
	NoTreatment = "Do not treat that spot until a veterinarian has seen the horse."
)

// Refused is the ease of a limb that did not let itself be moved.
const Refused = "refused"

// MustNotTrot reports whether the page holds what forbids to trot the horse; see NoTrot.
func (v *Visit) MustNotTrot() bool {
	return v.AAEPGrade != nil && *v.AAEPGrade >= NoTrotFrom ||
		slices.ContainsFunc(v.Motion, func(m Motion) bool { return m.Ease == Refused })
}

// NotToBeTouched returns the spots that have the highest grade of soreness.
func (v *Visit) NotToBeTouched() []Palpation {
	highest := len(SorenessGrades()) - 1
	return slices.DeleteFunc(slices.Clone(v.Palpation), func(p Palpation) bool { return p.Soreness != highest })
}
