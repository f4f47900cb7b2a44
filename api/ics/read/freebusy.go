package read

import (
	"fmt"
	"strings"
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
			begin, end, period := strings.Cut(s, "/")
			m, ok := r.at(p, begin)
			length, okLength := r.periodLength(p, m, end)
			if !period || !ok || !okLength {
				lost++
				continue
			}
			start := m.instant(r.salon)
			loc := r.salon
			if m.form == zoned {
				loc = m.loc
			}
			list = append(list, Interval{Start: start.In(r.salon), End: length.end(start, m.wall, loc).In(r.salon), Tentative: kind == "BUSY-TENTATIVE"})
		}
		if lost > 0 {
			r.log.add(p.line, c.text("UID"), "VFREEBUSY FREEBUSY", fmt.Sprintf("has values that are no periods, %d in number; they are left out", lost))
		}
	}
	return list
}
