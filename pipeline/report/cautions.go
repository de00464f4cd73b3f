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
		{"difference", "right − left; beside it stands in words which side"},
		{"95 % interval", "where the true value lies, as far as the strides seen can tell"},
		{"tolerance", "the difference the same sound horse shows from run to run; below it nothing is claimed"},
		{"symmetry index", "100 · (right − left) / half of (right + left), for lengths and durations only"},
		{"established", "published work shows that the measure goes with lameness"},
		{"described", "seen and reported; not shown to tell a lame limb"},
		{"lateral arc, medial arc", "how far the swinging hoof leaves the straight line between two placements, outward or inward (in the trade also paddling, dishing, winging: these words conflict, so they are not used here)"},
		{"placement", "where a hoof is set down, outward of the line of travel; negative: across the midline"},
		{"step", "from a hoof-on of the opposite limb to the hoof-on of the named one"},
	}
}
