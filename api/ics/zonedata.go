package ics

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"
)

// ZoneDataVersion returns the version of the system's zone data, such as
// "2026f", or "unknown". It is read once, since a running process keeps the
// zones that it has loaded.
func ZoneDataVersion() string { return systemZoneData() }

var systemZoneData = sync.OnceValue(func() string {
	return zoneDataIn(os.Getenv("ZONEINFO"), "/usr/share/zoneinfo", "/usr/share/lib/zoneinfo", "/etc/zoneinfo")
})

// loaded are the zones that this process has looked up, by name.
var loaded sync.Map

// LoadZone returns a zone of the system's zone data by its IANA name. It reads
// each once.
func LoadZone(name string) (*time.Location, error) {
	if loc, ok := loaded.Load(name); ok {
		return loc.(*time.Location), nil
	}
	loc, err := time.LoadLocation(name)
	if err != nil {
		return nil, fmt.Errorf("ics: zone: %w", err)
	}
	loaded.Store(name, loc)
	return loc, nil
}

// zoneDataIn looks into folders in the order in which the standard library
// looks for zones. The first line of tzdata.zi reads "# version 2026f"; other
// systems keep the bare version in a file of its own.
func zoneDataIn(folders ...string) string {
	for _, folder := range folders {
		if folder == "" {
			continue
		}
		if line := firstLine(filepath.Join(folder, "tzdata.zi")); strings.HasPrefix(line, "# version ") {
			return strings.TrimSpace(strings.TrimPrefix(line, "# version "))
		}
		for _, name := range []string{"+VERSION", "version"} {
			if line := firstLine(filepath.Join(folder, name)); line != "" && len(line) < 16 {
				return line
			}
		}
	}
	return "unknown"
}

func firstLine(path string) string {
	f, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	lines.Scan()
	return strings.TrimSpace(lines.Text())
}
