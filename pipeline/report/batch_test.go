package report

import "testing"

func TestAFindingInOneLine(t *testing.T) {
	for finding, want := range map[string]string{
		"even: no difference between left and right is beyond what a sound horse shows from run to run":                                               "even",
		"no side: too little was seen to call the horse even or uneven; film more strides":                                                            "too little was seen to call the horse even or uneven",
		"no side: the signs disagree. To the right: a. To the left: b":                                                                                "the signs disagree",
		"no side: one sign alone does not settle it: the croup":                                                                                       "one sign alone does not settle it",
		"signs point to the left side, the left fore or the left hind: the head; neither withers nor croup settles which":                             "signs point to the left side, the left fore or the left hind",
		"a sign is seen, and no limb is named from it alone: the right hind lands 9.2 % of the stride too early. It may not be there in the next run": "a sign is seen, and no limb is named from it alone",
	} {
		if got := inOneLine(finding); got != want {
			t.Errorf("%q becomes %q, want %q", finding, got, want)
		}
	}
}
