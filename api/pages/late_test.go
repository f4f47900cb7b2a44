package pages

import (
	"io"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

// lateLine is a line on which A. K. should end at 13:30.
func lateLine(parts ...Part) Line {
	return Line{Name: "Ada", Parts: append([]Part{{Kind: HandsOn, From: on11June(13, 0), To: on11June(13, 30), Code: "A. K.", Href: "/visits/1"}}, parts...)}
}

func TestALateVisitClashesOnlyWithWhatNeedsHandsOrEyes(t *testing.T) {
	at := on11June
	other := func(kind PartKind, h1, m1, h2, m2 int) Part {
		return Part{Kind: kind, From: at(h1, m1), To: at(h2, m2), Code: "B. D.", Href: "/visits/2"}
	}
	shadow := Shadow{TimeSpan{at(13, 30), at(13, 52)}, "A. K.", "finish", "/visits/1"}
	for _, tt := range []struct {
		name string
		line Line
		want string
	}{
		{"nothing follows", lateLine(), ""},
		{"the next visit begins when it ends", lateLine(other(HandsOn, 13, 52, 14, 0)), ""},
		{"the next visit begins before", lateLine(other(HandsOn, 13, 51, 14, 0)), "runs into B. D. at 13:51"},
		{"the first of two is named", lateLine(other(HandsOn, 13, 45, 14, 0), other(Basin, 13, 35, 13, 45)), "runs into B. D. at 13:35"},
		{"its own next part", lateLine(Part{Kind: HandsOn, From: at(13, 30), To: at(13, 40), Code: "A. K.", Href: "/visits/1"}), ""},
		{"a beam with an open bay", lateLine(other(Unwatched, 13, 30, 14, 0)), ""},
		{"a watched beam", lateLine(other(Watched, 13, 30, 14, 0)), "runs into B. D. at 13:30"},
		{"cleaning", lateLine(Part{Kind: Clearing, From: at(13, 30), To: at(13, 40)}), ""},
		{"something kept, without a name", lateLine(Part{Kind: Kept, From: at(13, 30), To: at(13, 40)}), "runs into kept, no client at 13:30"},
		{"a break", Line{Breaks: []TimeSpan{{at(13, 45), at(14, 15)}}}, "runs into the break at 13:45"},
		{"a candidate", Line{Candidates: []Candidate{{at(13, 30), at(14, 0), "C. D.", "", "", CandidateOffer}}}, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := clock{loc: london}
			require.Equal(t, tt.want, c.clashWords(shadow, tt.line))
			tt.line.Shadows = []Shadow{shadow}
			b := straighteningBoard()
			b.People, b.Stations = []Line{tt.line}, nil
			l := newLayout(b, false)
			for _, d := range l.lines {
				for _, s := range d.shapes {
					if s.part.Kind == partLate {
						require.Equal(t, tt.want != "", s.clash, "the double outline")
						require.Contains(t, s.name, tt.want)
					}
				}
			}
		})
	}
}

func TestVisitsWithoutLinksAreToldApartByTheirClients(t *testing.T) {
	s := Shadow{TimeSpan{on11June(13, 30), on11June(13, 52)}, "A. K.", "", ""}
	l := Line{Parts: []Part{{Kind: HandsOn, From: on11June(13, 30), To: on11June(14, 0), Code: "A. K."}}}
	_, clash := s.hits(l)
	require.False(t, clash)
	s.Code = ""
	_, clash = s.hits(l)
	require.True(t, clash, "what is nobody's in particular is not its own")
}

func TestAShadowLiesBelowTheLineFromThePlannedEndToTheProjectedOne(t *testing.T) {
	l := newLayout(lateBoard(), false)
	found := 0
	for _, d := range l.lines {
		for _, s := range d.shapes {
			if s.part.Kind != partLate {
				continue
			}
			found++
			require.InDelta(t, l.x(s.part.From), s.x0, 1e-9)
			require.InDelta(t, l.x(s.part.To), s.x1, 1e-9)
			require.Greater(t, d.shadowTop(s), d.ground, "blocks stay in view")
			require.NotEmpty(t, s.labels)
			require.Contains(t, s.labels[0].text, "min late")
		}
	}
	require.Equal(t, 4, found)
}

func TestShadowsThatOverlapLieBelowEachOther(t *testing.T) {
	b := lateBoard()
	b.People[0].Shadows = append(b.People[0].Shadows, Shadow{TimeSpan{on11June(13, 40), on11June(14, 0)}, "E. F.", "fringe", "/visits/4"})
	d := newLayout(b, false).lines[0]
	var shadows []*shape
	for _, s := range d.shapes {
		if s.part.Kind == partLate {
			shadows = append(shadows, s)
		}
	}
	require.Len(t, shadows, 3)
	require.Equal(t, []int{0, 1, 0}, []int{shadows[0].tier, shadows[1].tier, shadows[2].tier})
	require.GreaterOrEqual(t, d.shadowTop(shadows[1]), d.shadowTop(shadows[0])+shadowHeight)
	require.GreaterOrEqual(t, d.ground+d.drop-11, d.shadowTop(shadows[1])+shadowHeight-1, "words begin below")
}

func TestWhatIsLateSaysSoToEverybody(t *testing.T) {
	out := string(boardPage(t, lateBoard()))
	for _, words := range []string{
		"<title>late, A. K., straightening, planned until 13:30, now expected until 13:52, 22 minutes late, runs into Vida N. at 13:34</title>",
		"A. K. until 13:52, 22 min late, runs into Vida N. at 13:34</text>",
		"L. V. until 13:09, 9 min late, runs into the break at 13:00</text>",
		`<span class="when">until 13:52</span> <span class="what">A. K. straightening 22 min late</span> <span class="how">planned until 13:30, runs into Vida N. at 13:34</span>`,
		"runs late, until the end of the shade</text>", "double edge: runs into the next client</text>",
		`<li class="late"><a href="/visits/1">`,
	} {
		require.Contains(t, out, words)
	}
	out = string(boardPage(t, straighteningBoard()))
	for _, words := range []string{"runs late", "double edge", `id="late"`, "waiting-list request that"} {
		lacks(t, out, words)
	}
}

func TestAClashIsNeverLeftOutOfTheWords(t *testing.T) {
	for _, b := range []Board{lateBoard(), packedBoard()} {
		for _, d := range newLayout(b, false).lines {
			for s, tries := range d.tries {
				for _, words := range tries {
					require.Equal(t, s.clash, strings.Contains(words, "runs into"), words)
				}
			}
		}
	}
}

func TestCandidatesAreOutlinesOnTheFirstLineOnWhichTheyFit(t *testing.T) {
	l := newLayout(lateBoard(), false)
	kinds := map[string][]PartKind{}
	for _, d := range l.lines {
		for _, s := range d.shapes {
			if isCandidate(s.part.Kind) {
				kinds[d.title] = append(kinds[d.title], s.part.Kind)
			}
		}
	}
	require.Equal(t, map[string][]PartKind{
		"Ada, stylist": {partWaiting, partHold}, "Ada, also possible": {partOffer}, "Bo, stylist": {partWaiting},
	}, kinds)
	out := string(boardPage(t, lateBoard()))
	for _, words := range []string{
		"<title>15:00 to 16:00, 60 minutes, Noor E., cut and dry, on the waiting list, not booked</title>",
		"<title>15:15 to 17:15, 120 minutes, root colour, offered, not booked</title>",
		"<title>17:20 to 17:50, 30 minutes, Ines P., fringe, held while you decide, not booked</title>",
		`<li class="waiting"><a href="/waiting/3">`, `<li class="offer">`, `<li class="hold">`,
	} {
		require.Contains(t, out, words)
	}
}

func TestACandidateStandsUnderAnOpenBayAndNotUnderAWatchedBeam(t *testing.T) {
	at := on11June
	for kind, want := range map[PartKind]int{Unwatched: 1, Watched: 2} {
		b := straighteningBoard()
		b.Stations = nil
		b.People = []Line{{Name: "Ada", Parts: []Part{{Kind: kind, From: at(10, 0), To: at(11, 0)}},
			Candidates: []Candidate{{at(10, 5), at(10, 50), "N. E.", "cut", "", CandidateOffer}}}}
		require.Len(t, newLayout(b, false).lines, want, kind)
	}
}

func TestOutlinesOfCandidatesDifferInMoreThanColour(t *testing.T) {
	css := string(readAsset("drawing.css"))
	dashes := map[string]string{}
	for _, class := range []string{"pencilled", "hold", "waiting", "offer"} {
		_, rule, found := strings.Cut(css, ".board ."+class+" .block {")
		require.True(t, found, class)
		rule, _, _ = strings.Cut(rule, "}")
		require.NotContains(t, rule, "fill", "a candidate is never filled")
		_, dash, found := strings.Cut(rule, "stroke-dasharray:")
		require.True(t, found, class)
		require.Empty(t, dashes[dash], "%s looks like %s", class, dashes[dash])
		dashes[dash] = class
	}
}

func TestShadowsAndCandidatesThatCannotBeDrawnAreRefusedByField(t *testing.T) {
	for field, change := range map[string]func(*Board){
		"people[0].shadows[0].to":      func(b *Board) { b.People[0].Shadows[0].To = b.People[0].Shadows[0].From },
		"people[0].shadows[1].href":    func(b *Board) { b.People[0].Shadows[1].Href = "//elsewhere.example" },
		"people[0].shadows":            func(b *Board) { b.People[0].Shadows = make([]Shadow, 501) },
		"people[0].candidates":         func(b *Board) { b.People[0].Candidates = make([]Candidate, 501) },
		"people[0].candidates[0].to":   func(b *Board) { b.People[0].Candidates[0].To = time.Time{} },
		"people[1].candidates[0].kind": func(b *Board) { b.People[1].Candidates[0].Kind = "maybe" },
		"people[1].candidates[0].href": func(b *Board) { b.People[1].Candidates[0].Href = "javascript:alert(1)" },
		"stations[0].shadows[0].to":    func(b *Board) { b.Stations[0].Shadows[0].To = on11June(9, 0) },
		"people[0].parts[0].kind":      func(b *Board) { b.People[0].Parts[0].Kind = partOffer },
		"stations[0].parts[0].kind":    func(b *Board) { b.Stations[0].Parts[0].Kind = partLate },
		"stations[1].candidates[0].to": func(b *Board) { b.Stations[1].Candidates = []Candidate{{Kind: CandidateOffer}} },
		"people[2].candidates[0].kind": func(b *Board) { b.People[2].Candidates = []Candidate{{From: on11June(9, 0), To: on11June(10, 0)}} },
		"people[2].shadows[0].href":    func(b *Board) { b.People[2].Shadows = []Shadow{{TimeSpan: workday()[0], Href: "x"}} },
	} {
		b := lateBoard()
		change(&b)
		err := RenderBoard(io.Discard, b)
		var faults scheduling.Faults
		require.ErrorAs(t, err, &faults, field)
		require.Equal(t, field, faults[0].Field)
	}
}

func TestTheLateDayIsDrawnAsSettled(t *testing.T) {
	s, err := lateBoard().StandaloneSVG()
	require.NoError(t, err)
	golden(t, "late-day.svg", s)
}

func BenchmarkLateBoardSVG(b *testing.B) {
	for name, board := range map[string]Board{"late": lateBoard(), "packed": packedBoard()} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := board.SVG(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
