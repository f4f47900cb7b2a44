package pages

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// picture is what a drawing says and how large it is.
type picture struct {
	name          string
	width, height float64
	nodes         int
	texts         []label
	classes       map[string]int
}

// sizes are those of the style sheet; a test in a browser holds them against it.
func textSize(picture, class string) (size float64, bold bool) {
	first, rest, _ := strings.Cut(class, " ")
	switch {
	case first == "head":
		return 14, true
	case first == "strong" && picture != "daysmall" && rest != "little":
		return 12, true
	case first == "strong":
		return 11, true
	case first == "plain":
		return 12, false
	}
	return 11, false
}

// readPicture reads one drawing and demands that it is sound XML.
func readPicture(t *testing.T, svg string) picture {
	t.Helper()
	p := picture{classes: map[string]int{}}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		require.NoError(t, err, svg)
		return v
	}
	kind := ""
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return p
		}
		require.NoError(t, err, svg)
		e, ok := tok.(xml.StartElement)
		if !ok {
			continue
		}
		p.nodes++
		at := map[string]string{}
		for _, a := range e.Attr {
			require.NotContains(t, []string{"id", "style", "href"}, a.Name.Local, "twelve of them stand on one page under a strict policy")
			at[a.Name.Local] = a.Value
		}
		p.classes[at["class"]]++
		switch e.Name.Local {
		case "svg":
			kind = strings.TrimPrefix(at["class"], "board ")
			p.name, p.width, p.height = at["aria-label"], number(at["width"]), number(at["height"])
			require.Equal(t, "img", at["role"])
			require.Equal(t, fmt.Sprintf("0 0 %s %s", at["width"], at["height"]), at["viewBox"])
		case "text":
			var text string
			require.NoError(t, d.DecodeElement(&text, &e))
			size, bold := textSize(kind, at["class"])
			lab := newLabel(text, size, bold, at["class"])
			lab.x, lab.y = number(at["x"]), number(at["y"])
			p.texts = append(p.texts, lab)
		}
	}
}

// requireClean demands that no words meet others or leave the picture.
func (p picture) requireClean(t *testing.T, name string) {
	t.Helper()
	for i, a := range p.texts {
		b := a.box()
		if b.x < -0.1 || b.x+b.w > p.width+0.1 || b.y < -0.1 || b.y+b.h > p.height+0.1 {
			t.Fatalf("%s: %q at %v leaves the picture of %g by %g", name, a.text, b, p.width, p.height)
		}
		for _, o := range p.texts[i+1:] {
			if overlap(shrunk(b), shrunk(o.box())) {
				t.Fatalf("%s: %q meets %q", name, a.text, o.text)
			}
		}
	}
}

// shrunk leaves room for numbers being rounded to a tenth.
func shrunk(b box) box { return box{b.x + 0.1, b.y + 0.1, b.w - 0.2, b.h - 0.2} }

func randomSmallDay(r *rand.Rand) DaySmall {
	b := randomBoard(r)
	parts := func(n int) []Part {
		if n == 0 {
			return nil
		}
		return randomParts(r, b, n, true)
	}
	d := DaySmall{
		Name: words(r, true), Label: words(r, true), From: b.From, To: b.To, Hour12: b.Hour12, Words: words(r, true), ChairName: words(r, true),
		Open: b.People[0].Open, Breaks: b.People[0].Breaks, Taken: parts(r.IntN(30)), Offer: parts(r.IntN(16)),
		Width: []int{0, 320, 400, 640}[r.IntN(4)], NoHours: r.IntN(3) == 0,
	}
	if o, ok := d.offered(); ok && r.IntN(2) == 0 {
		d.Chair = []TimeSpan{o}
		d.ChairTaken = b.People[0].Open
	}
	return d
}

func TestSmallDaysKeepTheirWordsApart(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	for i := range 400 {
		d := randomSmallDay(rand.New(rand.NewPCG(seed, uint64(i))))
		svg, err := d.SVG()
		name := fmt.Sprintf("seed %d/%d", seed, i)
		require.NoError(t, err, name)
		p := readPicture(t, svg)
		p.requireClean(t, name)
		require.LessOrEqual(t, p.height, 64.0)
		require.NotEmpty(t, p.name)
	}
}

func TestSmallDaysAreSmall(t *testing.T) {
	all := 0
	for i := range 12 {
		d := smallDay(on11June(9, 0).Add(time.Duration(15*i) * time.Minute))
		d.Width = 640
		svg, err := d.SVG()
		require.NoError(t, err)
		p := readPicture(t, svg)
		require.Less(t, len(svg), 4096)
		require.Less(t, p.nodes, 45)
		all += len(svg)
		if i == 0 {
			t.Logf("one of them: %d bytes, %d nodes", len(svg), p.nodes)
		}
	}
	page := smallGallery(t)
	t.Logf("twelve: %d bytes; a page of twelve and a week: %d bytes, %d after gzip", all, len(page), zipped(t, page))
	require.Less(t, zipped(t, page), 15*1024)
}

func TestASmallDaySaysItselfInOneSentence(t *testing.T) {
	d := smallDay(on11June(9, 0))
	svg, err := d.SVG()
	require.NoError(t, err)
	require.Equal(t, "Ada, Thu 11 June: offered from 09:00 to 13:30, 270 minutes, hands off 10:09–10:24, hands off 12:39–12:44, chair 1, ends before the break; "+
		"taken already 14:00–15:10, 15:45–16:05, 16:30–17:30", readPicture(t, svg).name)
	d.Taken, d.Offer, d.Chair, d.Words, d.Name, d.Label, d.ChairName = nil, nil, nil, "", "", "", ""
	svg, err = d.SVG()
	require.NoError(t, err)
	require.Equal(t, "Thu 11 June: nothing is offered; nothing else that day", readPicture(t, svg).name)
	for i := range 7 {
		from := on11June(9+i, 0)
		d.Taken = append(d.Taken, Part{Kind: HandsOn, From: from, To: from.Add(30 * time.Minute)}, Part{Kind: Basin, From: from.Add(20 * time.Minute), To: from.Add(40 * time.Minute)})
	}
	svg, err = d.SVG()
	require.NoError(t, err)
	require.Contains(t, readPicture(t, svg).name, "taken already 09:00–09:40, 10:00–10:40, 11:00–11:40, 12:00–12:40, 13:00–13:40 and 2 more")
}

func TestWhatIsOfferedStandsHigherThanWhatIsTaken(t *testing.T) {
	svg, err := smallDay(on11June(9, 0)).SVG()
	require.NoError(t, err)
	p := readPicture(t, svg)
	for class, n := range map[string]int{"on": 2, "basin": 1, "taken": 2, "post": 1, "lifted": 1, "sill": 1, "check": 1, "trough": 1, "ground": 1} {
		require.Equal(t, n, p.classes[class], class)
	}
	require.Greater(t, smallBlock, smallTaken)
}

func TestAWeekHasItsHoursOnce(t *testing.T) {
	d := smallDay(on11June(9, 0))
	svg, err := WeekSmall{Days: []DaySmall{d, d, d}}.SVG()
	require.NoError(t, err)
	require.Equal(t, 3, strings.Count(svg, "<svg"))
	require.Equal(t, 1, strings.Count(svg, ">09</text>"))
	d.To = d.From
	_, err = WeekSmall{Days: []DaySmall{smallDay(on11June(9, 0)), d}}.SVG()
	require.ErrorContains(t, err, "days[1].to is not after from")
	svg, err = WeekSmall{}.SVG()
	require.NoError(t, err)
	require.Empty(t, svg)
}

func TestSmallDaysThatCannotBeDrawnAreRefusedByField(t *testing.T) {
	for field, change := range map[string]func(*DaySmall){
		"from":              func(d *DaySmall) { d.From = time.Time{} },
		"to":                func(d *DaySmall) { d.To = d.From.AddDate(0, 0, 7) },
		"width":             func(d *DaySmall) { d.Width = 641 },
		"taken":             func(d *DaySmall) { d.Taken = make([]Part, 501) },
		"taken[0].to":       func(d *DaySmall) { d.Taken[0].To = d.Taken[0].From },
		"offer[2].kind":     func(d *DaySmall) { d.Offer[2].Kind = "dance" },
		"open[0].to":        func(d *DaySmall) { d.Open = []TimeSpan{{}} },
		"breaks":            func(d *DaySmall) { d.Breaks = make([]TimeSpan, 501) },
		"chair[0].to":       func(d *DaySmall) { d.Chair[0].To = d.Chair[0].From },
		"chair_taken[0].to": func(d *DaySmall) { d.ChairTaken[0].To = d.From },
		"offer[0].href":     func(d *DaySmall) { d.Offer[0].Href = "//elsewhere.example" },
		"offer[0].latest":   func(d *DaySmall) { d.Offer[0].Latest = ptr(d.From) },
	} {
		d := smallDay(on11June(9, 0))
		change(&d)
		_, err := d.SVG()
		require.ErrorContains(t, err, field+" ")
	}
}

func TestHostileWordsStayTextInSmallDrawings(t *testing.T) {
	for _, s := range hostile {
		d := smallDay(on11June(9, 0))
		d.Name, d.Label, d.Words, d.ChairName = s, s, s, s
		svg, err := d.SVG()
		require.NoError(t, err)
		readPicture(t, svg)
		lacks(t, svg, "<script")
		lacks(t, svg, "<img")
	}
}

func TestSmallDrawingsAreDrawnAsSettled(t *testing.T) {
	draw := mustDraw(t)
	golden(t, "small-day.svg", []byte(draw(smallDay(on11June(9, 0)).SVG())))
	golden(t, "hair.svg", []byte(draw(HairDrawing{LengthCM: 38, RegrowthCM: 4, Retouch: true, Density: "high", Sections: 5, Panels: 140}.SVG())))
	golden(t, "pace.svg", []byte(draw(pace().SVG())))
	golden(t, "promise.svg", []byte(draw(promise().SVG())))
	golden(t, "use.svg", []byte(draw(use().SVG())))
	golden(t, "no-shows.svg", []byte(draw(noShows().SVG())))
	golden(t, "lead-time.svg", []byte(draw(leadTime().SVG())))
}

func BenchmarkSmallDrawings(b *testing.B) {
	for _, d := range []struct {
		name string
		draw func() (string, error)
	}{
		{"day", smallDay(on11June(9, 0)).SVG}, {"hair", HairDrawing{LengthCM: 62, RegrowthCM: 12, Retouch: true, Sections: 8, Panels: 310}.SVG},
		{"pace", pace().SVG}, {"promise", promise().SVG}, {"use", use().SVG}, {"no-shows", noShows().SVG}, {"lead-time", leadTime().SVG},
	} {
		b.Run(d.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := d.draw(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
