package pages

import (
	"bytes"
	"errors"
	"html"
	"io"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/chairtime"
)

func cardsOfOne() CardsPage {
	took, early := 47.5, 12.0
	return CardsPage{Salon: "Corner Salon", Client: "Abeo Kar <b>", AsOf: on11June(18, 0), Location: london, Cards: []CardSheet{{
		Start: on11June(9, 0), End: on11June(13, 30), Services: "Straightening", Lead: "Ada", State: "finished: it ended at 13:30",
		Hair: "35 cm, average, each hair medium, porous", Follows: "correction",
		Steps: []CardStep{
			{Label: "apply solution", PlannedMinutes: 45, From: ptr(on11June(9, 40)), To: ptr(on11June(10, 27)), Minutes: &took},
			{Label: "rinse solution", PlannedMinutes: 10, From: ptr(on11June(10, 27)), To: ptr(on11June(10, 39)), Minutes: &early, GuessedTo: true},
			{Label: "finish", PlannedMinutes: 15},
		},
		Product: []CardProduct{{What: "solution", From: on11June(9, 40), To: ptr(on11June(10, 27)), Minutes: 47}, {What: "neutralizer", From: on11June(12, 0), Minutes: 4, Guessed: true}},
		Facts: []CardFact{{At: on11June(11, 0), Noted: on11June(11, 1), Words: "iron at 200 °C", By: "Ada", Replaced: true},
			{At: on11June(11, 0), Noted: on11June(11, 2), Words: "iron at 170 °C & no more", By: "Ada", Corrects: true}},
		Flags:   []CardFlag{{"Take care", "Product was on for 47 minutes.", []string{"slow at the nape (Ada)"}}},
		Open:    []string{"How did it turn out?"},
		Stopped: []string{"Stopped at 10:27: skin reacted."},
	}}}
}

func cardsPage(t *testing.T, p CardsPage) string {
	t.Helper()
	var buf bytes.Buffer
	require.NoError(t, RenderCards(&buf, p))
	return buf.String()
}

func TestARecordCardSaysWhatWasPlannedAndWhatWas(t *testing.T) {
	out := cardsPage(t, cardsOfOne())
	for _, want := range []string{
		"<h1>Abeo Kar &lt;b&gt;, record cards</h1>", "Corner Salon, as of Thu 11 June 2026 18:00",
		"<h2>Thu 11 June 2026, 09:00 to 13:30: Straightening</h2>", "This is a correction. Stylist in charge: Ada. The visit is finished: it ended at 13:30. Hair: 35 cm, average",
		`<th scope="row">apply solution</th><td>45</td><td>09:40</td><td>10:27</td><td>47.5</td>`,
		`<th scope="row">rinse solution</th><td>10</td><td>10:27</td><td>(10:39)</td><td>(12)</td>`,
		`<th scope="row">finish</th><td>15</td><td>–</td><td>–</td><td>–</td>`,
		"<li>Product on first section 47 min, from 09:40 to 10:27.</li>", "<li>Neutralizer on 4 min, from 12:00 (not all of it was noted).</li>",
		"<s>iron at 200 °C</s> (corrected)", "iron at 170 °C &amp; no more (correction)", "Ada, Thu 11 June 2026 11:02",
		"<b>Take care:</b> Product was on for 47 minutes. <span>Reason: slow at the nape (Ada).</span>", "<li>How did it turn out?</li>",
		"<p>Stopped at 10:27: skin reacted.</p>",
	} {
		require.Contains(t, out, want)
	}
	for _, word := range []string{"recipe", "formula", "density", "P80", " lead ", " station"} {
		require.NotContains(t, out, word, word)
	}
	none := cardsOfOne()
	none.Cards = nil
	require.Contains(t, cardsPage(t, none), "No visit has begun yet")
	require.Contains(t, cardsPage(t, none), html.EscapeString(chairtime.SafetyLine))
}

func TestTheCardsAskForNothingFromElsewhereAndHaveNoStyleOfTheirOwn(t *testing.T) {
	out := cardsPage(t, cardsOfOne())
	require.NotRegexp(t, `https?://|//[a-z]|style=|<script|<style| on[a-z]+="`, out)
	for _, ref := range regexp.MustCompile(`(?:href|src)="([^"]*)"`).FindAllStringSubmatch(out, -1) {
		require.True(t, strings.HasPrefix(ref[1], AssetPrefix), ref[1])
	}
}

// What the standard lets stand without an end.
var void = map[string]bool{"meta": true, "link": true, "br": true, "input": true}

func TestEveryElementOfTheCardsEndsWhereItShould(t *testing.T) {
	tag := regexp.MustCompile(`<(/?)([a-z0-9]+)([^>]*)>`)
	for _, p := range []CardsPage{cardsOfOne(), {Client: "Nora", AsOf: time.Now()}} {
		out := cardsPage(t, p)
		require.True(t, strings.HasPrefix(out, "<!doctype html>\n"))
		require.Equal(t, strings.Count(out, "<"), len(tag.FindAllString(out, -1))+1, "a < that begins nothing")
		var open []string
		for _, m := range tag.FindAllStringSubmatch(out, -1) {
			switch {
			case void[m[2]]:
			case m[1] == "":
				open = append(open, m[2])
			default:
				require.NotEmpty(t, open, m[0])
				require.Equal(t, open[len(open)-1], m[2], m[0])
				open = open[:len(open)-1]
			}
		}
		require.Empty(t, open)
	}
}

func TestCardsThatCannotBeWrittenAreAnError(t *testing.T) {
	broken := errors.New("full")
	require.ErrorIs(t, RenderCards(writerOf(func([]byte) (int, error) { return 0, broken }), cardsOfOne()), broken)
	require.NoError(t, RenderCards(io.Discard, cardsOfOne()))
}

type writerOf func([]byte) (int, error)

func (w writerOf) Write(p []byte) (int, error) { return w(p) }
