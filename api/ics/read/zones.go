package read

import (
	"fmt"
	"strings"
	"time"
)

// zones finds the zones that one VCALENDAR names.
type zones struct {
	salon     *time.Location
	fallback  string                  // X-WR-TIMEZONE
	described map[string][]*component // VTIMEZONEs by name
	left      *zoneLimits
	log       *problems
	found     map[string]*time.Location // by name as written and as looked up
}

// zoneLimits is what a file may still cost by its zones.
type zoneLimits struct {
	named int // names that may be looked up
	steps int // days looked at for changes of clocks
}

// vtimezones returns those of a calendar by name.
func vtimezones(calendar *component) map[string][]*component {
	m := map[string][]*component{}
	for _, c := range calendar.children {
		if c.name == "VTIMEZONE" {
			name := zoneName(c.text("TZID"))
			m[name] = append(m[name], c)
		}
	}
	return m
}

// zoneName is a TZID without what is no part of the name.
func zoneName(tzid string) string { return strings.TrimSpace(strings.ReplaceAll(tzid, `\`, "")) }

// zone returns the zone for a TZID. In this order: the name in the tz
// database, names of Windows, a path that ends with a name of the tz database,
// the file's own VTIMEZONE, a list of places, an offset from UTC, X-WR-TIMEZONE,
// and the salon's zone. Line is told for the last three, once each.
func (z *zones) zone(tzid string, line int) *time.Location {
	if loc, ok := z.found[tzid]; ok {
		return loc
	}
	if z.left.named--; z.left.named < 0 {
		if z.left.named == -1 {
			z.log.add(line, "", "TZID", "names more different time zones than are looked up; the others are read in the salon's time zone")
		}
		return z.salon
	}
	name := zoneName(tzid)
	loc, known := z.found[name]
	if !known {
		var doubt string
		if loc, doubt = z.look(name); doubt != "" {
			z.log.addf(line, "", "TZID", "names a time zone that is not known, %q; %s", short(tzid, 60), doubt)
		}
		z.found[name] = loc
	}
	z.found[tzid] = loc
	return loc
}

func (z *zones) look(name string) (loc *time.Location, doubt string) {
	for _, find := range []func(string) *time.Location{ianaZone, windowsZone, suffixZone, z.own, placesZone} {
		if loc := find(name); loc != nil {
			return loc, ""
		}
	}
	if loc, sure := offsetZone(name); sure {
		return loc, ""
	} else if loc != nil {
		return loc, "its offset from UTC is taken for the whole year"
	}
	for _, find := range []func(string) *time.Location{ianaZone, windowsZone, suffixZone} {
		if loc := find(z.fallback); loc != nil {
			return loc, fmt.Sprintf("its times are read in the calendar's own, %q", short(z.fallback, 60))
		}
	}
	return z.salon, "its times are read in the salon's time zone"
}

// own returns the zone that a VTIMEZONE of the calendar describes, or nil.
func (z *zones) own(name string) *time.Location {
	var loc *time.Location
	for _, c := range z.described[name] {
		if loc != nil {
			z.log.addf(c.line, "", "VTIMEZONE", "describes %q a second time; the first one counts", short(name, 60))
			break
		}
		loc = described(c, &z.left.steps, z.log)
	}
	return loc
}

// at reads one date or time of a property of this calendar.
func (z *zones) at(p *property, value string) (moment, bool) {
	var loc *time.Location
	if tzid := p.param("TZID"); tzid != "" && len(strings.TrimSpace(value)) > len("20260301") {
		loc = z.zone(tzid, p.line)
	}
	m, ok := parseMoment(value, loc)
	if ok && m.form != dateOnly && strings.EqualFold(p.param("VALUE"), "DATE") && m.wall == wall(m.wall.days()*day) {
		m.form, m.loc = dateOnly, nil
	}
	return m, ok
}
