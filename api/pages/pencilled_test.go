package pages

import (
	"errors"
	"io"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

// pencilled is the page of a visit that stays pencilled for 9 minutes and 12
// seconds more.
func pencilled() BookPage {
	p := withOpenings()
	p.Step, p.HoldMinutes, p.Openings = StepPencilled, 10, nil
	p.Pencilled = &PencilledView{ID: "v-1", Version: 3, Service: "Straightening", Start: on11June(9, 0), End: on11June(13, 30), With: "Ada", Chair: "chair 1",
		Price: "€ 180", DryUntil: ptr(on11June(13, 30).Add(48 * time.Hour)), Until: on11June(8, 32), Now: on11June(8, 22).Add(48 * time.Second), Chemical: true,
		Cautions: []Caution{{Level: CautionNeedsYes, Text: "Coloured in the last three years."}}}
	return p
}

func TestAPencilledVisitSaysUntilWhenAndWhatCanBeDone(t *testing.T) {
	p := pencilled()
	out := string(bookPage(t, p))
	for _, words := range []string{
		"<h1>Pencilled</h1>", "Thu 11 June 09:00 with Ada, chair 1, ends 13:30", "Pencilled until 08:32<", `data-seconds="552"`, "Straightening, € 180.",
		"Dry and untied until Sat 13:30.", `value="firm">Book it</button>`, `value="longer">Pencil it for 10 minutes from now</button>`, `value="give_up">Give it up</button>`,
		"Coloured in the last three years.", "Licensed person who said yes",
	} {
		require.Contains(t, out, words)
	}
	lacks(t, out, "Work out the time")
	v := values(out)
	require.Equal(t, "v-1", v.Get(FieldHeld))
	require.Equal(t, "3", v.Get(FieldHeldVersion))

	p.Pencilled.Until = p.Pencilled.Until.AddDate(0, 0, 5)
	require.Contains(t, string(bookPage(t, p)), "Pencilled until Tue 16 June 08:32<")
	p.Pencilled.Until = p.Pencilled.Now
	out = string(bookPage(t, p))
	require.Contains(t, out, "It was pencilled until 08:22.")
	require.Contains(t, out, `value="firm">`)
	lacks(t, out, "longer")
	lacks(t, out, "data-seconds")

	p = withOpenings()
	lacks(t, string(bookPage(t, p)), "Pencil it")
	p.HoldMinutes = 120
	out = string(bookPage(t, p))
	require.Equal(t, 2, strings.Count(out, "Pencil it for 2 hours"))
	require.Contains(t, out, `<button class="pencil" name="do" value="pencil:o-1">Pencil it for 2 hours<span class="unseen">: Thu 11 June 09:00 with Ada, chair 1, ends 13:30</span></button>`)

	p = pencilled()
	p.Pencilled.ID = `v"1`
	faults, ok := errors.AsType[scheduling.Faults](RenderBook(io.Discard, p))
	require.True(t, ok)
	require.Equal(t, "pencilled.id", faults[0].Field)
}

// walkInBoard is a board with the form for walk-ins, a pencilled visit and kept
// time.
func walkInBoard() Board {
	b := straighteningBoard()
	b.People[2].Parts = append(b.People[2].Parts, Part{Kind: Kept, From: on11June(14, 0), To: on11June(14, 20), Label: "the new dryer", Href: "/visits/8"})
	b.WalkIn = &WalkIn{Action: "/walk-in", Key: "k", Services: []Option{{"s1", "Dry cut"}, {"s2", "Patch test"}}}
	return b
}

func TestTheBoardAsksAWalkInForAServiceAndAFirstName(t *testing.T) {
	b := walkInBoard()
	b.WalkIn.Service, b.WalkIn.Name, b.WalkIn.Error = "s2", `<Vida>`, "nobody is free for this now; the first start today is at 14:20 with Bo"
	out := string(boardPage(t, b))
	require.Contains(t, out, `<form class="walkin" method="post" action="/walk-in"`)
	require.Contains(t, out, `role="alert" tabindex="-1" autofocus>nobody is free`)
	lacks(t, out, `href="#f-walk_service"`) // the form stands there already
	lacks(t, out, "accesskey")
	v := values(out)
	require.Equal(t, url.Values{FieldWalkService: {"s2"}, FieldWalkName: {"<Vida>"}, FieldWalkKey: {"k"}}, url.Values{
		FieldWalkService: v[FieldWalkService], FieldWalkName: v[FieldWalkName], FieldWalkKey: v[FieldWalkKey]})
	w := ReadWalkIn(v)
	require.Equal(t, []string{"s2", "<Vida>", "k"}, []string{w.Service, w.Name, w.Key})
	b.WalkIn = nil
	lacks(t, string(boardPage(t, b)), "walk_")
	b.WalkIn = &WalkIn{Action: "https://elsewhere.example"}
	_, err := b.SVG()
	require.Error(t, err)
}

func TestOutlinesAreToldApartWithoutColour(t *testing.T) {
	drawing, err := walkInBoard().SVG()
	require.NoError(t, err)
	require.Contains(t, string(drawing), "<title>14:00 to 14:20, 20 minutes, the new dryer, kept, no client</title>")
	require.Contains(t, string(drawing), "pencilled until Fri 12:00, not booked yet")
	css := string(readAsset("drawing.css"))
	require.Contains(t, css, ".board .pencilled .block { stroke: var(--ink); stroke-width: 1.5px; stroke-dasharray: 6 4; }")
	require.Contains(t, css, ".board .kept .block { stroke: var(--ink); stroke-width: 1.5px; }")
}

func TestAPencilledVisitInABrowser(t *testing.T) {
	short := pencilled()
	short.Pencilled.Now = short.Pencilled.Until.Add(-3 * time.Second)
	minute := pencilled()
	minute.Pencilled.Now = minute.Pencilled.Until.Add(-61 * time.Second)
	board := walkInBoard()
	board.WalkIn.Error = "nobody is free for this now"
	b := newBrowser(t, map[string][]byte{"/pencilled": bookPage(t, pencilled()), "/short": bookPage(t, short), "/minute": bookPage(t, minute),
		"/board": boardPage(t, board), "/openings": bookPage(t, func() BookPage { p := withOpenings(); p.HoldMinutes = 10; return p }())})
	left := `(document.querySelector(".left").hidden ? "" : document.querySelector("[role=timer]").textContent)`
	waitFor := func(js string) {
		t.Helper()
		_, err := chromedp.Run(b.Ctx, chromedp.Poll[bool](js))
		require.NoError(t, err, js)
	}
	t.Run("the time left is counted down", func(t *testing.T) {
		b.open(t, "/pencilled", 1200, 900)
		waitFor(left + ` !== ""`)
		require.Regexp(t, `^9:1[0-2]$`, b.Eval(left))
		require.Contains(t, b.Eval(`document.querySelector("p.big").innerText`), "Pencilled until 08:32, 9:1")
		waitFor(left + ` < "9:10"`)
		require.Empty(t, b.Eval(`document.querySelector("[role=status].over").textContent`), "nothing is said every second")
		b.shot(t, "pencilled")
		b.open(t, "/minute", 1200, 900)
		waitFor(`document.querySelector("[role=status].over").textContent === "1 minute left"`)
		b.Quiet()
	})
	t.Run("the end is said and the button stays", func(t *testing.T) {
		b.open(t, "/short", 320, 640)
		waitFor(`document.querySelector("[role=status].over").textContent.startsWith("The time is over")`)
		require.Empty(t, b.Eval(left))
		require.Equal(t, "block", b.Eval(`getComputedStyle(document.querySelector("[role=status].over")).position === "static" ? "block" : "hidden"`))
		require.Equal(t, "Book it", b.Eval(`document.querySelector("button.main").innerText`))
		b.shot(t, "pencilled-over")
		b.Quiet()
	})
	t.Run("without script the time stands there", func(t *testing.T) {
		_, err := chromedp.Call(b.Ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
		require.NoError(t, err)
		b.open(t, "/pencilled", 1200, 900)
		_, err = chromedp.Call(b.Ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: false})
		require.NoError(t, err)
		require.Equal(t, "Pencilled until 08:32", b.Eval(`document.querySelector("p.big").innerText`))
		b.Quiet()
	})
	t.Run("book and pencil stand beside each other and fit a phone", func(t *testing.T) {
		b.open(t, "/openings", 1200, 900)
		require.Equal(t, "true", b.Eval(`(() => { const [a, z] = [...document.querySelectorAll(".times button")].map((x) => x.getBoundingClientRect());
			return String(a.right <= z.left && Math.abs(a.top - z.top) < 1); })()`))
		b.shot(t, "openings-pencil")
		b.open(t, "/openings", 320, 640)
		require.LessOrEqual(t, b.Number(`document.documentElement.scrollWidth`), 320.0)
		b.shot(t, "openings-pencil-320")
		b.Quiet()
	})
	t.Run("the walk-in form stands on the board", func(t *testing.T) {
		b.open(t, "/board", 1200, 900)
		require.Contains(t, b.Eval(focusedName), "nobody is free for this now")
		b.Do(chromedp.Focus(chromedp.CSS("#f-walk_service")))
		require.Equal(t, "f-walk_service", b.Eval(`document.activeElement.id`))
		b.shot(t, "board-walkin")
		b.open(t, "/board", 320, 640)
		require.LessOrEqual(t, b.Number(`document.documentElement.scrollWidth`), 320.0)
		b.shot(t, "board-walkin-320")
		b.open(t, "/board", 1200, 900, "forced-colors=active")
		b.shot(t, "board-walkin-forced")
		b.Quiet()
	})
}
