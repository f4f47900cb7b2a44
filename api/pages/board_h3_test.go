package pages

import (
	"time"
)

// london stands for a zone with clock changes.
var london = mustZone("Europe/London")

func mustZone(name string) *time.Location {
	loc, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return loc
}

// on11June returns a time of Thursday 11 June 2026 in London.
func on11June(hour, minute int) time.Time {
	return time.Date(2026, time.June, 11, hour, minute, 0, 0, london)
}

func ptr[T any](v T) *T { return &v }

// workday is a day from 9 to 18.
func workday() []TimeSpan { return []TimeSpan{{on11June(9, 0), on11June(18, 0)}} }

// straighteningBoard draws a straightening of 35 cm of medium hair, booked at
// the length within which 8 of 10 end: 18 11 10 30 15 10 15 92 18 5 8 17 15 6
// minutes from 09:00 (derived from the chair-time model), beside an ordinary
// colour in whose unwatched stretch a cut is done.
func straighteningBoard() Board {
	at := on11June
	const ak, mr, tb = "/visits/1", "/visits/2", "/visits/3"
	part := func(kind PartKind, h1, m1, h2, m2 int, code, label, chair, href string) Part {
		return Part{Kind: kind, From: at(h1, m1), To: at(h2, m2), Code: code, Label: label, Chair: chair, Href: href}
	}
	process := part(Watched, 10, 9, 10, 24, "A. K.", "process", "chair 1", ak)
	process.Checks = []time.Time{at(10, 14), at(10, 19)}
	process.BackBy, process.Latest = ptr(at(10, 24)), ptr(at(10, 27))
	dwell := part(Watched, 12, 39, 12, 44, "A. K.", "neutralizer working", "chair 1", ak)
	dwell.BackBy, dwell.Latest = ptr(at(12, 44)), ptr(at(12, 47))
	colour := part(Unwatched, 10, 0, 10, 35, "M. R.", "colour works", "chair 2", mr)
	colour.BackBy, colour.Latest = ptr(at(10, 35)), ptr(at(10, 38))
	pencilled := part(Pencilled, 14, 30, 16, 30, "S. O.", "pencilled until Fri 12:00", "chair 1", "/visits/6")

	return Board{
		Salon: "Corner Salon", DateLabel: "Thursday 11 June", ZoneLabel: "times of the salon, Europe/London",
		AsOf: at(11, 12), Now: ptr(at(11, 12)), From: at(9, 0), To: at(18, 0),
		PrevHref: "/board?day=2026-06-10", NextHref: "/board?day=2026-06-12", TodayHref: "/board", BookHref: "/book",
		People: []Line{
			{
				Name: "Ada", Role: "stylist", Open: workday(), Breaks: []TimeSpan{{at(13, 30), at(14, 0)}},
				Parts: []Part{
					part(HandsOn, 9, 0, 9, 18, "A. K.", "consultation", "chair 1", ak),
					part(HandsOn, 9, 29, 9, 39, "A. K.", "prepare", "chair 1", ak),
					part(HandsOn, 9, 39, 10, 9, "A. K.", "apply", "chair 1", ak),
					process,
					part(HandsOn, 10, 26, 10, 46, "E. F.", "fringe", "chair 3", "/visits/4"),
					part(HandsOn, 10, 49, 12, 21, "A. K.", "iron", "chair 1", ak),
					part(HandsOn, 12, 21, 12, 39, "A. K.", "neutralize", "chair 1", ak),
					dwell,
					part(HandsOn, 13, 9, 13, 24, "A. K.", "finish", "chair 1", ak),
					part(HandsOn, 13, 24, 13, 30, "A. K.", "aftercare and pay", "chair 1", ak),
				},
				Core: []CoreSpan{{TimeSpan{at(9, 39), at(12, 52)}, "A. K."}},
				Free: []FreeSpan{{TimeSpan{at(10, 24), at(10, 49)}, "A. K. is with Mina, basin 1"}},
			},
			{
				Name: "Bo", Role: "stylist", Open: workday(), Breaks: []TimeSpan{{at(13, 0), at(13, 30)}},
				Parts: []Part{
					part(HandsOn, 9, 30, 10, 0, "M. R.", "root colour", "chair 2", mr),
					colour,
					part(HandsOn, 10, 3, 10, 30, "T. B.", "cut", "chair 3", tb),
					part(Basin, 10, 35, 10, 45, "M. R.", "rinse", "basin 2", mr),
					part(HandsOn, 10, 45, 11, 10, "M. R.", "dry", "chair 2", mr),
					part(HandsOn, 12, 0, 13, 0, "L. V.", "cut and dry", "chair 2", "/visits/5"),
					part(HandsOn, 14, 0, 14, 30, "S. O.", "hair as seen", "chair 1", "/visits/6"),
					pencilled,
				},
			},
			{
				Name: "Mina", Role: "assistant", Open: workday(), Breaks: []TimeSpan{{at(11, 30), at(12, 0)}},
				Parts: []Part{
					part(Basin, 9, 18, 9, 29, "A. K.", "wash", "basin 1", ak),
					part(Basin, 10, 24, 10, 34, "A. K.", "rinse", "basin 1", ak),
					part(HandsOn, 10, 34, 10, 49, "A. K.", "dry", "chair 1", ak),
					part(Basin, 12, 44, 12, 52, "A. K.", "rinse", "basin 1", ak),
					part(HandsOn, 12, 52, 13, 9, "A. K.", "dry", "chair 1", ak),
				},
			},
		},
		Stations: []Line{
			{Name: "Chair 1", Role: "chair", Open: workday(), Parts: []Part{
				part(ChairUse, 9, 0, 13, 24, "A. K.", "straightening", "", ak),
				part(Clearing, 13, 24, 13, 34, "", "", "", ""),
				part(ChairUse, 14, 0, 14, 30, "S. O.", "", "", "/visits/6"),
				part(Pencilled, 14, 30, 16, 30, "S. O.", "pencilled", "", "/visits/6"),
			}},
			{Name: "Chair 2", Role: "chair", Open: workday(), Parts: []Part{
				part(ChairUse, 9, 30, 11, 10, "M. R.", "root colour", "", mr),
				part(Clearing, 11, 10, 11, 20, "", "", "", ""),
				part(ChairUse, 12, 0, 13, 0, "L. V.", "", "", "/visits/5"),
				part(Clearing, 13, 0, 13, 3, "", "", "", ""),
			}},
			{Name: "Chair 3", Role: "chair", Open: workday(), Parts: []Part{
				part(ChairUse, 10, 3, 10, 23, "T. B.", "", "", tb),
				part(Clearing, 10, 23, 10, 26, "", "", "", ""),
				part(ChairUse, 10, 26, 10, 46, "E. F.", "", "", "/visits/4"),
				part(Clearing, 10, 46, 10, 49, "", "", "", ""),
			}},
			{Name: "Basin 1", Role: "basin", Open: workday(), Parts: []Part{
				part(Basin, 9, 18, 9, 29, "A. K.", "wash", "", ak),
				part(Clearing, 9, 29, 9, 31, "", "", "", ""),
				part(Basin, 10, 24, 10, 34, "A. K.", "rinse", "", ak),
				part(Clearing, 10, 34, 10, 36, "", "", "", ""),
				part(Basin, 12, 44, 12, 52, "A. K.", "rinse", "", ak),
				part(Clearing, 12, 52, 12, 54, "", "", "", ""),
			}},
			{Name: "Basin 2", Role: "basin", Open: workday(), Parts: []Part{
				part(Basin, 10, 35, 10, 45, "M. R.", "rinse", "", mr),
				part(Clearing, 10, 45, 10, 47, "", "", "", ""),
			}},
		},
		Notes: []string{"8 of 10 visits of this length end in time."},
	}
}
