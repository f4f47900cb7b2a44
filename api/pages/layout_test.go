package pages

import (
	"fmt"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func overlap(a, b box) bool {
	return a.x < b.x+b.w && b.x < a.x+a.w && a.y < b.y+b.h && b.y < a.y+a.h
}

// requireCleanLabels demands that no label meets another, leaves the drawing,
// or, when it stands in a block, leaves that block.
func requireCleanLabels(t *testing.T, l *layout, name string) {
	t.Helper()
	texts := l.texts()
	bottom := l.sheets[len(l.sheets)-1].end
	for i, a := range texts {
		if a.text == "" {
			continue
		}
		ab := a.box()
		if ab.x < 0 || ab.x+ab.w > l.width || ab.y < 0 || ab.y+ab.h > bottom {
			t.Fatalf("%s: %q at %v is cut off", name, a.text, ab)
		}
		if w, _ := textWidth(a.text, a.size, a.bold); w > a.w+1e-9 {
			t.Fatalf("%s: %q is %g wide and has only %g", name, a.text, w, a.w)
		}
		for _, b := range texts[i+1:] {
			if b.text != "" && overlap(ab, b.box()) {
				t.Fatalf("%s: %q at %v meets %q at %v", name, a.text, ab, b.text, b.box())
			}
		}
	}
	for _, d := range l.lines {
		for _, s := range d.shapes {
			for _, lab := range s.labels {
				b := lab.box()
				if (lab.class == "in" || lab.class == "inpencil") && (b.x < s.x0 || b.x+b.w > s.x1) {
					t.Fatalf("%s: %q leaves its block", name, lab.text)
				}
			}
			requireClearPole(t, d, s, name)
		}
	}
}

// requireClearPole demands that the pole of s crosses no words but stands
// beside its own.
func requireClearPole(t *testing.T, d *lineLayout, s *shape, name string) {
	t.Helper()
	if s.pole == nil {
		return
	}
	p := box{s.pole[0] - 0.5, min(s.pole[1], s.pole[2]), 1, max(s.pole[1], s.pole[2]) - min(s.pole[1], s.pole[2])}
	for _, o := range d.shapes {
		for _, lab := range o.labels {
			flag := lab.class == "under" || lab.class == "number"
			if flag && overlap(p, lab.box()) {
				t.Fatalf("%s: the pole of %q crosses %q", name, s.words, lab.text)
			}
		}
	}
	if s.pole[0] < s.x0 || s.pole[0] > s.x1 {
		t.Fatalf("%s: the pole of %q stands beside its block", name, s.words)
	}
}

func TestNoLabelOverlapsOrIsCut(t *testing.T) {
	for _, alone := range []bool{false, true} {
		requireCleanLabels(t, newLayout(straighteningBoard(), alone), "straightening")
		requireCleanLabels(t, newLayout(fullBoard(), alone), "full")
		requireCleanLabels(t, newLayout(emptyBoard(), alone), "empty")
		requireCleanLabels(t, newLayout(lateBoard(), alone), "late")
		for _, day := range []time.Time{on11June(9, 0), time.Date(2026, 10, 25, 0, 0, 0, 0, london), time.Date(2026, 3, 29, 0, 0, 0, 0, london)} {
			requireCleanLabels(t, newLayout(movedTo(packedBoard(), day), alone), "packed on "+day.String())
		}
	}
	seed := uint64(time.Now().UnixNano())
	for i := range 400 {
		r := rand.New(rand.NewPCG(seed, uint64(i)))
		b := randomBoard(r)
		require.NoError(t, b.Validate())
		requireCleanLabels(t, newLayout(b, i%2 == 0), fmt.Sprintf("seed %d/%d", seed, i))
	}
}

func TestEveryPartIsNamedInTheDrawingOrInTheListBelowIt(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	for i := range 200 {
		r := rand.New(rand.NewPCG(seed, uint64(i)))
		l := newLayout(randomBoard(r), false)
		keys := 0
		for _, d := range l.lines {
			keyed := map[*shape]bool{}
			for _, k := range d.keyed {
				keyed[k.shape] = true
			}
			keys += len(keyed)
			for _, s := range d.shapes {
				if s.part.Kind == partLate && !keyed[s] {
					require.Contains(t, s.labels[0].text, "min late", "seed %d/%d", seed, i)
				}
				if len(s.labels) == 0 && !keyed[s] && s.part.Kind != Clearing {
					t.Fatalf("seed %d/%d: %q has neither label nor entry", seed, i, s.words)
				}
			}
		}
		if keys > 0 {
			keys++ // the heading
		}
		require.Len(t, l.keys, keys, "seed %d/%d", seed, i)
	}
}

func TestBlocksOfOneLineNeverOverlap(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	for i := range 200 {
		r := rand.New(rand.NewPCG(seed, uint64(i)))
		for _, d := range newLayout(randomBoard(r), false).lines {
			var end time.Time
			for _, s := range d.shapes {
				if isBeam(s.part.Kind) || s.part.Kind == partLate {
					continue
				}
				require.False(t, s.part.From.Before(end), "seed %d/%d: %q", seed, i, s.words)
				end = s.part.To
			}
		}
	}
}

func TestHitAreasAreHighEnoughAndDoNotMeet(t *testing.T) {
	const shown = 7.0 / 8 // the least size at which the style sheet shows the drawing
	for _, b := range []Board{straighteningBoard(), fullBoard(), lateBoard(), packedBoard()} {
		for _, d := range newLayout(b, false).lines {
			var last *shape
			for _, s := range d.shapes {
				require.GreaterOrEqual(t, s.hit.h*shown, 24.0, s.words)
				require.GreaterOrEqual(t, s.hit.w+1e-9, min(s.x1-s.x0, hitSize), "a neighbour took too much: %s", s.words)
				if isBeam(s.part.Kind) || s.part.Kind == partLate || s.part.Href == "" {
					continue
				}
				if last != nil {
					require.LessOrEqual(t, last.hit.x+last.hit.w, s.hit.x+1e-9, "%s and %s", last.words, s.words)
				}
				last = s
			}
		}
	}
}

func TestShortPartsGetAWiderHitAreaWhereTheirNeighboursAllowIt(t *testing.T) {
	l := newLayout(straighteningBoard(), false)
	for _, d := range l.lines {
		for _, s := range d.shapes {
			if s.words == "A. K. aftercare and pay" {
				require.Less(t, s.x1-s.x0, 14.0)
				require.InDelta(t, hitSize, s.hit.w, 0.01)
				return
			}
		}
	}
	t.Fatal("the part is missing")
}

func TestTheAxisIsRealTime(t *testing.T) {
	lordHowe := mustZone("Australia/Lord_Howe")
	for _, tt := range []struct {
		name     string
		from, to time.Time
		want     []string
	}{
		{
			"an hour is missing in spring", time.Date(2026, 3, 29, 0, 0, 0, 0, london), time.Date(2026, 3, 29, 4, 0, 0, 0, london),
			[]string{"00:00", "02:00", "03:00", "04:00"},
		},
		{
			"an hour comes twice in autumn", time.Date(2026, 10, 25, 0, 0, 0, 0, london), time.Date(2026, 10, 25, 3, 0, 0, 0, london),
			[]string{"00:00", "01:00 UTC+1", "01:00 UTC+0", "02:00", "03:00"},
		},
		{
			"half an hour comes twice", time.Date(2026, 4, 5, 0, 30, 0, 0, lordHowe), time.Date(2026, 4, 5, 3, 30, 0, 0, lordHowe),
			[]string{"01:00", "02:00", "03:00"},
		},
		{
			"half an hour is missing", time.Date(2026, 10, 4, 0, 30, 0, 0, lordHowe), time.Date(2026, 10, 4, 4, 0, 0, 0, lordHowe),
			[]string{"01:00", "03:00", "04:00"},
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b := Board{From: tt.from, To: tt.to, People: []Line{{Name: "Ada"}}}
			l := newLayout(b, false)
			var got []string
			for _, h := range l.sheets[0].hours {
				if h.y == l.sheets[0].hours[0].y {
					got = append(got, h.text)
				}
			}
			require.Equal(t, tt.want, got)
			for i, x := range l.sheets[0].ticks[1:] {
				require.Greater(t, x, l.sheets[0].ticks[i])
			}
			whole := tt.to.Sub(tt.from).Minutes() * l.scale
			require.InDelta(t, l.right-plotLeft, whole, 1e-6)
		})
	}
}

func TestWorkThatOverlapsGetsAGroundLineOfItsOwn(t *testing.T) {
	b := straighteningBoard()
	b.People[0].Parts = append(b.People[0].Parts, Part{Kind: HandsOn, From: on11June(11, 0), To: on11June(11, 30), Code: "Z. Z."})
	l := newLayout(b, false)
	require.Equal(t, "Ada, stylist", l.lines[0].title)
	require.Equal(t, "Ada, at the same time", l.lines[1].title)
	require.Len(t, l.lines[1].shapes, 1)
}

func TestPartsOutsideTheDrawingAreLeftOutOrCut(t *testing.T) {
	b := straighteningBoard()
	b.Stations = nil
	b.People = []Line{{Name: "Ada", Parts: []Part{
		{Kind: HandsOn, From: on11June(7, 0), To: on11June(8, 0)},
		{Kind: HandsOn, From: on11June(8, 0), To: on11June(9, 30)},
		{Kind: HandsOn, From: on11June(17, 0), To: on11June(19, 0)},
	}}}
	l := newLayout(b, false)
	require.Len(t, l.lines[0].shapes, 2)
	require.Equal(t, plotLeft, l.lines[0].shapes[0].x0)
	require.Equal(t, l.right, l.lines[0].shapes[1].x1)
}

func TestALargeBoardTakesSeveralSheetsAndASmallOneDoesNot(t *testing.T) {
	small := straighteningBoard()
	small.People, small.Stations = small.People[:1], small.Stations[:1]
	require.Len(t, newLayout(small, false).sheets, 1)
	day := newLayout(straighteningBoard(), false)
	require.Len(t, day.sheets, 2, "people, then places")
	require.Equal(t, "Chair 1", day.lines[day.sheets[1].from].name)
	l := newLayout(fullBoard(), false)
	require.Greater(t, len(l.sheets), 1)
	for i, s := range l.sheets[1:] {
		require.LessOrEqual(t, s.end-s.top, sheetHeight, "every sheet prints at one scale")
		require.Equal(t, l.sheets[i].end, s.top)
		require.Equal(t, l.sheets[i].to, s.from)
	}
	require.Len(t, newLayout(fullBoard(), true).sheets, 1)
}

func TestWordsAreNeverCutAndNumbersLeadToThem(t *testing.T) {
	b := fullBoard()
	l := newLayout(b, false)
	numbers := map[string]bool{}
	for _, d := range l.lines {
		for _, s := range d.shapes {
			for _, lab := range s.labels {
				require.NotContains(t, lab.text, "…")
				numbers[lab.text] = true
			}
		}
	}
	require.Equal(t, "No room in the drawing", l.keys[0].text)
	for i, k := range l.keys[1:] {
		n, words, found := strings.Cut(k.text, "\u2002")
		require.True(t, found, k.text)
		require.Equal(t, strconv.Itoa(i+1), n)
		require.True(t, numbers[n], "nothing in the drawing has the number %s", n)
		require.Regexp(t, `^[A-Z][a-zA-Z-]+, \d\d:\d\d to \d\d:\d\d, [A-Z]\. [A-Z]\. `, words)
	}
}

func TestTheLineOfThePresentMomentStopsAtWords(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	for i := range 100 {
		b := randomBoard(rand.New(rand.NewPCG(seed, uint64(i))))
		l := newLayout(b, i%2 == 0)
		for _, s := range l.sheets {
			if s.nowLabel == nil {
				continue
			}
			for _, p := range l.nowPieces(s) {
				for _, x := range l.texts() {
					if x.text != "" && overlap(box{s.now - 1, p.a, 2, p.b - p.a}, x.box()) {
						t.Fatalf("seed %d/%d: the line crosses %q", seed, i, x.text)
					}
				}
			}
		}
	}
}

func TestTheHoursStandBetweenPeopleAndPlaces(t *testing.T) {
	b := straighteningBoard()
	b.People = b.People[:1]
	l := newLayout(b, false)
	require.Len(t, l.sheets, 1)
	rows := map[float64]bool{}
	for _, h := range l.sheets[0].hours {
		rows[h.y] = true
	}
	require.Len(t, rows, 3)
	found := false
	for y := range rows {
		found = found || l.lines[0].end < y && y < l.lines[1].top
	}
	require.True(t, found)
}

func TestBreaksAreNamed(t *testing.T) {
	s, err := straighteningBoard().SVG()
	require.NoError(t, err)
	require.Contains(t, string(s), `aria-label="break 13:00 to 13:30"`)
	require.Contains(t, string(s), ">break 13:00 to 13:30</text>")
}
