package main

import (
	"os/exec"
	"strings"
	"testing"
)

// TestBuiltProgramLoadsFewLibraries counts the libraries that the program loads
// when it starts, which is most of what starting costs. FFmpeg's four bring about
// 120 of Debian's with them, all of OpenCV would bring as many again.
func TestBuiltProgramLoadsFewLibraries(t *testing.T) {
	for _, tool := range []string{"ld.lld", "ldd"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skipf("NOT TESTED: %s is not installed (Debian: apt install lld libc-bin)", tool)
		}
	}
	program := builtProgram(t)
	out, err := exec.Command("ldd", program).Output()
	if err != nil {
		t.Fatal(err)
	}
	libraries := strings.Split(strings.TrimSpace(string(out)), "\n")
	const most = 170
	if len(libraries) > most {
		t.Errorf("%d libraries, want at most %d:\n%s", len(libraries), most, out)
	}
	for _, l := range libraries {
		for _, unused := range []string{"opencv_highgui", "opencv_videoio", "opencv_imgcodecs", "libQt", "libgdal", "libvtk", "libopenblas"} {
			if strings.Contains(l, unused) {
				t.Errorf("it loads %s, which it has no use for", strings.TrimSpace(l))
			}
		}
	}
	said, err := exec.Command(program, "version").Output()
	if err != nil || !strings.Contains(string(said), "OpenCV 4.") || !strings.Contains(string(said), "FFmpeg ") {
		t.Errorf("version prints %q (%v)", said, err)
	}
}
