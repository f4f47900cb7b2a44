package read

import (
	_ "embed"
	"slices"
	"strings"
	"sync"
	"time"
)

//go:embed zonenames.txt
var zoneNames string

//go:embed windowszones.txt
var windowsZones string

// canonical finds the right capitals of a name of the tz database.
var canonical = sync.OnceValue(func() map[string]string {
	m := map[string]string{"z": "UTC"}
	for line := range dataLines(zoneNames) {
		m[strings.ToLower(line)] = line
	}
	delete(m, "factory") // says of itself that it is no zone
	return m
})

// windowsNames are the names of zones of Windows.
type windowsNames struct {
	// byName leads from a name in lower case, that of the system or that shown
	// to people with or without its offset, to a name of the tz database.
	byName map[string]string
	// byPlace leads from a place, and from an offset and one of its places, such
	// as "+01:00 berlin".
	byPlace map[string]string
}

var windows = sync.OnceValue(func() windowsNames {
	w := windowsNames{map[string]string{}, map[string]string{}}
	for line := range dataLines(windowsZones) {
		field := strings.Split(line, "\t")
		name, zone, shown := strings.ToLower(field[0]), field[1], strings.ToLower(field[2])
		w.byName[name] = zone
		w.byName[shown] = zone
		offset, places, _ := strings.Cut(strings.TrimPrefix(shown, "(utc"), ") ")
		if places != "coordinated universal time" {
			w.byName[places] = zone
		}
		for place := range strings.SplitSeq(places, ",") {
			for _, key := range []string{strings.TrimSpace(place), offset + " " + strings.TrimSpace(place)} {
				if w.byPlace[key] == "" {
					w.byPlace[key] = zone
				}
			}
		}
	}
	return w
})

func dataLines(s string) func(func(string) bool) {
	return func(yield func(string) bool) {
		for line := range strings.Lines(s) {
			line = strings.TrimRight(line, "\n")
			if line != "" && line[0] != '#' && !yield(line) {
				return
			}
		}
	}
}

// ianaZone returns the zone of a name of the tz database, whatever its
// capitals, or nil.
func ianaZone(name string) *time.Location {
	name = strings.ReplaceAll(name, " ", "_")
	if area, rest, ok := strings.Cut(name, "-"); ok && canonical()[strings.ToLower(area+"/"+rest)] != "" {
		name = area + "/" + rest // such as the US-Eastern of RFC 2445
	}
	if known := canonical()[strings.ToLower(name)]; known != "" {
		name = known
	} else if !looksLikeZone(name) {
		return nil
	}
	loc, err := time.LoadLocation(name)
	if err != nil {
		return nil
	}
	return loc
}

// longestZone is more than the length of any name of the tz database (judgement); the
// longest one, America/Argentina/ComodRivadavia, has 32 letters.
const longestZone = 60

// looksLikeZone reports whether a name that is in no list may be a newer zone
// of the machine's data, and may be looked up without harm.
func looksLikeZone(name string) bool {
	if len(name) > longestZone || strings.Count(name, "/") == 0 || name[0] < 'A' || name[0] > 'Z' {
		return false
	}
	return !slices.ContainsFunc([]byte(name), func(c byte) bool {
		return !letter(c) && (c < '0' || c > '9') && !strings.ContainsRune("/_+-", rune(c))
	})
}

// windowsZone returns the zone of a name of Windows, or nil: "W. Europe
// Standard Time", "(UTC+01:00) Amsterdam, Berlin, Bern, Rome, Stockholm,
// Vienna", the same with GMT, or with other of the places.
func windowsZone(name string) *time.Location {
	name = strings.ToLower(strings.Join(strings.Fields(name), " "))
	if rest, ok := strings.CutPrefix(name, "(gmt"); ok {
		name = "(utc" + rest
	}
	w := windows()
	if zone := w.byName[name]; zone != "" {
		return ianaZone(zone)
	}
	offset, places, ok := strings.Cut(strings.TrimPrefix(name, "(utc"), ")")
	if !ok {
		return nil
	}
	if zone := w.byName[strings.TrimSpace(places)]; zone != "" {
		return ianaZone(zone)
	}
	return placeOf(places, offset+" ")
}

// placesZone returns the zone of one of the places that a name lists, such as
// "Amsterdam, Belgrade, Berlin", or nil.
func placesZone(name string) *time.Location { return placeOf(strings.ToLower(name), "") }

func placeOf(places, prefix string) *time.Location {
	for place := range strings.FieldsFuncSeq(places, func(r rune) bool { return strings.ContainsRune(",/&;", r) }) {
		if zone := windows().byPlace[prefix+strings.TrimSpace(place)]; zone != "" {
			return ianaZone(zone)
		}
	}
	return nil
}

// suffixZone returns the zone whose name a path ends with, such as
// "/example.org/20260101_1/Europe/London", or nil.
func suffixZone(name string) *time.Location {
	name = name[max(0, len(name)-longestZone-1):]
	for {
		_, rest, ok := strings.Cut(name, "/")
		if !ok {
			return nil
		}
		if canonical()[strings.ToLower(strings.ReplaceAll(rest, " ", "_"))] != "" {
			return ianaZone(rest)
		}
		name = rest
	}
}

// offsetZone returns the zone of a name that says an offset from UTC, such as
// "UTC+2", "GMT-0330" or "(UTC+01:00) Somewhere", or nil. Sure is false when
// there are words as well, so that clocks may change where nobody knows.
func offsetZone(name string) (loc *time.Location, sure bool) {
	s := strings.ToUpper(strings.TrimPrefix(strings.TrimSpace(name), "("))
	s, ok := strings.CutPrefix(s, "UTC")
	if !ok {
		if s, ok = strings.CutPrefix(s, "GMT"); !ok {
			return nil, false
		}
	}
	s = strings.TrimSpace(s)
	end := strings.IndexFunc(s, func(r rune) bool { return !strings.ContainsRune("+-0123456789:", r) })
	words := ""
	if end >= 0 {
		s, words = s[:end], strings.Trim(s[end:], " )")
	}
	if s = strings.ReplaceAll(s, ":", ""); len(s) == 2 || len(s) == 4 {
		s = s[:1] + "0" + s[1:]
	}
	seconds, ok := parseOffset(s)
	if !ok {
		return nil, false
	}
	return time.FixedZone("UTC"+s, seconds), words == ""
}
