package problemfile

import (
	"fmt"
	"slices"

	"chairblock/scheduling/openings"
)

// Limits of lists, beside those of a search, so that no file costs more work than
// its length lets expect. Judgement: far beyond any salon.
const (
	maxNames  = 200 // skills, kinds or roles at one place
	maxPhases = openings.MaxPhases
	maxGrid   = 1440
)

// shop is a shop and the ids of its units.
type shop struct {
	openings.Shop
	ids map[string]bool
}

// shopFrom reads minutes, premises and units of a horizon that is not too long.
func shopFrom(top object, longest openings.Minute) shop {
	s := shop{Shop: openings.Shop{Minutes: top.whole("minutes", 1, longest)}, ids: map[string]bool{}}
	s.Premises = top.spans("premises", s.Minutes)
	for it := range top.list("units", openings.MaxUnits) {
		u := unitFrom(top.report, it, s.Minutes)
		s.ids[u.ID] = true
		s.Units = append(s.Units, u)
	}
	return s
}

func unitFrom(r *report, it item, minutes openings.Minute) openings.Unit {
	o, ok := r.asObject(it.at(), it.v, "id", "kind", "skills", "open", "breaks", "bookings", "changeover")
	if !ok {
		return openings.Unit{}
	}
	u := openings.Unit{ID: o.text("id", true), Kind: openings.UnitKind(o.text("kind", true)), Skills: o.texts("skills", maxNames),
		Open: o.spans("open", minutes), Breaks: o.spans("breaks", minutes),
		Changeover: o.wholeOr("changeover", 0, openings.MaxClearing, 0)}
	bookings := o.spans("bookings", minutes)
	oncePromised(o, bookings)
	u.Bookings = make([]openings.Booking, len(bookings))
	for i, s := range bookings {
		u.Bookings[i] = openings.Booking{From: s.From, To: s.To, Clear: u.Changeover}
	}
	return u
}

// oncePromised reports bookings of a unit that overlap, each with the one that
// begins before it and lasts longest. Bookings nearer to each other than the
// changeover are no fault: they may be steps of one visit.
func oncePromised(unit object, bookings []openings.Span) {
	order := make([]int32, len(bookings))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(a, b int32) int {
		if d := bookings[a].From - bookings[b].From; d != 0 {
			return int(d)
		}
		return int(a - b)
	})
	last := -1
	for _, i := range order {
		b := bookings[i]
		if last >= 0 && b.From < bookings[last].To {
			l := bookings[last]
			unit.addf(fmt.Sprintf("%s[%d]", unit.under("bookings"), i), "no minute promised twice",
				"is %d to %d and overlaps bookings[%d], %d to %d", b.From, b.To, last, l.From, l.To)
		}
		if last < 0 || b.To > bookings[last].To {
			last = int(i)
		}
	}
}

// visitMembers are the members of a visit.
var visitMembers = []string{"roles", "phases", "gaps"}

// visitFrom reads a visit for units of s.
func visitFrom(o object, s shop) openings.VisitSpec {
	var v openings.VisitSpec
	for it := range o.list("roles", openings.MaxRoles) {
		if r, ok := o.asObject(it.at(), it.v, "role", "kinds", "skills", "only"); ok {
			v.Roles = append(v.Roles, openings.Role{Name: r.text("role", true), Need: needFrom(r, s)})
		}
	}
	for it := range o.list("phases", maxPhases) {
		ph, ok := o.asObject(it.at(), it.v, "name", "minutes", "roles", "pool")
		if !ok {
			continue
		}
		phase := openings.Phase{Name: ph.text("name", false), Minutes: ph.whole("minutes", 1, openings.MaxHorizon), Roles: ph.texts("roles", maxNames)}
		for it := range ph.list("pool", openings.MaxPool) {
			if n, ok := ph.asObject(it.at(), it.v, "kinds", "skills", "only"); ok {
				phase.Pool = append(phase.Pool, needFrom(n, s))
			}
		}
		v.Phases = append(v.Phases, phase)
	}
	for it := range o.list("gaps", maxPhases) {
		if g, ok := o.asObject(it.at(), it.v, "min", "max", "hold"); ok {
			v.Gaps = append(v.Gaps, openings.Gap{Min: g.whole("min", 0, openings.MaxHorizon), Max: g.whole("max", 0, openings.MaxHorizon),
				Hold: g.texts("hold", maxNames)})
		}
	}
	return v
}

func needFrom(o object, s shop) openings.Need {
	n := openings.Need{Skills: o.texts("skills", maxNames), Only: unitIDs(o, "only", s)}
	for _, k := range o.texts("kinds", maxNames) {
		n.Kinds = append(n.Kinds, openings.UnitKind(k))
	}
	return n
}

const oneUnit = "the id of one of units"

// unitIDs reads a list of ids of units that the shop has.
func unitIDs(o object, name string, s shop) []string {
	ids := o.texts(name, openings.MaxUnits)
	for i, id := range ids {
		if !s.ids[id] {
			o.addf(fmt.Sprintf("%s[%d]", o.under(name), i), oneUnit, "is %q", short(id))
		}
	}
	return ids
}

// unitID reads the id of a unit that the shop has.
func unitID(o object, name string, s shop) string { return o.oneOf(name, s.ids, oneUnit) }
