package pages

import (
	"bytes"
	"cmp"
	"embed"
	"fmt"
	"html/template"
	"io"
	"slices"
	"time"

	"chairblock/scheduling/chairtime"
)

//go:embed templates/*.tmpl
var templateFiles embed.FS

var templates = template.Must(template.New("").
	Funcs(template.FuncMap{"asset": AssetPath, "phone": PhoneWords, "safety": func() string { return chairtime.SafetyLine }}).
	ParseFS(templateFiles, "templates/*.tmpl"))

// nav is what the head of every page says.
type nav struct {
	Title, Salon, BoardHref string
}

// boardView is a Board ready for its template.
type boardView struct {
	Board
	Nav       nav
	AsOfWords string
	Change    string // that the clocks change on this day
	Next      []comingView
	Workers   []listLine // people
	Places    []listLine // chairs and basins
}

// listLine is one person or station of the list that stands in for the drawing
// on narrow screens.
type listLine struct {
	Name, Role string
	Items      []listItem
}

// listItem is one entry: a part, a break or the present moment.
type listItem struct {
	Class, When, What, How, Check, Latest, Href string
	at                                          time.Time
}

// RenderBoard writes the day board as a page: the drawing, and the same as a
// list for narrow screens and for those who prefer it. It returns
// scheduling.Faults, wrapped, when b cannot be drawn (see Board.Validate), or
// an error of w.
func RenderBoard(w io.Writer, b Board) error {
	drawing, err := b.SVG()
	if err != nil {
		return fmt.Errorf("pages: render board: %w", err)
	}
	var buf bytes.Buffer
	buf.Grow(len(drawing) * 2)
	v := newBoardView(b)
	if err := templates.ExecuteTemplate(&buf, "board-head", v); err != nil {
		return fmt.Errorf("pages: render board: %w", err)
	}
	buf.Write(drawing)
	if err := templates.ExecuteTemplate(&buf, "board-foot", v); err != nil {
		return fmt.Errorf("pages: render board: %w", err)
	}
	if _, err := w.Write(buf.Bytes()); err != nil {
		return fmt.Errorf("pages: render board: %w", err)
	}
	return nil
}

// RenderPress writes a page with one short message and one button, which sends an
// empty form to action. It returns an error of w, wrapped.
func RenderPress(w io.Writer, title, text, action, button string) error {
	var buf bytes.Buffer
	v := struct {
		Nav                  nav
		Text, Action, Button string
	}{nav{Title: clean(title)}, clean(text), action, button}
	if err := templates.ExecuteTemplate(&buf, "press", v); err != nil {
		return fmt.Errorf("pages: render press: %w", err)
	}
	if _, err := w.Write(buf.Bytes()); err != nil {
		return fmt.Errorf("pages: render press: %w", err)
	}
	return nil
}

// RenderMessage writes a page with one short message, such as that a link has
// expired, and with ways on: those of f for somebody who is signed in, and on, which
// may be empty, below the message. It returns an error of w, wrapped.
func RenderMessage(w io.Writer, f Frame, text string, on ...Way) error {
	var buf bytes.Buffer
	f.Title = clean(f.Title)
	v := struct {
		Frame
		Text string
		On   []Way
	}{f, clean(text), on}
	if err := templates.ExecuteTemplate(&buf, "message", v); err != nil {
		return fmt.Errorf("pages: render message: %w", err)
	}
	if _, err := w.Write(buf.Bytes()); err != nil {
		return fmt.Errorf("pages: render message: %w", err)
	}
	return nil
}

func newBoardView(b Board) boardView {
	c := clock{loc: b.From.Location(), hour12: b.Hour12}
	b.Salon, b.DateLabel, b.ZoneLabel = clean(b.Salon), clean(b.DateLabel), clean(b.ZoneLabel)
	b.Conflicts, b.Notes = cleanAll(b.Conflicts), cleanAll(b.Notes)
	v := boardView{Board: b, Nav: nav{Title: b.DateLabel, Salon: b.Salon}}
	if !b.AsOf.IsZero() {
		v.AsOfWords = "as of " + c.at(b.AsOf)
	}
	v.Change = c.changeWords(b.From, b.To)
	v.Next = c.coming(b.Coming)
	v.Undone.Words = clean(b.Undone.Words)
	v.Undo.Words, v.Undo.Why = clean(b.Undo.Words), clean(b.Undo.Why)
	for _, l := range b.People {
		v.Workers = append(v.Workers, newListLine(c, l, b.Now))
	}
	for _, l := range b.Stations {
		v.Places = append(v.Places, newListLine(c, l, nil))
	}
	return v
}

// Empty says why there is nothing to see.
func (v boardView) Empty() string { return v.Board.emptyWords() }

func newListLine(c clock, l Line, now *time.Time) listLine {
	out := listLine{Name: clean(l.Name), Role: clean(l.Role)}
	for _, p := range slices.Concat(l.Parts, l.candidateParts()) {
		out.Items = append(out.Items, newListItem(c, p))
	}
	out.Items = append(out.Items, c.lateItems(l)...)
	for _, s := range l.Breaks {
		out.Items = append(out.Items, listItem{Class: "break", When: c.dash(s.From, s.To), What: "break", at: s.From})
	}
	for _, s := range l.Free {
		out.Items = append(out.Items, listItem{Class: "break", When: c.dash(s.From, s.To), What: clean(s.Text), at: s.From})
	}
	for _, s := range l.Core {
		out.Items = append(out.Items, listItem{
			Class: "break", When: c.dash(s.From, s.To),
			What: joinWords(whose(s.Code), "may not be interrupted"), at: s.From,
		})
	}
	if now != nil && len(out.Items) > 0 {
		out.Items = append(out.Items, listItem{Class: "now", What: "now " + c.at(*now), at: *now})
	}
	slices.SortStableFunc(out.Items, func(a, b listItem) int {
		return cmp.Or(a.at.Compare(b.at), cmp.Compare(b.Class, a.Class))
	})
	return out
}

func newListItem(c clock, p Part) listItem {
	it := listItem{
		Class: partClass(p.Kind), When: c.dash(p.From, p.To), What: joinWords(whose(p.Code), clean(p.Label)),
		How: kindWords(p.Kind), Href: p.Href, at: p.From,
	}
	for _, s := range []string{clean(p.Chair), c.looks(p), clean(p.Next), clean(p.Title), clean(p.State)} {
		if s != "" {
			it.How += ", " + s
		}
	}
	if p.BackBy != nil {
		it.Check = c.at(*p.BackBy)
	}
	if p.Latest != nil {
		it.Latest = c.at(*p.Latest)
	}
	return it
}

func cleanAll(texts []string) []string {
	out := make([]string, len(texts))
	for i, s := range texts {
		out[i] = clean(s)
	}
	return out
}
