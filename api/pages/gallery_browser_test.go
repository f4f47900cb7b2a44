package pages

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling/chairtime"
)

// gallery is a page of drawings.
func gallery(body string) []byte {
	return []byte(`<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>Drawings</title>` +
		`<link rel="icon" href="` + AssetPath("mark.svg") + `"><link rel="stylesheet" href="` + AssetPath("page.css") + `"><main><h1>Drawings</h1>` + body + `</main></html>`)
}

// smallDay is Ada's 11 June with a straightening offered from start.
func smallDay(start time.Time) DaySmall {
	b := straighteningBoard()
	shift := start.Sub(on11June(9, 0))
	d := DaySmall{
		Name: "Ada", Label: "Thu 11 June", From: on11June(9, 0), To: on11June(18, 0), Open: workday(), Breaks: []TimeSpan{{on11June(13, 30), on11June(14, 0)}},
		ChairName: "chair 1", Words: "ends before the break",
	}
	for _, p := range append(b.People[0].Parts, b.People[2].Parts...) {
		if p.Code == "A. K." {
			p.From, p.To = p.From.Add(shift), p.To.Add(shift)
			if p.BackBy != nil {
				p.BackBy = ptr(p.BackBy.Add(shift))
			}
			p.Latest = nil
			d.Offer = append(d.Offer, p)
		}
	}
	d.Chair = []TimeSpan{{start, start.Add(264 * time.Minute)}}
	d.Taken = []Part{
		{Kind: HandsOn, From: on11June(14, 0), To: on11June(15, 10)}, {Kind: Unwatched, From: on11June(15, 10), To: on11June(15, 45)},
		{Kind: HandsOn, From: on11June(15, 45), To: on11June(16, 5)}, {Kind: Pencilled, From: on11June(16, 30), To: on11June(17, 30)},
	}
	d.ChairTaken = []TimeSpan{{on11June(14, 0), on11June(16, 5)}}
	return d
}

func mustDraw(t *testing.T) func(string, error) string {
	return func(s string, err error) string {
		t.Helper()
		require.NoError(t, err)
		return s
	}
}

func smallGallery(t *testing.T) []byte {
	draw := mustDraw(t)
	var b strings.Builder
	b.WriteString("<h2>Openings</h2><ol>")
	for i := range 12 {
		d := smallDay(on11June(9, 0).Add(time.Duration(i) * 15 * time.Minute))
		d.Hour12 = i%4 == 3
		d.Width = []int{0, 640, 480, 320}[i%4]
		b.WriteString("<li>" + draw(d.SVG()) + "</li>")
	}
	b.WriteString("</ol><h2>A week</h2>")
	w := WeekSmall{}
	for i := range 7 {
		d := smallDay(on11June(9, 0))
		d.Label = d.From.AddDate(0, 0, i).Format("Mon 2 Jan")
		if i%3 == 1 {
			d.Offer, d.Chair, d.Words = nil, nil, "nothing free"
		}
		w.Days = append(w.Days, d)
	}
	b.WriteString(draw(w.SVG()))
	return gallery(b.String())
}

func hairGallery(t *testing.T) []byte {
	draw := mustDraw(t)
	var b strings.Builder
	for _, h := range []HairDrawing{
		{LengthCM: 8, Density: chairtime.DensityLow, Sections: 2, Panels: 24},
		{LengthCM: 18, Sections: 3, Panels: 50},
		{LengthCM: 35, Density: chairtime.DensityMedium, Sections: 4, Panels: 88},
		{LengthCM: 38, Density: chairtime.DensityHigh, Sections: 5, Panels: 140, Retouch: true, RegrowthCM: 4, Inches: true},
		{LengthCM: 62, Density: chairtime.DensityHigh, Sections: 8, Panels: 310, Retouch: true, RegrowthCM: 12},
		{LengthCM: 120, Density: chairtime.DensityHigh, Sections: 7, Panels: 1234},
	} {
		b.WriteString(draw(h.SVG()))
	}
	return gallery(b.String())
}

func pace() PaceChart {
	return PaceChart{Steps: []PaceStep{
		{"consultation", 15, 0.9, 1.05, 1.3, 23}, {"apply", 30, 0.95, 1.08, 1.22, 23}, {"iron", 92.4, 0.8, 0.93, 1, 21},
		{"neutralizer working", 5, 1, 1, 1, 1}, {"aftercare and pay", 6, 0.1, 6, 30, 4}, {"second drying", 17, 0, 0, 0, 0},
	}}
}

func promise() PromiseChart {
	return PromiseChart{Promise: 0.8, Months: []PromiseMonth{{"March 2026", 14, 17}, {"April 2026", 20, 22}, {"May 2026", 9, 14}, {"June 2026", 1, 1}, {"July 2026", 0, 0}}}
}

func use() UseChart {
	return UseChart{Row: "weekday", Kinds: []string{"hands on", "watching", "cleaning", "kept", "free"}, Rows: []UseRow{
		{"Monday", []float64{5, 1, 0.5, 0, 2.5}}, {"Tuesday", []float64{6.5, 1.2, 0.8, 0.3, 0.2}}, {"Wednesday", []float64{2, 0, 0, 3, 4}},
		{"Thursday", []float64{7, 1, 1, 0, 0}}, {"Friday", []float64{8.2, 1.6, 1, 0.4, 0.6}}, {"Saturday", []float64{9, 2, 1.1, 0, 0.1}}, {"Sunday", []float64{0, 0, 0, 0, 0}},
	}}
}

func noShows() NoShowChart {
	return NoShowChart{Months: []NoShowMonth{{"April 2026", 3, 48}, {"May 2026", 0, 52}, {"June 2026", 1, 40}, {"July 2026", 0, 0}}}
}

func leadTime() LeadTimeChart {
	return LeadTimeChart{Bins: LeadTimeBins([]int{0, 0, 1, 2, 5, 5, 6, 7, 7, 9, 9, 12, 14, 20, 20, 21, 30, 30, 41, 60, 91, 400})}
}

func chartGallery(t *testing.T) []byte {
	draw := mustDraw(t)
	var b strings.Builder
	figure := func(title, svg string, table FigureTable) {
		var buf bytes.Buffer
		require.NoError(t, templates.ExecuteTemplate(&buf, "figure", NewFigure(title, svg, table)))
		b.Write(buf.Bytes())
	}
	figure("Pace", draw(pace().SVG()), pace().Table())
	figure("Promise", draw(promise().SVG()), promise().Table())
	figure("Use", draw(use().SVG()), use().Table())
	figure("No-shows", draw(noShows().SVG()), noShows().Table())
	figure("Lead time", draw(leadTime().SVG()), leadTime().Table())
	figure("Empty", draw(PromiseChart{}.SVG()), PromiseChart{}.Table())
	return gallery(b.String())
}

func TestTheDrawingsInABrowser(t *testing.T) {
	b := newBrowser(t, map[string][]byte{
		"/late": boardPage(t, lateBoard()), "/packed": boardPage(t, packedBoard()),
		"/small": smallGallery(t), "/hair": hairGallery(t), "/charts": chartGallery(t),
	})
	for _, page := range []string{"/late", "/packed", "/small", "/hair", "/charts"} {
		name := strings.TrimPrefix(page, "/")
		for _, look := range []struct {
			name     string
			width    int64
			features []string
		}{
			{"1280", 1280, nil}, {"390", 390, nil}, {"dark", 1280, []string{"prefers-color-scheme=dark"}},
			{"forced", 1280, []string{"forced-colors=active", "prefers-color-scheme=dark"}},
		} {
			b.open(t, page, look.width, 900, look.features...)
			require.LessOrEqual(t, b.Number(`document.documentElement.scrollWidth`), float64(look.width), "%s at %s scrolls sideways", page, look.name)
			b.shot(t, fmt.Sprintf("drawn-%s-%s", name, look.name))
		}
		b.open(t, page, 1047, 718)
		_, err := chromedp.Call(b.Ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
		require.NoError(t, err)
		b.grey(t, emulation.SetEmulatedVisionDeficiencyTypeAchromatopsia)
		b.shot(t, "drawn-"+name+"-print")
		b.grey(t, emulation.SetEmulatedVisionDeficiencyTypeNone)
		b.Quiet()
	}
}

// apart returns the first two texts of one drawing that meet, or a text that
// leaves its drawing, or one whose size is not the one that was measured, as the
// browser draws them, "" when there is none.
const apart = `(() => {
	const sizes = { head: 14, plain: 12, strong: 12 };
	for (const svg of document.querySelectorAll("svg.board")) {
		const boxes = [...svg.querySelectorAll("text")].map((t) => {
			const b = t.getBBox(), y = +t.getAttribute("y"), size = parseFloat(getComputedStyle(t).fontSize);
			const c = t.classList, small = c.contains("little") || svg.classList.contains("daysmall");
			return { text: t.textContent, x: b.x, r: b.x + b.width, y: y - 0.93 * size, b: y + 0.24 * size, size, want: (!small && sizes[c[0]]) || 11,
				bold: getComputedStyle(t).fontWeight === "700", dark: c[0] === "strong" || c[0] === "head" };
		});
		for (const [i, a] of boxes.entries()) {
			if (a.size !== a.want || a.bold !== a.dark) return a.text + " is " + a.size + " units, bold " + a.bold;
			if (a.x < -0.5 || a.r > svg.viewBox.baseVal.width + 0.5) return a.text + " is cut";
			for (const b of boxes.slice(i + 1))
				if (a.x < b.r - 0.1 && b.x < a.r - 0.1 && a.y < b.b - 0.1 && b.y < a.b - 0.1) return a.text + " meets " + b.text;
		}
	}
	return "";
})()`

func TestDrawingsKeepTheirWordsApartAsTheBrowserMeasuresThem(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	draw := mustDraw(t)
	var random strings.Builder
	for i := range 40 {
		random.WriteString(draw(randomSmallDay(rand.New(rand.NewPCG(seed, uint64(i)))).SVG()))
	}
	b := newBrowser(t, map[string][]byte{"/small": smallGallery(t), "/hair": hairGallery(t), "/charts": chartGallery(t), "/random": gallery(random.String())})
	for _, page := range []string{"/small", "/hair", "/charts", "/random"} {
		b.open(t, page, 1366, 900)
		for _, font := range []string{"", "DejaVu Sans", "Liberation Serif", "Liberation Sans"} {
			b.Eval(`document.querySelectorAll("svg.board").forEach((s) => s.style.fontFamily = "` + font + `"); ""`)
			require.Empty(t, b.Eval(apart), "seed %d, %s, font %q", seed, page, font)
		}
	}
}

// grey shows the page as a printer without colours does.
func (b *browser) grey(t *testing.T, how emulation.SetEmulatedVisionDeficiencyType) {
	t.Helper()
	_, err := chromedp.Call(b.Ctx, emulation.SetEmulatedVisionDeficiency, emulation.SetEmulatedVisionDeficiencyParams{Type: how})
	require.NoError(t, err)
}
