package pages

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode"

	"chairblock/scheduling"
)

// OwnText is words of a client's own pages. Lang is the tag of their language
// where that is not the page's, else "".
type OwnText struct{ Text, Lang string }

// Plain is words that come from somebody or were made in the page's language: in one
// line, without characters that turn the direction of others.
func Plain(s string) OwnText {
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case dropped(r):
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
	return OwnText{Text: strings.Join(strings.Fields(s), " ")}
}

// OwnPage is a page for a client: a row of blocks from top to bottom.
type OwnPage struct {
	Lang  string // tag of the page's language
	RTL   bool   // which is written from right to left
	Title OwnText
	Salon string
	// For names whose pages these are, to who answers for a minor; "" otherwise.
	For     OwnText
	Skip    OwnText // to the page, past the links
	Pages   OwnText // what the links are called
	Ways    []OwnWay
	Done    OwnText // what has just been done, or ""
	Refused OwnText // above what has to be put right
	Wrong   []FieldError
	Blocks  []OwnBlock
	Foot    []OwnText
	Leave   *OwnForm
	// Now is when the page was made: what counts down starts from it, whatever the
	// clock of the reader's device says.
	Now time.Time
}

// OwnWay is a link to another of the client's pages.
type OwnWay struct {
	Href string
	Text OwnText
	Here bool // this is the page
}

// OwnBlock is one piece of a page. One of its fields is set, with Class beside it
// where a piece looks different: big, soft, care for what must not be missed.
type OwnBlock struct {
	Head  OwnText // begins a part of the page
	Sub   OwnText // begins a part of that
	Text  OwnText
	Items []OwnText
	Facts []OwnFact
	Until *OwnUntil
	Form  *OwnForm
	Links []OwnLink
	Class string
}

// OwnFact is something and what it is.
type OwnFact struct {
	Label  OwnText
	Values []OwnText
}

// OwnLink leads somewhere.
type OwnLink struct {
	Href string
	// Phone and Mail are reached instead where one of them is set.
	Phone, Mail string
	Text        OwnText
	Main        bool
	// Saved is what a file is saved as, "" for a page.
	Saved string
}

// OwnUntil is a moment that is counted down to.
type OwnUntil struct {
	At    time.Time
	Words OwnText // what ends then, with the time
	// Left is shown while it lasts, with what is left in the place of "%"; Over
	// afterwards.
	Left, Over OwnText
	Done       bool // it is over
}

// OwnForm is something that a client may do.
type OwnForm struct {
	Action string
	Method string // "post" or "get"; "" is post
	Lang   string // of its words where that is not the page's
	Hidden []OwnHidden
	Fields []Field
	Button string
	Main   bool
}

// OwnHidden is a value that a form sends along.
type OwnHidden struct{ Name, Value string }

// RenderOwn writes the page. It returns an error of w, wrapped, or
// scheduling.Faults when an address of a form or a link cannot be written.
func RenderOwn(w io.Writer, p OwnPage) error {
	var f scheduling.Faults
	p.Salon = clean(p.Salon)
	for i := range p.Blocks {
		p.Blocks[i].check(&f, fmt.Sprintf("blocks[%d]", i))
	}
	if err := f.Err(); err != nil {
		return fmt.Errorf("pages: render own: %w", err)
	}
	var buf bytes.Buffer
	if err := templates.ExecuteTemplate(&buf, "own", p); err != nil {
		return fmt.Errorf("pages: render own: %w", err)
	}
	if _, err := w.Write(buf.Bytes()); err != nil {
		return fmt.Errorf("pages: render own: %w", err)
	}
	return nil
}

func (b OwnBlock) check(f *scheduling.Faults, at string) {
	if b.Form != nil {
		checkHref(f, at+".form", b.Form.Action)
	}
	for _, l := range b.Links {
		checkHref(f, at+".link", l.Href)
	}
}

// Exact is the moment as a script reads it.
func (u OwnUntil) Exact() string { return u.At.UTC().Format(time.RFC3339) }

// Exact is t as a script reads it.
func (p OwnPage) Exact(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// Post is how the form is sent.
func (f OwnForm) Post() bool { return f.Method != "get" }
