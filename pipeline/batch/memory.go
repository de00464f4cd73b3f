package batch

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"jogstrip/pipeline/proc"
)

// What measuring one clip takes: a part of its own, and a part that grows with
// the picture. With two processors at most 315 MiB were measured at 1920 × 1080
// up to 80 s, 374 MiB at four minutes, and 719 MiB at 3840 × 2160: part of the frames is kept
// in memory, up to a bound (scripts/bench, scripts/bench-memory);
// decoders hold more pictures where there are more processors, hence the margin.
//
// With one processor, and so one decoder, 852 MiB were measured at 7680 × 4320; a
// decoder may have to keep more pictures than that clip's, of 1.5 bytes a pixel each.
const (
	needBase        = 300 << 20
	needPerPixel    = 60
	needOnePerPixel = 30
)

// Need returns the memory that measuring a clip of width × height px takes, bytes.
func Need(width, height int) int64 {
	return needBase + needPerPixel*int64(width)*int64(height)
}

// needOne is Need for a process that has a single processor.
func needOne(width, height int) int64 {
	return needBase + needOnePerPixel*int64(width)*int64(height)
}

// resident returns the memory that a process and the processes it has started hold,
// bytes; 0 where the system does not tell.
func resident(pid int) int64 {
	const deepest = 3 // A process, the programs it has started, and theirs.
	return residentBelow(strconv.Itoa(pid), deepest)
}

func residentBelow(pid string, deep int) int64 {
	data, err := os.ReadFile(filepath.Join("/proc", pid, "statm"))
	if err != nil || deep == 0 {
		return 0
	}
	var sum int64
	if fields := strings.Fields(string(data)); len(fields) > 1 {
		pages, _ := strconv.ParseInt(fields[1], 10, 64)
		sum = pages * int64(os.Getpagesize())
	}
	tasks, _ := filepath.Glob(filepath.Join("/proc", pid, "task", "*", "children"))
	for _, path := range tasks {
		children, _ := os.ReadFile(path)
		for _, child := range strings.Fields(string(children)) {
			sum += residentBelow(child, deep-1)
		}
	}
	return sum
}

// sized writes an amount of memory as people say it.
func sized(bytes int64) string {
	if bytes >= 1<<30 {
		return fmt.Sprintf("%.1f GiB", float64(bytes)/(1<<30))
	}
	return fmt.Sprintf("%d MiB", bytes>>20)
}

// AvailableMemory returns how much memory can be had without pushing others
// out, bytes; ok is false where the system does not tell. A limit set for a
// group of processes (containers, cluster jobs) or for each process (ulimit) counts.
func AvailableMemory() (bytes int64, ok bool) {
	bytes, ok = availableMemory("/proc/meminfo", "/proc/self/cgroup", "/sys/fs/cgroup")
	if limit, limited := proc.MemoryLimit(); limited && (!ok || limit < bytes) {
		bytes, ok = limit, true
	}
	return bytes, ok
}

func availableMemory(meminfo, membership, groups string) (bytes int64, ok bool) {
	if b, found := meminfoAvailable(meminfo); found {
		bytes, ok = b, true
	}
	if b, found := groupHeadroom(membership, groups); found && (!ok || b < bytes) {
		bytes, ok = b, true
	}
	return bytes, ok
}

func meminfoAvailable(path string) (int64, bool) {
	f, err := os.Open(path)
	if err != nil {
		return 0, false
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		words := strings.Fields(lines.Text())
		if len(words) >= 2 && words[0] == "MemAvailable:" {
			kib, err := strconv.ParseInt(words[1], 10, 64)
			return kib << 10, err == nil && kib > 0
		}
	}
	return 0, false
}

// groupHeadroom returns the least room up to a limit of the process's control
// group or of one above it.
func groupHeadroom(membership, groups string) (least int64, ok bool) {
	data, err := os.ReadFile(membership)
	if err != nil {
		return 0, false
	}
	consider := func(dir, limitFile, usedFile string) {
		limit, limited := readNumber(filepath.Join(dir, limitFile))
		if !limited {
			return
		}
		used, _ := readNumber(filepath.Join(dir, usedFile))
		if room := max(limit-used, 0); !ok || room < least {
			least, ok = room, true
		}
	}
	for _, line := range strings.Split(strings.TrimSpace(string(data)), "\n") {
		parts := strings.SplitN(line, ":", 3)
		if len(parts) != 3 {
			continue
		}
		root, limitFile, usedFile := groups, "memory.max", "memory.current"
		if parts[1] != "" {
			if !strings.Contains(","+parts[1]+",", ",memory,") {
				continue
			}
			root, limitFile, usedFile = filepath.Join(groups, "memory"), "memory.limit_in_bytes", "memory.usage_in_bytes"
		}
		for dir := filepath.Clean("/" + parts[2]); ; dir = filepath.Dir(dir) {
			consider(filepath.Join(root, dir), limitFile, usedFile)
			if dir == "/" {
				break
			}
		}
	}
	return least, ok
}

func readNumber(path string) (int64, bool) {
	data, err := os.ReadFile(path)
	if err != nil {
		return 0, false
	}
	n, err := strconv.ParseInt(strings.TrimSpace(string(data)), 10, 64)
	const unlimited = 1 << 60 // The first version's way to say so.
	return n, err == nil && n < unlimited
}
