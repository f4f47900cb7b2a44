package ics

import (
	"fmt"
	"testing"
	"time"

	"github.com/rickb777/date"
)

// manyParts are n parts of visits of nine parts each.
func manyParts(n int) []Part {
	var out []Part
	for i := 0; len(out) < n; i++ {
		shift := time.Duration(24*(i%180)) * time.Hour
		for j, p := range append(straightening(), straightening()[:3]...) {
			p.UID, p.Visit = fmt.Sprintf("33333333-0000-4000-8000-%06d%06d", i, j), fmt.Sprint("v", i)
			if j >= 6 {
				shift += 12 * time.Hour
			}
			p.Start, p.End = p.Start.Add(shift), p.End.Add(shift)
			for k := range p.Steps {
				p.Steps[k].Start = p.Steps[k].Start.Add(shift)
				p.Steps[k].WatchFor = []string{"Straight down with moderate air; no brush that pulls.", "Start at the nape and work up; keep 1 cm off the scalp."}
			}
			for k := range p.Checks {
				p.Checks[k] = p.Checks[k].Add(shift)
			}
			out = append(out, p)
		}
	}
	return out[:n]
}

func BenchmarkEncode500(b *testing.B) {
	parts := manyParts(500)
	from, to := Window(thursday.Add(date.PeriodOfDays(30)))
	b.ReportAllocs()
	for b.Loop() {
		c, err := StaffFeed(stylist(), parts)
		if err != nil {
			b.Fatal(err)
		}
		out, err := c.Encode(from, to)
		if err != nil {
			b.Fatal(err)
		}
		b.SetBytes(int64(len(out)))
	}
}
