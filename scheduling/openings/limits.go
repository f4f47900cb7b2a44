package openings

import (
	"fmt"

	"chairblock/scheduling"
)

// Limits of what the search takes. Judgement: far beyond any salon, small enough
// that no sum of minutes overflows and that no search needs 64 MB.
const (
	maxHorizon  Minute = 2 * 366 * 1440 // two years of minutes
	maxClearing Minute = 1440           // a day
	maxUnits           = 2000
	// maxSpans is how many windows, breaks and bookings a shop may have together.
	// Sixty busy days of a salon of ten have 11,000.
	maxSpans = 250_000
	// maxClearings is for how many clearings other than its own changeover the
	// free time of a unit is kept.
	maxClearings = 8
	// maxWork is how many minutes the sets of one stage after another may span
	// together: thirty phases and three roles, about 180 sets, with waits of 32
	// days in all. Half a span of eight bytes for each minute is 32 MB.
	maxWork = 8 << 20
	// maxCountWork is the same for sets that count who is free, which take a bit
	// for each minute: 8 MB.
	maxCountWork = 64 << 20
	// maxRanges is how many ranges of starts an answer may have, those by unit of
	// the first role together. Sixty busy days with ten stylists have 300.
	maxRanges    = 500_000
	wantSpan     = "from before to, both less than two years from the origin"
	wantClearing = "0 to 1440 minutes"
)

// check adds the faults of shop to f and returns its units by id.
func (shop *Shop) check(f *scheduling.Faults) map[string]int32 {
	if shop.Minutes < 1 || shop.Minutes > maxHorizon {
		f.Addf("minutes", fmt.Sprintf("1 to %d", maxHorizon), "is %d", shop.Minutes)
	}
	checkSpans(f, "premises", shop.Premises)
	if len(shop.Units) > maxUnits {
		f.Addf("units", fmt.Sprintf("at most %d", maxUnits), "has %d entries", len(shop.Units))
	}
	checkCount(f, "units", shop.spans())
	byID := make(map[string]int32, len(shop.Units))
	for i := range shop.Units {
		u, at := &shop.Units[i], fmt.Sprintf("units[%d]", i)
		u.check(f, at)
		if _, twice := byID[u.ID]; twice {
			f.Addf(at+".id", "a different id for every unit", "is %q again", u.ID)
		}
		byID[u.ID] = int32(i)
	}
	return byID
}

// spans counts the windows, breaks and bookings.
func (shop *Shop) spans() int {
	n := len(shop.Premises)
	for i := range shop.Units {
		n += shop.Units[i].spans()
	}
	return n
}

func (u *Unit) spans() int { return len(u.Open) + len(u.Breaks) + len(u.Bookings) }

func checkCount(f *scheduling.Faults, field string, spans int) {
	if spans > maxSpans {
		f.Addf(field, fmt.Sprintf("at most %d in the whole shop", maxSpans),
			"brings the windows, breaks and bookings to %d", spans)
	}
}

func (u *Unit) check(f *scheduling.Faults, at string) {
	if u.ID == "" {
		f.Add(at+".id", "is empty", "a name for the unit")
	}
	if u.Kind == "" {
		f.Add(at+".kind", "is empty", "a kind such as stylist, assistant, chair or basin")
	}
	checkClearing(f, at+".changeover", u.Changeover)
	checkSpans(f, at+".open", u.Open)
	checkSpans(f, at+".breaks", u.Breaks)
	bookings := at + ".bookings"
	for i, b := range u.Bookings {
		checkSpan(f, bookings, i, Span{b.From, b.To})
		if b.Clear < 0 || b.Clear > maxClearing {
			checkClearing(f, fmt.Sprintf("%s[%d].clear", bookings, i), b.Clear)
		}
	}
}

func checkClearing(f *scheduling.Faults, field string, m Minute) {
	if m < 0 || m > maxClearing {
		f.Addf(field, wantClearing, "is %d", m)
	}
}

func checkSpans(f *scheduling.Faults, field string, spans []Span) {
	for i, s := range spans {
		checkSpan(f, field, i, s)
	}
}

func checkSpan(f *scheduling.Faults, field string, i int, s Span) {
	if s.From >= s.To || s.From < -maxHorizon || s.To > 2*maxHorizon {
		f.Addf(fmt.Sprintf("%s[%d]", field, i), wantSpan, "is %d to %d", s.From, s.To)
	}
}

func (q Query) check() error {
	var f scheduling.Faults
	if q.From < -maxHorizon || q.From > q.To || q.To > maxHorizon {
		f.Addf("from", fmt.Sprintf("from <= to, within %d minutes of the origin", maxHorizon),
			"is %d with to %d", q.From, q.To)
	}
	if q.Grid < 1 || q.Grid > 1440 {
		f.Addf("grid", "1 to 1440 minutes", "is %d", q.Grid)
	}
	if q.EndBy != nil && (*q.EndBy < -maxHorizon || *q.EndBy > 2*maxHorizon) {
		f.Addf("end_by", "less than two years from the origin", "is %d", *q.EndBy)
	}
	return f.Err()
}

// affordable returns Faults when a search in s could take too much memory. Only
// what lies inside one window of the premises counts, so that the waits of a
// visit may well be without limit in a shop that closes at night.
func (p *Plan) affordable(s *Snapshot) error {
	stay := int64(min(p.maxStay, s.longest))
	slack := max(stay-int64(p.minStay), 0)
	var f scheduling.Faults
	if sets := int64(len(p.full.steps) * (len(p.roles) + 3)); sets*slack > maxWork {
		f.Addf("gaps", fmt.Sprintf("waits of at most %d minutes more than the least in all", maxWork/sets),
			"can be %d minutes longer than the least", slack)
	}
	if stay*int64(p.counts) > maxCountWork {
		f.Addf("gaps", fmt.Sprintf("a visit of at most %d minutes, or fewer different pools", maxCountWork/int64(p.counts)),
			"let the visit last %d minutes", stay)
	}
	return f.Err()
}

func tooManyRanges() error {
	return scheduling.Faults{{Field: "to", Problem: fmt.Sprintf("gives more than %d ranges of starts", maxRanges),
		Want: "a shorter time to search in, or fewer units for the first role"}}
}
