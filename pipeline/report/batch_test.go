package report

import (
	"strings"
	"testing"
)

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

// TestAClipThatNeedsYouStandsOnOneLine checks that the morning page gives of a clip to look at
// again the first reason, for its own page gives all, but every word of one that failed.
func TestAClipThatNeedsYouStandsOnOneLine(t *testing.T) {
	b := Batch{
		SecondLook: []BatchItem{{Clip: "toward-1.mp4", Link: "toward-1.out/report.html", Reason: "No whole stride could be measured. The clip is not calibrated."}},
		Failed:     []BatchItem{{Clip: "toward-2.mp4", Reason: "The file ends after 12 kB. It holds no picture."}},
	}
	made, err := b.Page()
	if err != nil {
		t.Fatal(err)
	}
	var page strings.Builder
	if err := made.HTML(&page); err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]bool{"No whole stride could be measured.": true, "not calibrated": false, "It holds no picture.": true} {
		if strings.Contains(page.String(), text) != want {
			t.Errorf("%q stands on the page: %v, want %v", text, !want, want)
		}
	}
}
