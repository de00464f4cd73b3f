package report

// Cautions are the sentences every page ends with.
func Cautions() []string {
	return []string{
		"These measures describe movement. They name no disease and no injury; a veterinarian diagnoses.",
		"An uneven head or croup is a sign, not a diagnosis: a sore hind limb can give a nod that looks like the fore limb of the same side.",
		"A horse that is clearly lame at the walk or unwilling to bear weight is not trotted up: call the vet.",
		"Handling: hard hat, gloves and boots; stand clear of the hindquarters; whoever films stays out of the horse’s path and keeps a way out.",
		"Touching a sore place can draw a kick or a bite.",
		"Who may treat animals, and which treatment and medication is allowed before competition, is set by local law and the rules of the sport.",
	}
}

// term explains a word of the page.
type term struct{ Word, Meaning string }

func glossary() []term {
	return []term{
		{"left, right", "the horse’s own, whichever way it goes"},
		{"difference", "right − left; a visit’s and a clip’s tables say in words which side that is"},
		{"95 % interval", "made so that, of a hundred such intervals, 95 hold the true value; one that holds even (0, for step timing 50 %) shows no difference"},
		{"tolerance", "the difference the same sound horse shows from one measurement to the next, on other days too; below it nothing is claimed. Many horses believed sound are beyond it: 58 of 222 had a head that moved unevenly by more than a usual threshold (PLoS One 2017, 10.1371/journal.pone.0176253)"},
		{"symmetry index", "100 · (right − left) / half of (right + left), for lengths and durations only"},
		{"established", "published work shows that the measure goes with lameness"},
		{"suggested", "the trade takes the measure for a sign, with little published work behind it; it counts in the score and names no limb"},
		{"described", "seen and reported; not shown to tell a lame limb"},
		{"lateral arc, medial arc", "how far the swinging hoof leaves the straight line between two placements, outward or inward (in the trade also paddling, dishing, winging: these words conflict, so they are not used here)"},
		{"placement", "where a hoof is set down"},
		{"base width", "from the left hoof’s placements to the right one’s, across the line of travel; negative: the limbs cross"},
		{"step", "from a hoof-on of the opposite limb to the hoof-on of the named one"},
	}
}
