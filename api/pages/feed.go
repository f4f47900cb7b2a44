package pages

import (
	"bytes"
	"fmt"
	"html/template"
	"io"
	"strconv"
	"strings"

	"rsc.io/qr"

	"chairblock/scheduling"
)

// FeedPage is what helps somebody to subscribe to a calendar. Whoever holds its
// address sees it, so that it names no client.
type FeedPage struct {
	Name  string   // of the calendar
	About []string // what it shows
	Late  []string // how late it may be
	// Webcal and Address are the calendar's address, with the scheme that programs
	// subscribe to and with the one that it is read by.
	Webcal, Address string
}

// feedView is a FeedPage ready for its template.
type feedView struct {
	FeedPage
	Subscribe template.URL
	Code      template.HTML
}

// RenderFeed writes the page. It returns an error of w, wrapped, or
// scheduling.Faults when an address cannot be written.
func RenderFeed(w io.Writer, p FeedPage) error {
	var f scheduling.Faults
	if !strings.HasPrefix(p.Webcal, "webcal://") || strings.ContainsFunc(p.Webcal, notInAddress) {
		f.Add("webcal", "is not an address to subscribe to", "webcal:// and what follows, in plain ASCII")
	}
	if !strings.HasPrefix(p.Address, "http") || strings.ContainsFunc(p.Address, notInAddress) {
		f.Add("address", "is not a web address", "an absolute http or https address in plain ASCII")
	}
	if err := f.Err(); err != nil {
		return fmt.Errorf("pages: render feed: %w", err)
	}
	code, err := codeSVG(p.Webcal, calendarCode)
	if err != nil {
		return fmt.Errorf("pages: render feed: %w", err)
	}
	p.Name, p.About, p.Late = clean(p.Name), cleanAll(p.About), cleanAll(p.Late)
	var buf bytes.Buffer
	// Both are made of what was checked above, with nothing that could end them.
	v := feedView{FeedPage: p, Subscribe: template.URL(p.Webcal), Code: template.HTML(code)} //nolint:gosec // both are made by the program
	if err := templates.ExecuteTemplate(&buf, "feed", v); err != nil {
		return fmt.Errorf("pages: render feed: %w", err)
	}
	if _, err := w.Write(buf.Bytes()); err != nil {
		return fmt.Errorf("pages: render feed: %w", err)
	}
	return nil
}

func notInAddress(r rune) bool {
	return r <= ' ' || r > '~' || strings.ContainsRune("<>\"'`{}|\\^", r)
}

// quiet is the margin of a code in modules (ISO/IEC 18004, from memory).
const quiet = 4

// calendarCode is what codes of calendars are called.
const calendarCode = "Code with the address of the calendar"

// codeSVG draws text as a QR code: dark on white whatever the page's colours are,
// since cameras expect it so. label is plain text of the program.
func codeSVG(text, label string) (string, error) {
	code, err := qr.Encode(text, qr.M)
	if err != nil {
		return "", fmt.Errorf("code: %w", err)
	}
	var b strings.Builder
	side := strconv.Itoa(code.Size + 2*quiet)
	b.WriteString(`<svg class="code" role="img" aria-label="` + label + `" width="264" height="264" viewBox="0 0 ` +
		side + ` ` + side + `" shape-rendering="crispEdges"><rect width="` + side + `" height="` + side + `" fill="#fff"/><path fill="#000" d="`)
	for y := range code.Size {
		for x := 0; x < code.Size; {
			run := 0
			for code.Black(x+run, y) {
				run++
			}
			if run > 0 {
				fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", x+quiet, y+quiet, run, run)
			}
			x += run + 1
		}
	}
	b.WriteString(`"/></svg>`)
	return b.String(), nil
}
