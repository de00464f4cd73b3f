package batch

import (
	"os"
	"path/filepath"
	"testing"
)

// The layouts are those of proc(5) and cgroups(7).
func TestAvailableMemory(t *testing.T) {
	const meminfo = "MemTotal:       16000000 kB\nMemFree:         1000000 kB\nMemAvailable:    8000000 kB\n"
	const available = 8000000 << 10
	tests := []struct {
		name  string
		files map[string]string
		want  int64
		ok    bool
	}{
		{"nothing is told", nil, 0, false},
		{"no group", map[string]string{"meminfo": meminfo}, available, true},
		{"group without a limit", map[string]string{"meminfo": meminfo, "self": "0::/job\n", "fs/job/memory.max": "max\n", "fs/job/memory.current": "5\n"}, available, true},
		{"group with a limit", map[string]string{"meminfo": meminfo, "self": "0::/job\n", "fs/job/memory.max": "4000000\n", "fs/job/memory.current": "1000000\n"}, 3000000, true},
		{"a group above has the limit", map[string]string{"meminfo": meminfo, "self": "0::/job/step\n", "fs/job/memory.max": "4000000\n", "fs/job/memory.current": "1000000\n", "fs/job/step/memory.max": "max\n"}, 3000000, true},
		{"group of the first version", map[string]string{"meminfo": meminfo, "self": "5:cpu,cpuacct:/x\n4:memory:/pod\n", "fs/memory/pod/memory.limit_in_bytes": "2000000\n", "fs/memory/pod/memory.usage_in_bytes": "500000\n", "fs/memory/memory.limit_in_bytes": "9223372036854771712\n"}, 1500000, true},
		{"more used than allowed", map[string]string{"self": "0::/job\n", "fs/job/memory.max": "10\n", "fs/job/memory.current": "20\n"}, 0, true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			dir := t.TempDir()
			for name, text := range tt.files {
				path := filepath.Join(dir, name)
				if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
					t.Fatal(err)
				}
				write(t, path, text)
			}
			got, ok := availableMemory(filepath.Join(dir, "meminfo"), filepath.Join(dir, "self"), filepath.Join(dir, "fs"))
			if got != tt.want || ok != tt.ok {
				t.Errorf("%d %v, want %d %v", got, ok, tt.want, tt.ok)
			}
		})
	}
}
