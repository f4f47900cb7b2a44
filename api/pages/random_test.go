package pages

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"time"
)

// emptyBoard is a day on which everybody works and nothing is booked.
func emptyBoard() Board {
	b := straighteningBoard()
	b.Notes = nil
	for i := range b.People {
		b.People[i].Parts, b.People[i].Core, b.People[i].Free = nil, nil, nil
	}
	for i := range b.Stations {
		b.Stations[i].Parts = nil
	}
	return b
}

// fullBoard is six people with eighteen parts each, and a station for each.
func fullBoard() Board {
	r := rand.New(rand.NewPCG(7, 7))
	b := straighteningBoard()
	b.People, b.Stations, b.Notes = nil, nil, nil
	for i := range 6 {
		name := []string{"Ada", "Bo", "Cleo", "Dorothea-Wilhelmine", "Emil", "Mina"}[i]
		b.People = append(b.People, Line{Name: name, Role: "stylist", Open: workday(), Parts: randomParts(r, b, 18, false)})
		b.Stations = append(b.Stations, Line{Name: fmt.Sprintf("Chair %d", i+1), Role: "chair", Open: workday()})
	}
	return b
}

var stepWords = []string{"wash", "prepare", "apply", "neutralize", "cut and dry", "iron", "finish", "consultation", "aftercare and pay", "colour works"}

// randomParts fills the day of b with n parts of which none but beams overlap.
func randomParts(r *rand.Rand, b Board, n int, long bool) []Part {
	minutes := int(b.To.Sub(b.From).Minutes())
	at := func(m int) time.Time { return b.From.Add(time.Duration(m) * time.Minute) }
	cuts := make([]int, n+1)
	for i := range cuts {
		cuts[i] = i*minutes/n + r.IntN(max(minutes/n-3, 1))
	}
	kinds := []PartKind{HandsOn, HandsOn, Watched, Unwatched, Basin, ChairUse, Clearing, Pencilled, Kept}
	var parts []Part
	for i := range n {
		end := min(cuts[i+1], cuts[i]+1+r.IntN(max(cuts[i+1]-cuts[i], 1)))
		p := Part{
			Kind: kinds[r.IntN(len(kinds))], From: at(cuts[i]), To: at(max(end, cuts[i]+1)),
			Code: initials(r, long), Label: words(r, long), Chair: "chair 1", Href: fmt.Sprintf("/visits/%d", r.IntN(9)),
		}
		if isBeam(p.Kind) {
			p.BackBy = ptr(p.To)
			p.Latest = ptr(p.To.Add(time.Duration(r.IntN(9)) * time.Minute))
			p.Checks = []time.Time{p.From.Add(p.To.Sub(p.From) / 2)}
			if r.IntN(3) == 0 { // a beam that hangs over the next ones
				p.To = p.To.Add(time.Duration(r.IntN(90)) * time.Minute)
			}
		}
		parts = append(parts, p)
	}
	return parts
}

func initials(r *rand.Rand, long bool) string {
	if long && r.IntN(6) == 0 {
		return strings.Repeat("W", 1+r.IntN(40))
	}
	return string(rune('A'+r.IntN(26))) + ". " + string(rune('A'+r.IntN(26))) + "."
}

var oddWords = []string{
	"Щербакова", "Ναυσικᾶ", "中村", "ملاحظة", "👩‍🦱", "﷽", "mmmmmmmm", "iiii", "z̷̢̛̤̥̦a̴l̵g̶o̷", "<b>&\"'", "\u202eevil", "ﬃ", "נועה בן־שמעון", "",
}

func words(r *rand.Rand, long bool) string {
	if !long {
		return stepWords[r.IntN(len(stepWords))]
	}
	var w []string
	for range r.IntN(6) {
		if r.IntN(3) == 0 {
			w = append(w, oddWords[r.IntN(len(oddWords))])
		} else {
			w = append(w, stepWords[r.IntN(len(stepWords))])
		}
	}
	return strings.Join(w, " ")
}

// randomBoard is any board: crowded or empty, with long and odd names, now and
// then on a day on which clocks change, at any width.
func randomBoard(r *rand.Rand) Board {
	from := time.Date(2026, time.June, 11, 7+r.IntN(4), 30*r.IntN(2), 0, 0, london)
	switch r.IntN(4) {
	case 0:
		from = time.Date(2026, time.October, 25, 0, 0, 0, 0, london)
	case 1:
		from = time.Date(2026, time.October, 4, 0, 0, 0, 0, mustZone("Australia/Lord_Howe"))
	}
	b := Board{
		Salon: words(r, true), DateLabel: "Thursday 11 June", ZoneLabel: words(r, true), From: from,
		To: from.Add(time.Duration(4+r.IntN(30)) * time.Hour), Width: 800 + 100*r.IntN(18), Hour12: r.IntN(4) == 0,
	}
	if r.IntN(2) == 0 {
		b.Now = ptr(from.Add(time.Duration(r.IntN(300)) * time.Minute))
	}
	for range 1 + r.IntN(4) {
		b.People = append(b.People, randomLine(r, b))
	}
	for range r.IntN(4) {
		b.Stations = append(b.Stations, randomLine(r, b))
	}
	return b
}

func randomLine(r *rand.Rand, b Board) Line {
	l := Line{Name: words(r, true), Role: words(r, true), Parts: randomParts(r, b, 1+r.IntN(30), true)}
	for range r.IntN(5) { // work that overlaps other work, as faulty data would
		l.Parts = append(l.Parts, randomParts(r, b, 2, true)...)
	}
	span := func() TimeSpan {
		f := b.From.Add(time.Duration(r.IntN(400)) * time.Minute)
		return TimeSpan{f, f.Add(time.Duration(1+r.IntN(240)) * time.Minute)}
	}
	for range r.IntN(4) {
		l.Core = append(l.Core, CoreSpan{span(), initials(r, true)})
		l.Free = append(l.Free, FreeSpan{span(), words(r, true)})
		l.Open = append(l.Open, span())
		l.Breaks = append(l.Breaks, span())
	}
	kinds := []CandidateKind{CandidateHold, CandidateWaiting, CandidateOffer}
	for range r.IntN(6) {
		s := span()
		l.Shadows = append(l.Shadows, Shadow{TimeSpan{s.From, s.From.Add(time.Duration(1+r.IntN(40)) * time.Minute)}, initials(r, true), words(r, true), fmt.Sprintf("/visits/%d", r.IntN(9))})
		c := span()
		l.Candidates = append(l.Candidates, Candidate{c.From, c.To, initials(r, true), words(r, true), "/waiting/1", kinds[r.IntN(3)]})
	}
	return l
}
