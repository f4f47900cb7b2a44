package pages

import (
	"bytes"
	"fmt"
	"io"
	"strconv"
	"time"

	"chairblock/scheduling"
)

// Coming is one line of what the desk looks at first: who is to come next, who is
// late, of whom it is to be asked whether she came.
type Coming struct {
	At     time.Time
	Who    string // first name and initial
	Text   string // what it is about, "dry cut with Ben"
	Until  string // "can start until 09:25, next client of Ada at 13:40", "" for none
	Urgent string // "12 min late", "is she coming?"; "" for nothing that hurries
	Href   string // a path of this server
	// Arrive is the form that notes that she is here, nil for none.
	Arrive *ArriveForm
}

// ArriveForm is a button that notes that a client is here.
type ArriveForm struct{ Action, Version, Key string }

// Undo is what can be taken back. The zero Words draw nothing.
type Undo struct {
	Words string // "moved J. K. to 14:00"
	ID    string // of what was done, so that nothing else is taken back
	Why   string // why it cannot be taken back, "" when it can
	Back  string // where the page leads afterwards, a path of this server
	Done  bool   // it has just been taken back; Words are then what, as far as that is known
}

// Find is the search for clients on the board.
type Find struct{ Action, Quick string } // where the form goes, and what its quick answers come from

// Live is what a board needs to follow the day by itself. The zero value does not.
type Live struct {
	Events string // path of the stream
	Part   string // path of the board's parts
	Tag    string // of what is shown
	Zone   string // of the salon, IANA
}

func (b Board) checkLive(f *scheduling.Faults) {
	for i, c := range b.Coming {
		checkHref(f, "coming["+strconv.Itoa(i)+"].href", c.Href)
		if c.Arrive != nil {
			checkHref(f, "coming["+strconv.Itoa(i)+"].arrive", c.Arrive.Action)
		}
	}
	checkHref(f, "undo.back", b.Undo.Back)
	if b.Find != nil {
		checkHref(f, "find.action", b.Find.Action)
		checkHref(f, "find.quick", b.Find.Quick)
	}
	checkHref(f, "live.events", b.Live.Events)
	checkHref(f, "live.part", b.Live.Part)
}

// NowAt is the moment of the dotted line in milliseconds, 0 for none; AxisFrom
// and AxisTo are the ends of the axis, AxisLeft and AxisRight where they are
// drawn: a script moves the line along.
func (v boardView) NowAt() int64 {
	if v.Now == nil {
		return 0
	}
	return v.Now.UnixMilli()
}

// AxisFrom is the beginning of the axis in milliseconds.
func (v boardView) AxisFrom() int64 { return v.From.UnixMilli() }

// AxisTo is the end of the axis in milliseconds.
func (v boardView) AxisTo() int64 { return v.To.UnixMilli() }

// AxisLeft is where the axis begins in the drawing.
func (v boardView) AxisLeft() float64 { return plotLeft }

// AxisRight is where the axis ends in the drawing.
func (v boardView) AxisRight() float64 {
	if v.Width == 0 {
		return defaultWidth - plotPad
	}
	return float64(v.Width) - plotPad
}

// comingView is a Coming ready for its template.
type comingView struct {
	Coming
	When string
}

func (c clock) coming(list []Coming) []comingView {
	var out []comingView
	for _, x := range list {
		x.Who, x.Text, x.Until, x.Urgent = clean(x.Who), clean(x.Text), clean(x.Until), clean(x.Urgent)
		out = append(out, comingView{x, c.at(x.At)})
	}
	return out
}

// RenderBoardParts writes the parts of the board that change with the day, each
// with its name, for a script to put in place of those on the page: what
// RenderBoard shows of them. It returns the same errors.
func RenderBoardParts(w io.Writer, b Board) error {
	drawing, err := b.SVG()
	if err != nil {
		return fmt.Errorf("pages: render board: %w", err)
	}
	var buf bytes.Buffer
	buf.Grow(len(drawing) * 2)
	v := newBoardView(b)
	for _, name := range []string{"board-date", "board-ways", "board-days", "board-top", "board-drawing"} {
		if err := templates.ExecuteTemplate(&buf, name, v); err != nil {
			return fmt.Errorf("pages: render board: %w", err)
		}
	}
	buf.Write(drawing)
	if err := templates.ExecuteTemplate(&buf, "board-rest", v); err != nil {
		return fmt.Errorf("pages: render board: %w", err)
	}
	if _, err := w.Write(buf.Bytes()); err != nil {
		return fmt.Errorf("pages: render board: %w", err)
	}
	return nil
}
