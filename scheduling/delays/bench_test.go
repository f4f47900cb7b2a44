package delays_test

import (
	"fmt"
	"testing"

	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"

	"github.com/stretchr/testify/require"
)

// busyDay is a day of sixty pieces: twelve visits of five pieces on four
// stylists, with a basin that they share and a break each.
func busyDay() delays.Problem {
	p := delays.Problem{Minutes: 1440, Now: 560}
	limit := openings.Minute(10)
	for v := range 12 {
		for k := range 5 {
			pc := delays.Piece{ID: fmt.Sprintf("%d/%d", v, k), Minutes: openings.Minute(15 + 5*k), NotBefore: openings.Minute(540 + 150*(v/4)),
				Closed: []openings.Span{{From: 720, To: 750}, {From: 1200, To: 1440}}}
			if v < 4 && k == 0 {
				at := openings.Minute(545 + v)
				pc.Fixed = &at
			}
			p.Pieces = append(p.Pieces, pc)
			if k > 0 {
				l := delays.Link{Before: fmt.Sprintf("%d/%d", v, k-1), After: pc.ID}
				if k != 2 { // the wait for the basin
					l.Max = &limit
				}
				p.Links = append(p.Links, l)
			}
			if k == 2 && v%4 > 0 {
				p.Links = append(p.Links, delays.Link{Before: fmt.Sprintf("%d/%d", v-1, k), After: pc.ID, Min: 2, Why: "basin"})
			}
		}
		if v >= 4 {
			p.Links = append(p.Links, delays.Link{Before: fmt.Sprintf("%d/4", v-4), After: fmt.Sprintf("%d/0", v), Why: "stylist"})
		}
	}
	return p
}

func BenchmarkProjectSixtyPieces(b *testing.B) {
	p := busyDay()
	b.ReportAllocs()
	for b.Loop() {
		got, err := delays.Project(p)
		if err != nil || !got.Feasible {
			require.NoError(b, err)
			b.Fatal(got.Conflict)
		}
	}
}

func BenchmarkProjectDay(b *testing.B) {
	d := randomDay(b, 6, 40)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := d.Project(); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkRemediesBusyDay(b *testing.B) {
	benchmarkRemedies(b, randomDay(b, 6, 40))
}

func BenchmarkRemediesPackedDay(b *testing.B) {
	benchmarkRemedies(b, late(b, "a"))
}

func benchmarkRemedies(b *testing.B, d delays.Day) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := d.Remedies(b.Context(), delays.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
