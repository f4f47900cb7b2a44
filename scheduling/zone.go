package scheduling

import (
	"strings"
	"time"
)

// ZoneByName is the time zone of an IANA name such as Europe/Lisbon, and whether there
// is one. Names that mean something else on the next machine are none: "Local", which is
// this machine's zone, and what lies beside the zones in its folder, of which
// "localtime" is that zone, too, and those below "right" are leap seconds off.
func ZoneByName(name string) (loc *time.Location, known bool) {
	if name == "" || name[0] < 'A' || name[0] > 'Z' { // all IANA names begin with a capital letter
		return nil, false
	}
	// The folder may not tell capitals apart, and "Factory" means that no zone was chosen.
	switch folder, _, _ := strings.Cut(strings.ToLower(name), "/"); folder {
	case "local", "localtime", "posix", "posixrules", "right", "factory":
		return nil, false
	}
	loc, err := time.LoadLocation(name)
	return loc, err == nil
}
