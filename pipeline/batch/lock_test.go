package batch

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestOnlyOneBatchHoldsAFolder(t *testing.T) {
	whole, second, third := Share{}.normal(), Share{Index: 2, Count: 3}, Share{Index: 3, Count: 3}
	tests := []struct {
		name      string
		held, own Share
		free      bool
	}{
		{"two whole ones", whole, whole, false},
		{"a share while the whole runs", whole, second, false},
		{"the whole while a share runs", second, whole, false},
		{"the same share twice", second, second, false},
		{"two different shares", second, third, true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			folder := t.TempDir()
			if err := writable(folder); err != nil {
				t.Fatal(err)
			}
			release, locked, err := hold(folder, tt.held, "process 7 on barn")
			if err != nil || !locked {
				t.Fatal(locked, err)
			}
			again, _, err := hold(folder, tt.own, "")
			var held *HeldError
			switch {
			case tt.free && err != nil:
				t.Errorf("refused: %v", err)
			case tt.free:
				_ = again()
			case !errors.As(err, &held):
				t.Errorf("error is %v", err)
			case tt.held == tt.own && !strings.Contains(err.Error(), "process 7 on barn"):
				t.Errorf("does not say who holds it: %v", err)
			}
			if err := release(); err != nil {
				t.Fatal(err)
			}
			again, _, err = hold(folder, tt.own, "")
			if err != nil {
				t.Fatalf("after release: %v", err)
			}
			_ = again()
		})
	}
}

func TestHeldFolderIsLeftAlone(t *testing.T) {
	root := yard(t, map[string]string{"a.mp4": ""})
	if err := writable(root); err != nil {
		t.Fatal(err)
	}
	release, _, err := hold(root, Share{}.normal(), "")
	if err != nil {
		t.Fatal(err)
	}
	ledger, err := Run(context.Background(), fakes(t, root))
	var held *HeldError
	if !errors.As(err, &held) || ledger != nil {
		t.Errorf("%v %v", ledger, err)
	}
	if err := release(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(root, MorningData)); err == nil {
		t.Error("a page was written")
	}
}
