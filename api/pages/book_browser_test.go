package pages

import (
	"bytes"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

func TestTheBookingPageInABrowser(t *testing.T) {
	withErrors := filledForm()
	withErrors.Errors = []FieldError{{"length_cm", "is 7; expected 8 to 120 cm"}, {"history", "is missing"}}
	var message bytes.Buffer
	require.NoError(t, RenderMessage(&message, Frame{Title: "Link expired"}, "Ask the salon for a new one."))
	b := newBrowser(t, map[string][]byte{
		"/form": bookPage(t, filledForm()), "/estimate": bookPage(t, estimated()), "/openings": bookPage(t, withOpenings()),
		"/pencilled": bookPage(t, pencilled()), "/booked": bookPage(t, booked()), "/errors": bookPage(t, withErrors), "/message": message.Bytes(),
	})
	all := []string{"/form", "/estimate", "/openings", "/pencilled", "/booked", "/errors", "/message"}

	t.Run("no step scrolls sideways on a phone and the console stays empty", func(t *testing.T) {
		for _, page := range all {
			b.open(t, page, 320, 640)
			require.LessOrEqual(t, b.Number(`document.documentElement.scrollWidth`), 320.0, page)
			b.shot(t, "book-320"+page[1:])
			b.open(t, page, 1200, 900)
			b.shot(t, "book-"+page[1:])
		}
		b.Quiet()
	})
	t.Run("what is new has the focus", func(t *testing.T) {
		for page, want := range map[string]string{
			"/estimate": "H2 Time for Straightening", "/openings": "H2 Times that fit", "/booked": "H2 Thu 11 June 09:00", "/pencilled": "H2 Thu 11 June 09:00",
			"/errors": "DIV 2 things to put right",
		} {
			b.open(t, page, 1200, 900)
			_, err := chromedp.Run(b.Ctx, chromedp.Poll[bool](`document.activeElement !== document.body`))
			require.NoError(t, err, page)
			require.Contains(t, b.Eval(focusedName), want)
		}
		b.Quiet()
	})
	t.Run("a link of the summary leads into its field", func(t *testing.T) {
		b.open(t, "/errors", 1200, 900)
		b.Do(chromedp.Click(chromedp.CSS(`a[href="#f-length_cm"]`)))
		require.Equal(t, "f-length_cm", b.Eval(`document.activeElement.id`))
	})
	t.Run("hair fields go when the service does not need them", func(t *testing.T) {
		b.open(t, "/form", 1200, 900)
		require.NotEqual(t, "none", b.Eval(`getComputedStyle(document.querySelector("fieldset.hair")).display`))
		b.Do(chromedp.SetValue(chromedp.CSS("#f-service"), "s2"))
		require.Equal(t, "none", b.Eval(`getComputedStyle(document.querySelector("fieldset.hair")).display`))
		require.Equal(t, "block", b.Eval(`getComputedStyle(document.querySelector(".nohair-note")).display`))
	})
	t.Run("every control is high enough for a finger", func(t *testing.T) {
		b.open(t, "/openings", 320, 640)
		require.GreaterOrEqual(t, b.Number(`Math.min(...[...document.querySelectorAll("main button, main select, main input:not([type=hidden]):not([type=checkbox]), label.tick, summary")]
			.filter((e) => e.offsetParent).map((e) => e.getBoundingClientRect().height))`), 24.0)
	})
	t.Run("it works without script", func(t *testing.T) {
		_, err := chromedp.Call(b.Ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
		require.NoError(t, err)
		b.open(t, "/errors", 1200, 900)
		_, err = chromedp.Call(b.Ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: false})
		require.NoError(t, err)
		require.Contains(t, b.Eval(focusedName), "DIV 2 things to put right")
		b.Quiet()
	})
	t.Run("dark and forced colours", func(t *testing.T) {
		b.open(t, "/openings", 1200, 900, "prefers-color-scheme=dark")
		b.shot(t, "book-dark")
		b.open(t, "/openings", 1200, 900, "forced-colors=active")
		b.shot(t, "book-forced")
		b.Quiet()
	})
}
