package read

import (
	"fmt"
	"strings"
	"time"
)

// freeBusy reads the busy times of one VFREEBUSY (RFC 5545 section 3.6.4).
func (r *reader) freeBusy(c *component) []Interval {
	var list []Interval
	for i := range c.props {
		p := &c.props[i]
		kind := strings.ToUpper(p.param("FBTYPE"))
		// Types nobody knows count as busy (section 3.2.9).
		if p.name != "FREEBUSY" || kind == "FREE" {
			continue
		}
		lost := 0
		for s := range strings.SplitSeq(p.value, ",") {
			if s == "" {
				continue
			}
			if start, end, ok := r.period(p, s); ok {
				list = append(list, Interval{Start: start, End: end, Tentative: kind == "BUSY-TENTATIVE"})
			} else {
				lost++
			}
		}
		if lost > 0 {
			r.log.add(p.line, c.uid, "VFREEBUSY FREEBUSY", fmt.Sprintf("has values that are no periods, %d in number; they are left out", lost))
		}
	}
	return list
}

// period reads a start and an end or length (RFC 5545 section 3.3.9).
func (r *reader) period(p *property, s string) (start, end time.Time, ok bool) {
	first, rest, ok := strings.Cut(s, "/")
	if !ok {
		return start, end, false
	}
	m, ok := r.at(p, first)
	if !ok {
		return start, end, false
	}
	length, ok := r.periodLength(p, m, rest)
	loc := r.salon
	if m.form == zoned {
		loc = m.loc
	}
	start = m.instant(r.salon)
	return start.In(r.salon), length.end(start, m.wall, loc).In(r.salon), ok
}
