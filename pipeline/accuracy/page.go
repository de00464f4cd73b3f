package accuracy

import (
	"bytes"
	"fmt"
)

// Between returns page with the text between a section's two markers replaced: lines
// of their own, <!-- tables: NAME --> and <!-- end: NAME -->. A page without both, in
// this order, is an error.
func Between(page []byte, section string, text []byte) ([]byte, error) {
	first, last := fmt.Appendf(nil, "<!-- tables: %s -->\n", section), fmt.Appendf(nil, "<!-- end: %s -->\n", section)
	from, to := bytes.Index(page, first), bytes.Index(page, last)
	if from < 0 || to < from {
		return nil, fmt.Errorf("no lines %q and %q, one after the other", bytes.TrimSpace(first), bytes.TrimSpace(last))
	}
	from += len(first)
	return bytes.Join([][]byte{page[:from], []byte("\n"), bytes.TrimSpace(text), []byte("\n\n"), page[to:]}, nil), nil
}
