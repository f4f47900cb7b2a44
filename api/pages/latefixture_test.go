package pages

import (
	"fmt"
	"time"
)

// lateBoard is the straightening day at 13:20: Ada's visit ends 22 minutes late
// and runs into the next one, and what is free could be taken by others.
func lateBoard() Board {
	at := on11June
	b := straighteningBoard()
	b.Now, b.AsOf = ptr(at(13, 20)), at(13, 20)
	ada, bo, chair1, chair2 := &b.People[0], &b.People[1], &b.Stations[0], &b.Stations[1]
	ada.Breaks = nil
	ada.Parts = append(ada.Parts,
		Part{Kind: HandsOn, From: at(13, 34), To: at(14, 20), Code: "Vida N.", Label: "cut and dry", Chair: "chair 2", Href: "/visits/9"})
	chair2.Parts = append(chair2.Parts, Part{Kind: ChairUse, From: at(13, 34), To: at(14, 20), Code: "Vida N.", Href: "/visits/9"})
	ada.Shadows = []Shadow{
		{TimeSpan{at(13, 30), at(13, 52)}, "A. K.", "straightening", "/visits/1"},
		{TimeSpan{at(14, 20), at(14, 38)}, "Vida N.", "cut and dry", "/visits/9"},
	}
	chair1.Shadows = []Shadow{{TimeSpan{at(13, 24), at(13, 46)}, "A. K.", "straightening", "/visits/1"}}
	bo.Shadows = []Shadow{{TimeSpan{at(13, 0), at(13, 9)}, "L. V.", "cut and dry", "/visits/5"}}
	ada.Candidates = []Candidate{
		{at(15, 0), at(16, 0), "Noor E.", "cut and dry", "/waiting/3", CandidateWaiting},
		{at(15, 15), at(17, 15), "", "root colour", "/book?start=1", CandidateOffer},
		{at(17, 20), at(17, 50), "Ines P.", "fringe", "/book?hold=4", CandidateHold},
	}
	bo.Candidates = []Candidate{{at(11, 10), at(11, 55), "Noor E.", "cut", "/waiting/3", CandidateWaiting}}
	return b
}

// packedBoard has 14 visits for each stylist, long names, twelve hours, and most
// of the visits late.
func packedBoard() Board {
	b := straighteningBoard()
	b.People, b.Stations, b.Hour12, b.Now, b.Notes = nil, nil, true, ptr(on11June(15, 7)), nil
	names := []string{"Maximiliane-Theodora von Obersteinhausen-Waldkirch", "נועה בן־שמעון", "ملاك عبد الرحمن", "Bo"}
	for i, name := range names {
		l := Line{Name: name, Role: "stylist", Open: workday()}
		for v := range 14 {
			from := on11June(9, 0).Add(time.Duration(v*38) * time.Minute)
			href := fmt.Sprintf("/visits/%d-%d", i, v)
			code := []string{"Wilhelmine-Charlotte M.", "ליאור כ.", "Bo Q.", "ياسمين ع."}[(i+v)%4]
			l.Parts = append(l.Parts, Part{Kind: HandsOn, From: from, To: from.Add(36 * time.Minute), Code: code, Label: "wash, cut and dry", Chair: "chair 1", Href: href})
			if v%2 == 0 {
				l.Shadows = append(l.Shadows, Shadow{TimeSpan{from.Add(36 * time.Minute), from.Add(time.Duration(41+v) * time.Minute)}, code, "wash, cut and dry", href})
			}
			if v%3 == 0 {
				l.Candidates = append(l.Candidates, Candidate{from.Add(10 * time.Minute), from.Add(50 * time.Minute), code, "cut", "/waiting/1",
					[]CandidateKind{CandidateHold, CandidateWaiting, CandidateOffer}[v%4%3]})
			}
		}
		b.People = append(b.People, l)
	}
	return b
}

// movedTo is b with everything as long after start as it was after its own
// beginning.
func movedTo(b Board, start time.Time) Board {
	shift := start.Sub(b.From)
	move := func(t *time.Time) { *t = t.Add(shift).In(start.Location()) }
	move(&b.From)
	move(&b.To)
	b.AsOf, b.Now = time.Time{}, nil
	for _, lines := range [][]Line{b.People, b.Stations} {
		for i := range lines {
			l := &lines[i]
			for j := range l.Parts {
				move(&l.Parts[j].From)
				move(&l.Parts[j].To)
			}
			for j := range l.Shadows {
				move(&l.Shadows[j].From)
				move(&l.Shadows[j].To)
			}
			for j := range l.Candidates {
				move(&l.Candidates[j].From)
				move(&l.Candidates[j].To)
			}
			for j := range l.Open {
				move(&l.Open[j].From)
				move(&l.Open[j].To)
			}
		}
	}
	return b
}
