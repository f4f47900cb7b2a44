package ranking_test

import (
	"fmt"

	"pgregory.net/rapid"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/ranking"
)

// draw makes small random questions.
type draw struct{ t *rapid.T }

func (d draw) upTo(n int) int { return rapid.IntRange(0, n).Draw(d.t, "n") }

func (d draw) one(n int) bool { return d.upTo(n-1) == 0 }

func (d draw) minutes(lo, hi int) minute { return minute(lo + d.upTo(hi-lo)) }

var kinds = []openings.UnitKind{openings.Stylist, openings.Assistant, openings.Chair, openings.Basin}

func (d draw) spans(n, longest int, horizon minute) []openings.Span {
	var out []openings.Span
	for range n {
		from := d.minutes(0, int(horizon)-2)
		out = append(out, openings.Span{From: from, To: min(horizon, from+d.minutes(1, longest))})
	}
	return out
}

func (d draw) shop() openings.Shop {
	s := openings.Shop{Minutes: d.minutes(60, 110)}
	s.Premises = []openings.Span{{From: 0, To: s.Minutes}}
	if d.one(2) {
		s.Premises = d.spans(1+d.upTo(2), 80, s.Minutes)
	}
	for i := range 3 + d.upTo(5) {
		u := openings.Unit{ID: string(rune('a' + (i*5+3)%26)), Kind: kinds[i%4], Changeover: d.minutes(0, 3),
			Open: []openings.Span{{From: 0, To: s.Minutes}}}
		if d.one(4) {
			u.Open = d.spans(2, 60, s.Minutes)
		}
		if d.one(2) {
			u.Skills = []string{"cut"}
		}
		if d.one(3) {
			u.Breaks = d.spans(1, 8, s.Minutes)
		}
		for _, b := range d.spans(d.upTo(4), 10, s.Minutes) {
			u.Bookings = append(u.Bookings, openings.Booking{From: b.From, To: b.To, Clear: d.minutes(0, 3)})
		}
		s.Units = append(s.Units, u)
	}
	return s
}

func (d draw) need() openings.Need {
	n := openings.Need{Kinds: []openings.UnitKind{kinds[d.upTo(3)]}}
	if k := kinds[d.upTo(3)]; d.one(2) && k != n.Kinds[0] {
		n.Kinds = append(n.Kinds, k)
	}
	if d.one(8) {
		n.Skills = []string{"cut"}
	}
	if d.one(8) {
		n.Except = []string{"d", "n"}
	}
	return n
}

func (d draw) visit() openings.VisitSpec {
	var v openings.VisitSpec
	// Mostly the usual shape: a stylist now and then, a chair all along.
	usual := !d.one(3)
	if usual {
		v.Roles = []openings.Role{{Name: "lead", Need: openings.Need{Kinds: kinds[:1]}}, {Name: "chair", Need: openings.Need{Kinds: kinds[2:3]}}}
	} else {
		for i := range d.upTo(3) {
			v.Roles = append(v.Roles, openings.Role{Name: fmt.Sprintf("r%d", i), Need: d.need()})
		}
	}
	for i := range 1 + d.upTo(4) {
		ph := openings.Phase{Name: fmt.Sprintf("p%d", i), Minutes: d.minutes(1, 9)}
		for k, r := range v.Roles {
			if usual && k == 1 || d.one(2) {
				ph.Roles = append(ph.Roles, r.Name)
			}
		}
		if d.one(3) {
			for range 1 + d.upTo(2) {
				ph.Pool = append(ph.Pool, d.need())
			}
		}
		v.Phases = append(v.Phases, ph)
		if i == 0 {
			continue
		}
		g := openings.Gap{Min: d.minutes(0, 1)}
		if g.Max = g.Min; d.one(2) {
			g.Max += d.minutes(1, 8)
		}
		for k, r := range v.Roles {
			if usual && k == 1 || d.one(4) {
				g.Hold = append(g.Hold, r.Name)
			}
		}
		v.Gaps = append(v.Gaps, g)
	}
	if d.one(3) {
		v.Clear = map[openings.UnitKind]minute{kinds[d.upTo(3)]: d.minutes(0, 5)}
	}
	if d.one(4) {
		v.ClearLeast = map[openings.UnitKind]minute{kinds[d.upTo(3)]: d.minutes(0, 5)}
	}
	return v
}

func (d draw) weights() ranking.Weights {
	// Sixty-fourths, so that doubling is exact.
	w := func() float64 { return float64(d.upTo(128)) / 64 }
	return ranking.Weights{Lost: w(), Wish: w(), OtherLead: w(), Stay: w(), Slack: w(), Early: w(), SlackCap: d.minutes(1, 12)}
}

// input returns a question and the query behind its starts.
func (d draw) input() (ranking.Input, openings.Query) {
	shop := d.shop()
	in := ranking.Input{Visit: d.visit(), Offer: d.minutes(0, 7), Weights: d.weights()}
	for i := range d.upTo(3) {
		in.Mix = append(in.Mix, ranking.Standard{Name: fmt.Sprintf("m%d", i), Spec: d.visit(), PerDay: 1 + d.upTo(3), Worth: float64(1 + d.upTo(4))})
	}
	half := d.minutes(20, int(shop.Minutes)-20)
	in.Days = []ranking.Day{{Span: openings.Span{From: d.minutes(0, 5), To: half}}}
	if !d.one(4) {
		in.Days = append(in.Days, ranking.Day{Span: openings.Span{From: half + d.minutes(0, 3), To: shop.Minutes}})
	}
	for i := range in.Days {
		if day := &in.Days[i]; d.one(2) {
			from := day.From + d.minutes(0, 40)
			day.Wish = &openings.StartRange{From: from, To: from + d.minutes(0, 9)}
		}
	}
	if d.one(2) {
		in.Lead = shop.Units[0].ID
	}
	q := openings.Query{From: d.minutes(0, 9), To: shop.Minutes, Grid: 1}
	switch d.upTo(3) {
	case 0:
		q.Grid = d.minutes(2, 5)
	case 1:
		end := d.minutes(30, 100)
		q.EndBy = &end
	}
	return ask(d.t, in, shop, q), q
}

// ask answers q for shop and puts the starts into in.
func ask(t fatal, in ranking.Input, shop openings.Shop, q openings.Query) ranking.Input {
	snap, err := openings.NewSnapshot(shop)
	if err != nil {
		t.Fatal(err)
	}
	plan, err := openings.Compile(in.Visit, snap)
	if err != nil {
		t.Fatal(err)
	}
	starts, err := plan.Search(snap, q)
	if err != nil {
		t.Fatal(err)
	}
	in.Snapshot, in.Starts, in.Grid = snap, starts, q.Grid
	return in
}

type fatal interface{ Fatal(args ...any) }
